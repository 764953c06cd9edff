// @ts-check
/**
 * Pictures, after the records: sent one at a time while no record waits, each under a limit of its
 * own; and those that others took, fetched when somebody asks for one.
 * @module
 */
import { signal } from "../vendor/signals.js";
import { nowText } from "./clock.js";
import { StorageFull, durably, reading } from "./database.js";
import { pending, refreshQueue, risks, unsentPhotos } from "./house.js";
import { PHOTO_STORES } from "./kept_photos.js";
import { Failure, request } from "./server.js";
import { tellTabs } from "./tabs.js";

/** How many of each, own ones that are safe and others' that were fetched, stay on the phone. Ours. */
const KEPT_MAX = 60;
// A line that carries less than 2 kB a second does not carry a picture.
const LIMIT_MS = 30_000;
const MS_A_BYTE = 0.5;
// What the server will not have is offered again after so long, or when somebody asks.
const REFUSED_WAITS_MS = 3_600_000;
const ENDS_PASS = ["unreachable", "signed-out", "not-allowed"];

/** What the server said last of a picture that it did not take, while one of those waits. */
export const photoTrouble = signal("");

/** @type {Map<string, number>} until when each is left in peace, by this page's own clock */
const refusedUntil = new Map();

/** A name comes from a record, and a correction may have made anything of it: it leads nowhere else. */
function address(sha256) {
  if (!/^[0-9a-f]{64}$/.test(sha256)) throw new Failure("bad", "this is no picture's name");
  return `/api/v1/photos/${sha256}`;
}

/** Offer everything again, whatever was said of it before. */
export function forgetRefusals() {
  refusedUntil.clear();
}

/** Send what waits, in one tab only; ends at once where there is nothing. */
export async function sendPhotos() {
  if (!unsentPhotos.value.length) return;
  await navigator.locks.request("lathhouse-photos", { ifAvailable: true }, async (lock) => {
    if (!lock) return;
    await sendAll();
    await spareRoom();
  });
}

async function sendAll() {
  // Records that were held up before this pass hold up no picture; newer ones go first.
  const newest = Math.max(0, ...pending.value.map(({ seq }) => seq));
  for (;;) {
    const [next] = unsentPhotos.value.filter(({ sha256 }) => !((refusedUntil.get(sha256) ?? 0) > performance.now()));
    if (!next || pending.value.some(({ seq }) => seq > newest)) return;
    try {
      await sendOne(next);
      refusedUntil.delete(next.sha256);
    } catch (error) {
      if (!(error instanceof Failure)) throw error;
      if (error.problem) photoTrouble.value = error.message;
      if (ENDS_PASS.includes(error.kind)) return;
      refusedUntil.set(next.sha256, performance.now() + REFUSED_WAITS_MS);
    }
    await refreshQueue();
    if (!unsentPhotos.value.some(({ sha256 }) => refusedUntil.has(sha256))) photoTrouble.value = "";
  }
}

async function sendOne({ sha256, tried, bytes }) {
  const kept = await reading((db) => db.get("photos", sha256));
  if (kept && !(tried && (await isThere(sha256)))) {
    await noteTried(sha256);
    await request("PUT", address(sha256), {
      body: kept.blob, headers: { "Content-Type": "image/jpeg" }, priority: "low", limitMs: LIMIT_MS + bytes * MS_A_BYTE,
    });
  }
  await settled(sha256);
  tellTabs("synced");
}

/** Whether an answer was lost, and the picture is there. */
async function isThere(sha256) {
  try {
    await request("HEAD", address(sha256), {});
    return true;
  } catch (error) {
    if (error instanceof Failure && error.kind === "bad") return false;
    throw error;
  }
}

function noteTried(sha256) {
  return durably(["unsent_photos"], async (tx) => {
    const entry = await tx.store.get(sha256);
    if (entry) await tx.store.put({ ...entry, tried: true });
  });
}

/** The server has it. A backup that holds this phone's next record holds the picture too. */
function settled(sha256) {
  return durably([...PHOTO_STORES, "meta"], async (tx) => {
    const [photos, unsent] = PHOTO_STORES.map((name) => tx.objectStore(name));
    const [kept, next] = await Promise.all([photos.get(sha256), tx.objectStore("meta").get("next_seq")]);
    await unsent.delete(sha256);
    if (kept) await photos.put({ ...kept, sent_seq: next ?? 1 });
  });
}

/** Let go of pictures beyond the newest: own ones that a proved backup holds, and others'. */
export async function spareRoom() {
  const most = risks.value.some(({ kind }) => kind === "full") ? 0 : KEPT_MAX;
  if ((await reading((db) => db.count("photos"))) <= most) return;
  await durably([...PHOTO_STORES, "meta"], async (tx) => {
    const photos = tx.objectStore("photos");
    const waiting = new Set(await tx.objectStore("unsent_photos").getAllKeys());
    const backedUp = (await tx.objectStore("meta").get("forgotten_seq")) ?? 0;
    const all = (await photos.getAll()).sort((a, b) => (a.at < b.at ? 1 : -1));
    const safe = all.filter((one) => one.mine && !waiting.has(one.sha256) && one.sent_seq <= backedUp);
    const others = all.filter((one) => !one.mine);
    for (const { sha256 } of [...safe.slice(most), ...others.slice(most)]) await photos.delete(sha256);
  });
}

/** A picture that is on this phone, or null. @param {string} sha256 @returns {Promise<Blob | null>} */
export async function photoHere(sha256) {
  return (await reading((db) => db.get("photos", sha256)))?.blob ?? null;
}

/**
 * A picture from the server; it stays on the phone for a while.
 * @param {string} sha256
 * @returns {Promise<Blob>}
 * @throws {Failure} `bad`: it is not there either
 */
export async function fetchPhoto(sha256) {
  const answer = await request("GET", address(sha256), { limitMs: 2 * LIMIT_MS }, (response) => response.blob());
  const blob = answer.slice(0, answer.size, "image/jpeg");
  try {
    await durably(["photos"], (tx) => tx.store.put({ sha256, blob, mine: false, at: nowText() }));
    await spareRoom();
  } catch (error) {
    // It is seen all the same; only the next time it is fetched again.
    if (!(error instanceof StorageFull)) throw error;
  }
  return blob;
}
