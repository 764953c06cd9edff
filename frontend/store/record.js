// @ts-check
/**
 * Recording: the one way in. An event, its place in the outbox and the device's next number are
 * written in one strict transaction, its picture with them; only when it has completed is the event
 * saved.
 * @module
 */
import { isSaid } from "../core/attribution.js";
import { uuid7 } from "../core/ids.js";
import { clockNote, correctionMs, localText, nowText } from "./clock.js";
import { NoRoomForPhoto, durably, reading } from "./database.js";
import { dataOf, one, stillRecording } from "./house.js";
import { PHOTO_STORES, dropTakenBack, keepPhoto, touchesPhotos } from "./kept_photos.js";

// Some ten thousand records: a picture that would leave less is not taken. Ours.
export const LEFT_FOR_RECORDS_BYTES = 20_000_000;

/**
 * @typedef {{by?: string | null, observedAt?: string, typed?: boolean, mends?: string,
 *   clock?: {run: string, skew_ms: number}}} More
 * @typedef {{kind: string, lot: string | null, data?: Record<string, any>, more?: More, photo?: Blob}} Draft
 * `photo`: the picture that `data.sha256` names
 */

/** @type {Set<(events: any[]) => void>} */
const listeners = new Set();

/** Be told of every event that has been saved. @param {(events: any[]) => void} listener */
export function onRecorded(listener) {
  listeners.add(listener);
}

/**
 * Save one event and queue it. Resolves with it once it is on disk.
 * @param {string} kind
 * @param {string | null} lot
 * @param {Record<string, any>} [data]
 * @param {More} [more] `observedAt` a time typed by hand goes with `typed: true`
 * @throws {import("./database.js").StorageFull} nothing was saved
 */
export async function record(kind, lot, data = {}, more = {}) {
  const [event] = await recordAll([{ kind, lot, data, more }]);
  return event;
}

/**
 * Save several events, all or none of them.
 * @param {Draft[]} drafts
 * @returns {Promise<any[]>}
 * @throws {import("./database.js").StorageFull} nothing was saved
 */
export async function recordAll(drafts) {
  // Made here, once: where a dying connection makes the transaction run twice, the second run
  // must know the first one's events.
  const said = drafts.map(spoken);
  await findRoom(drafts.reduce((sum, { photo }) => sum + (photo?.size ?? 0), 0));
  const stores = ["events", "outbox", "meta", "rows", ...(drafts.some(touchesPhotos) ? PHOTO_STORES : [])];
  const events = await durably(stores, async (tx, again) => {
    const before = again ? await Promise.all(said.map(({ id }) => tx.objectStore("events").get(id))) : [];
    if (again && before.every(Boolean)) return before;
    const meta = tx.objectStore("meta");
    const [device, seq, names] = await Promise.all([deviceIn(meta), meta.get("next_seq"), namesIn(tx)]);
    const first = seq ?? 1;
    const made = said.map((one, index) => numbered(one, device, first + index, names));
    await Promise.all([
      meta.put(first + made.length, "next_seq"),
      ...made.map((event) => tx.objectStore("events").add(event)),
      ...made.map(({ seq: number, id }) => tx.objectStore("outbox").add({ seq: number, id })),
    ]);
    // One after the other: two of them may be about one picture.
    for (const [index, event] of made.entries()) await photosOf(tx, event, drafts[index].photo);
    return made;
  });
  for (const listener of listeners) listener(events);
  return events;
}

/** Browsers count a picture only once it is stored: the next record would be what does not fit. */
async function findRoom(bytes) {
  if (!bytes) return;
  const { usage = 0, quota = 0 } = (await navigator.storage?.estimate?.()) ?? {};
  if (quota && quota - usage - bytes < LEFT_FOR_RECORDS_BYTES) throw new NoRoomForPhoto("Too little room is left for a picture.");
}

async function photosOf(tx, event, photo) {
  if (photo) await keepPhoto(tx, event, photo);
  else if (event.kind === "voided") await dropTakenBack(tx, event.data.of);
}

/** Who records, and whose phone this is. On a shared phone the name holds until the phone has rested. */
async function namesIn(tx) {
  const meta = tx.objectStore("meta");
  const [person, session, isShared, recording] = await Promise.all(["person", "session", "shared", "recording"].map((name) => meta.get(name)));
  const own = session?.proved ?? null;
  if (!isShared) return { by: person ?? null, own };
  const nowMs = Date.parse(nowText());
  if (!stillRecording(recording ?? null, nowMs) || (await looksOnly(tx, recording.person))) return { by: null, own };
  await meta.put({ ...recording, at: nowMs }, "recording");
  return { by: recording.person, own };
}

/** Who was said to record may only look on by now: as the server says, or a change on this phone that is unsent. */
async function looksOnly(tx, person) {
  const row = person ? await tx.objectStore("rows").get(`person:${person}`) : null;
  return [row && dataOf(row), one("person", person)].some((known) => known?.role === "viewer");
}

async function deviceIn(meta) {
  const known = await meta.get("device");
  if (known) return known;
  const device = uuid7();
  await meta.put(device, "device");
  return device;
}

/** This phone's own id, made now where it has none. @returns {Promise<string>} */
export function deviceId() {
  return durably(["meta"], (tx) => deviceIn(tx.objectStore("meta")));
}

function spoken({ kind, lot, data = {}, more = {} }) {
  const clock = more.clock ?? clockNote();
  const observed = more.observedAt ?? localText();
  const skew = more.clock ? more.clock.skew_ms : correctionMs();
  return {
    id: uuid7(),
    kind,
    lot,
    observed_at: observed,
    by: more.by,
    data: Object.fromEntries(Object.entries(data).filter(([, value]) => value !== undefined)),
    at: new Date(Date.parse(observed) + (more.typed || Math.abs(skew) < 120_000 ? 0 : skew)).toISOString(),
    ...(clock ? { clock } : {}),
    ...(more.typed ? { typed: true, recorded_at: localText() } : {}),
    ...(more.mends ? { mends: more.mends } : {}),
  };
}

/** The server marks a name that is only said in the same way; until then this phone does. */
function numbered(said, device, seq, names) {
  const by = said.by === undefined ? names.by : said.by;
  return { ...said, seq, device, by, ...(isSaid(by, names.own) ? { by_said: true } : {}) };
}

/**
 * Take an event back: nothing is erased, a `voided` is recorded.
 * @param {string | {id: string, lot: string | null}} event its id, for one recorded on this phone
 */
export async function undo(event, why = "undone") {
  const known = typeof event === "string" ? await reading((db) => db.get("events", event)) : event;
  const id = typeof event === "string" ? event : event.id;
  return record("voided", known?.lot ?? null, { of: id, why });
}
