// @ts-check
/**
 * The house: what the screens read. Rows as the server left them, with the unsent events laid
 * over them. First rows alone (enough for the round's first paint), then, once the core is there,
 * the lots and findings that this phone works out itself (`deriving.js`).
 * @module
 */
import { computed, signal } from "../vendor/signals.js";
import { onTrouble, reading, setMeta } from "./database.js";

/** @typedef {Map<string, Map<string, any>>} RowsByKind kind to id to row */

/** @typedef {{person: string | null, at: number, over: boolean}} Recording `over`: that round is done */

// After so long without a record nobody knows whose hand holds a shared phone. Ours: a meal's
// length would ask too often, half a day would name the wrong one.
export const REST_MS = 2 * 3_600_000;

/** Whether who was said to record still does. @param {Recording | null} said @param {number} nowMs */
export const stillRecording = (said, nowMs) => said !== null && Math.abs(nowMs - said.at) < REST_MS;

/** Every row but lots, unsent changes included. @type {{value: RowsByKind}} */
export const rows = signal(new Map());
/** Lots by id, unsent events included. */
export const lots = signal(new Map());
/** Findings by subject, `kind:id` to a list; standing alerts until the phone has worked out its own. */
export const findings = signal(new Map());
/** Findings as lists show them, one entry for a place; null until the phone has worked out its own. */
export const groups = signal(/** @type {any[] | null} */ (null));
/** Entries of the seasonal lists, which never ring, by subject. */
export const listed = signal(new Map());
/** How many lots that frost can hurt stand where it can get at them; they come once worked out. */
export const tenderOut = signal(0);
/** {of, figure, last} of the night under way or coming, as `core/evening.js` says; null until worked out. */
export const night = signal(/** @type {any} */ (null));
/** What is announced before its time, by lot id. */
export const notices = signal(new Map());
/** Own events not yet known to be on the server, oldest first. */
export const pending = signal(/** @type {any[]} */ ([]));
/** Own events that the server has stored, but whose rows it has not sent back yet. */
export const confirming = signal(/** @type {any[]} */ ([]));
/** Refused records that need mending: `{id, event, problem, mending}`. */
export const tray = signal(/** @type {any[]} */ ([]));
/** Pictures that the server does not have yet: `{sha256, events, at, lot, bytes, tried}`, the oldest first. */
export const unsentPhotos = signal(/** @type {any[]} */ ([]));
/** Ids of unsent events that the phone cannot lay over a lot without the server. */
export const unconfirmed = signal(new Set());
/** This minute, by the server's time. */
export const now = signal(new Date().toISOString());
/** How things stand with the server; `state` is one of the engine's, or `starting`; `time_doubted` why its clock is in doubt. */
export const contact = signal({ state: "starting", detail: "", last_sync_at: /** @type {string | null} */ (null), time_doubted: /** @type {string | null} */ (null) });
/** Who is signed in: `{role, person, demo}`. */
export const session = signal(/** @type {any} */ (null));
/** Whether several people use this phone: who records is asked at the start of each round. */
export const shared = signal(false);
/** Who was said to record, last: `{person, at, over}`; `at` is the last record's or the answer's, in ms. */
export const recording = signal(/** @type {Recording | null} */ (null));
/** What is wrong with the phone's own storage: a `Trouble` of the database, `full`, or "". */
export const trouble = signal("");
export const ready = signal(false);
/** Nothing at all was stored when the app started. */
export const bornEmpty = signal(false);
/** A phone that was paired finds its record gone (FAULTS F19): `{device}`, under which id it was known. */
export const emptied = signal(/** @type {{device: string | null} | null} */ (null));
/** What endangers the records that are on this phone alone, the gravest first (`keeping.js`). */
export const risks = signal(/** @type {any[]} */ ([]));
/** A move of the nursery's name under way, as the server tells it: `{from, to, begun_at, address, trust}`. */
export const nameMove = signal(/** @type {any} */ (null));
/** Until when (in ms) a way over to the nursery's new name is good that was made here; kept until the server has said what came of it. */
export const wayMade = signal(/** @type {number | null} */ (null));
/** The skew that was last measured before this start, for the clock to begin with. */
export const keptSkew = { ms: 0 };
/** This phone's own id, or "" where it has recorded nothing. */
export const device = signal("");

export const outboxCount = computed(() => pending.value.length);
export const trayCount = computed(() => tray.value.filter((entry) => !entry.mending).length);
/**
 * On a shared phone: who records, as was said; null for nobody named, undefined where nobody was asked,
 * or who was said only looks on by now: then it asks again.
 */
export const saidToRecord = computed(() => {
  const said = stillRecording(recording.value, Date.parse(now.value)) ? recording.value?.person : undefined;
  return said && one("person", said)?.role === "viewer" ? undefined : said;
});
/** Whether a shared phone must ask who begins this round. */
export const mustAsk = computed(() => shared.value && all("person").length > 0 && (saidToRecord.value === undefined || recording.value?.over === true));
export const lastSync = computed(() => contact.value.last_sync_at);

/** The rows as the server left them, lots too. @type {RowsByKind} */
let stored = new Map();
/** Raised by whatever changes the queue in memory, so that a slower read of the disk notices. */
let changes = 0;

/** The rows as the server left them. */
export const storedRows = () => stored;
/** All rows of a kind. @param {string} kind @returns {any[]} */
export const all = (kind) => [...(rows.value.get(kind)?.values() ?? [])];
/** One row. @param {string} kind @param {string | null} id @returns {any | null} */
export const one = (kind, id) => rows.value.get(kind)?.get(id ?? "") ?? null;
/** Places in walking order. */
export const places = () => all("place").sort((a, b) => (a.order ?? 1e9) - (b.order ?? 1e9) || (a.name < b.name ? -1 : 1));
export const people = () => all("person");
/** The crop protocols in use. */
export const crops = () => all("protocol");
/** Mixed solutions, the newest first, unsent ones included. */
export const solutions = computed(() => all("solution").filter((one) => one.mixed_at).sort((a, b) => (a.mixed_at < b.mixed_at ? 1 : -1)));
/** The watch rules. */
export const rules = () => all("watch");
/** The server's standing alerts, as last heard. */
export const alerts = () => all("alert");
/** The nursery's row. */
export const nursery = () => all("nursery")[0] ?? null;
/** This phone's own row. */
export const phone = () => one("phone", device.value);
/** Whether this phone records nothing: the one part of `may.js` that the first paint needs. */
export const looksOn = () => [session.value?.role, one("person", session.value?.proved)?.role].includes("viewer");
/** Whether this phone is yet to go over to the nursery's new name. */
export const mustMove = () => nameMove.value !== null && location.hostname !== nameMove.value.to && !phone()?.moved_to;
/** The name of a person, or of nobody. */
export const person = (id) => one("person", id)?.name ?? null;

/**
 * Where a record is: `phone` (saved here, not sent), `tray` (refused) or `server`.
 * @param {string} id
 */
export function savedState(id) {
  if (pending.value.some((event) => event.id === id)) return "phone";
  return tray.value.some((entry) => entry.id === id) ? "tray" : "server";
}

/** Read what the phone holds; the first thing an app start does. */
export async function openHouse() {
  onTrouble((what) => {
    trouble.value = what === "open" ? "" : what;
  });
  await readHouse();
  bornEmpty.value = stored.size === 0;
  showStored();
  // What is unsent must not be missing from the first thing that is seen.
  if (pending.value.length + confirming.value.length) (await import("./deriving.js")).derive();
  ready.value = true;
}

/** Read it again, after another tab has changed it; `derive` shows it. */
export async function readHouse() {
  const kept = await steadily(async (db) => {
    const tx = db.transaction(["rows", "outbox", "events", "refused", "confirming", "meta", "unsent_photos"]);
    const meta = tx.objectStore("meta");
    const [held, queue, last, signedIn, own, skew, isShared, said, lost, move, way] = await Promise.all([
      tx.objectStore("rows").getAll(), readQueue(tx), meta.get("last_sync_at"),
      meta.get("session"), meta.get("device"), meta.get("skew_ms"), meta.get("shared"), meta.get("recording"),
      meta.get("emptied"), meta.get("name_move"), meta.get("way_made"),
    ]);
    return { held, queue, last, signedIn, own, skew, isShared, said, lost, move, way };
  });
  stored = byKind(kept.held);
  keptSkew.ms = kept.skew ?? 0;
  device.value = kept.own ?? "";
  shared.value = kept.isShared === true;
  recording.value = kept.said ?? null;
  session.value ??= kept.signedIn ?? null;
  if (kept.lost) emptied.value = kept.lost;
  nameMove.value = kept.move ?? null;
  wayMade.value = kept.way ?? null;
  takeQueue(kept.queue, kept.last);
}

async function readQueue(tx) {
  const events = tx.objectStore("events");
  const eventsOf = async (name) => {
    const entries = await tx.objectStore(name).getAll();
    const found = await Promise.all(entries.map(({ id }) => events.get(id)));
    return found.filter(Boolean);
  };
  const [outbox, sent, refused, photos] = await Promise.all([
    eventsOf("outbox"), eventsOf("confirming"), tx.objectStore("refused").getAll(), tx.objectStore("unsent_photos").getAll(),
  ]);
  return { outbox, sent, refused, photos };
}

function takeQueue({ outbox, sent, refused, photos }, lastSyncAt) {
  const inTray = new Set(refused.map((entry) => entry.id));
  // After a restore a refused one is sent again for its number's sake: it is nobody's unsent work.
  pending.value = outbox.filter((event) => !inTray.has(event.id));
  confirming.value = sent;
  tray.value = openEntries(refused, inTray);
  unsentPhotos.value = photos.sort((a, b) => (a.at < b.at ? -1 : 1));
  contact.value = { ...contact.value, last_sync_at: lastSyncAt ?? null };
}

/** The refused ones that nothing has mended, oldest first; not those that failed to mend another. */
function openEntries(refused, inTray) {
  return refused
    .filter((entry) => !entry.mended_by && !inTray.has(entry.mending))
    .sort((a, b) => a.event.seq - b.event.seq);
}

/** @returns {RowsByKind} */
function byKind(list) {
  const found = new Map();
  for (const row of list) kindOf(found, row.kind).set(row.id, dataOf(row));
  return found;
}

/** A row as it is kept says this: it is text, and what an earlier version of the app kept is read as it is. @param {any} row */
export const dataOf = ({ data }) => (typeof data === "string" ? JSON.parse(data) : data);

function kindOf(kinds, kind) {
  if (!kinds.has(kind)) kinds.set(kind, new Map());
  return kinds.get(kind);
}

/** Until the core is there: the rows as they are, and the alerts that stood when last in touch. */
function showStored() {
  rows.value = stored;
  lots.value = new Map(stored.get("lot") ?? []);
  const found = new Map();
  for (const alert of all("alert").filter((one) => one.rings !== false)) {
    const key = `${alert.subject.kind}:${alert.subject.id}`;
    found.set(key, [...(found.get(key) ?? []), alert]);
  }
  findings.value = found;
}

/** Take in rows from a pull; `derive` shows them. @param {any[]} changed @param {boolean} afresh */
export function takeRows(changed, afresh) {
  const kinds = new Map();
  if (!afresh) for (const [kind, held] of stored) kinds.set(kind, new Map(held));
  for (const { kind, id, data } of changed) {
    if (data === null) kindOf(kinds, kind).delete(id);
    else kindOf(kinds, kind).set(id, data);
  }
  stored = kinds;
}

/** Take in events that have just been recorded in this tab. @param {any[]} events */
export function takeRecorded(events) {
  changes += 1;
  device.value = events[0].device;
  if (shared.value && saidToRecord.value !== undefined) recording.value = { .../** @type {Recording} */ (recording.value), at: Date.parse(now.value) };
  pending.value = [...pending.value, ...events];
}

/** Read the outbox and the tray again, after they have changed on disk. */
export async function refreshQueue() {
  const [queue, last] = await steadily(async (db) => {
    const tx = db.transaction(["outbox", "events", "refused", "confirming", "meta", "unsent_photos"]);
    return Promise.all([readQueue(tx), tx.objectStore("meta").get("last_sync_at")]);
  });
  takeQueue(queue, last);
}

/** Somebody has read that this phone's record was thrown away. */
export function dismissEmptied() {
  emptied.value = null;
  return setMeta("emptied", null);
}

/** Read from the disk; where something was recorded meanwhile, what was read is old: once more. */
async function steadily(read) {
  for (;;) {
    const before = changes;
    const found = await reading(read);
    if (before === changes) return found;
  }
}
