// @ts-check
/**
 * How safely this phone keeps what is on it alone: told before anything is at risk. How full its
 * storage is, whether the browser may throw it away (FAULTS F18, F19), and how long the oldest of what
 * is unsent has waited.
 * @module
 */
import { effect, signal } from "../vendor/signals.js";
import { DAY_MS, HOUR_MS, toMs } from "../core/instants.js";
import { now, pending, phone, risks, unsentPhotos } from "./house.js";
import { LEFT_FOR_RECORDS_BYTES, onRecorded } from "./record.js";

/** When each is told. Ours; the day is the promise that a phone unsynced for a day says so. */
export const LIMITS = {
  /** Storage is nearly full from this part of what the browser allows on, */
  full_from: 0.8,
  /** or with less than this left: some ten thousand records. */
  left_least_bytes: LEFT_FOR_RECORDS_BYTES,
  unsynced_ms: DAY_MS,
  /** On the round, a store that may be thrown away matters once records have waited this long. */
  evictable_after_ms: HOUR_MS,
};

const FIRST_LOOK_MS = 10_000;

/** What the browser says of the storage: `{usage, quota, kept}`; `kept` null where it cannot say. */
export const storage = signal(/** @type {{usage: number, quota: number, kept: boolean | null} | null} */ (null));

/**
 * What endangers what is on this phone alone, the gravest first. Being in touch mends nothing of it:
 * a server that answers may still not take a record.
 * @param {{usage: number, quota: number, kept: boolean | null} | null} room
 * @param {{at: string, typed?: boolean, recorded_at?: string, clock?: {skew_ms: number}}[]} unsent
 * @param {string} nowText
 * @param {{at: string}[]} [photos] unsent ones, oldest first
 * @param {{cloned_since?: string | null} | null} [own] this phone's row
 * @returns {{kind: "unsynced" | "photos" | "full" | "cloned" | "evictable", n?: number, since?: string, percent?: number, waits?: boolean}[]}
 */
export function risksOf(room, unsent, nowText, photos = [], own = null) {
  const found = [];
  const oldest = unsent.map(savedAt).reduce((first, at) => (at < first ? at : first), nowText);
  const waited = toMs(nowText) - toMs(oldest);
  if (unsent.length && waited >= LIMITS.unsynced_ms) found.push({ kind: "unsynced", n: unsent.length, since: oldest });
  const [first] = photos;
  if (first && toMs(nowText) - toMs(first.at) >= LIMITS.unsynced_ms) found.push({ kind: "photos", n: photos.length, since: first.at });
  if (room && room.quota > 0 && (room.usage >= room.quota * LIMITS.full_from || room.quota - room.usage < LIMITS.left_least_bytes)) {
    found.push({ kind: "full", percent: Math.round((room.usage / room.quota) * 100) });
  }
  if (own?.cloned_since) found.push({ kind: "cloned", since: own.cloned_since });
  if (room?.kept === false) {
    const since = first && first.at < oldest ? first.at : oldest;
    const waits = unsent.length + photos.length > 0 && toMs(nowText) - toMs(since) >= LIMITS.evictable_after_ms;
    found.push({ kind: "evictable", n: unsent.length + photos.length, waits });
  }
  return /** @type {any} */ (found);
}

/** When a record was saved here, by the clock as it ran then; what was typed in later was seen before that. */
const savedAt = ({ at, typed, recorded_at: recorded, clock }) =>
  (typed && recorded ? new Date(toMs(recorded) + (clock?.skew_ms ?? 0)).toISOString() : at);

/** Ask the browser how things stand. */
export async function lookAtStorage() {
  const { usage = 0, quota = 0 } = (await navigator.storage?.estimate?.()) ?? {};
  const kept = (await navigator.storage?.persisted?.()) ?? null;
  storage.value = { usage, quota, kept };
}

/** Ask the browser not to throw this store away; only ever at a touch. @returns {Promise<boolean>} */
export async function askToKeep() {
  const kept = (await navigator.storage?.persist?.()) ?? false;
  await lookAtStorage();
  return kept;
}

/** Begin to watch; the first record of a start is a touch, and a good moment to ask. */
export function watchKeeping() {
  let asked = false;
  onRecorded(() => {
    if (asked) return;
    asked = true;
    void lookAtStorage().then(() => storage.value?.kept === false && askToKeep());
  });
  effect(() => {
    risks.value = risksOf(storage.value, pending.value, now.value, unsentPhotos.value, phone());
  });
  // Counting what is stored keeps the disk busy, and a start has better things to read.
  setTimeout(() => void lookAtStorage(), FIRST_LOOK_MS);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && void lookAtStorage());
}
