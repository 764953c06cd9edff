// @ts-check
/**
 * The outbox as transactions: what is sent next, and what the server's answers do to it.
 *
 * `outbox` holds {seq, id} of what no answer has named yet; `confirming` holds {id, revision} of
 * what the server has stored but whose rows have not come back; `events` holds every own event as
 * it was recorded, until a verified backup of the server covers it; `refused` is the tray.
 * @module
 */
import { lastSkew } from "./clock.js";
import { durably, reading } from "./database.js";
import { PHOTO_STORES, doubtSent } from "./kept_photos.js";

/** What the engine remembers from pass to pass. */
export async function memory() {
  const names = ["device", "epoch", "revision", "server_next_seq", "cursor", "afresh"];
  return reading(async (db) => {
    const store = db.transaction("meta").store;
    const [device, epoch, revision, next, cursor, afresh] = await Promise.all(names.map((name) => store.get(name)));
    return {
      device: device ?? null, epoch: epoch ?? null, revision: revision ?? 0, next_seq: next ?? 0,
      cursor: cursor ?? "0", afresh: afresh ?? false,
    };
  });
}

/**
 * The oldest unsent events, at most `most`, without those left aside for now.
 * @param {number} most
 * @param {string[]} aside ids
 */
export function unsent(most, aside = []) {
  return reading(async (db) => {
    const tx = db.transaction(["outbox", "events"]);
    const entries = await tx.objectStore("outbox").getAll(null, most + aside.length);
    const next = entries.filter(({ id }) => !aside.includes(id)).slice(0, most);
    const events = await Promise.all(next.map(({ id }) => tx.objectStore("events").get(id)));
    return events.filter(Boolean);
  });
}

/** An event as it is sent: what the phone keeps for itself is left out. */
export function asSent(event) {
  const { device: _device, at: _at, ...sent } = event;
  return sent;
}

/**
 * Apply a push's answer, in one transaction. An entry leaves the outbox only when the answer names
 * its id; a refused one goes to the tray with its problem; one that mends another, or takes it
 * back, empties the other's place in the tray.
 * @param {any} answer
 * @param {any[]} sent
 * @param {import("./engine.js").Server | null} server what it says of itself, to be kept
 * @returns {Promise<{count: number, accounted: number}>} how many entries the answer settled, and
 *   the first own number of which the server cannot know yet
 */
export function settle(answer, sent, server) {
  const byId = new Map(sent.map((event) => [event.id, event]));
  const done = [...(answer.stored ?? []), ...(answer.already ?? [])].filter((id) => byId.has(id));
  const refused = (answer.refused ?? []).filter((one) => byId.has(one.id));
  return durably(["outbox", "confirming", "refused", "events", "meta"], async (tx) => {
    const meta = tx.objectStore("meta");
    for (const { id, problem } of refused) await putInTray(tx, byId.get(id), problem);
    for (const id of done) await stored(tx, byId.get(id), answer.revision ?? 0);
    await meta.put(lastSkew(), "skew_ms");
    if (server) {
      await meta.put(server.epoch, "epoch");
      await meta.put(server.revision, "revision");
      await meta.put(server.next_seq, "server_next_seq");
    }
    await forget(tx, answer.backed_up_seq ?? 0);
    const [unsentSeq] = await tx.objectStore("outbox").getAllKeys(null, 1);
    const accounted = unsentSeq ?? (await meta.get("next_seq")) ?? 1;
    return { count: done.length + refused.length, accounted };
  });
}

async function stored(tx, event, revision) {
  await tx.objectStore("outbox").delete(event.seq);
  await tx.objectStore("confirming").put({ id: event.id, revision });
  const mended = event.mends ?? (event.kind === "voided" ? event.data.of : null);
  const tray = tx.objectStore("refused");
  const entry = mended ? await tray.get(mended) : null;
  if (entry) await tray.put({ ...entry, mended_by: event.id });
  // Refused before, and taken now that it was sent again: there is nothing to mend.
  const own = await tray.get(event.id);
  if (own && !own.mending && !own.mended_by) await tray.delete(event.id);
}

async function putInTray(tx, event, problem) {
  await tx.objectStore("outbox").delete(event.seq);
  // After a restore a mended one is sent once more, so that its number is accounted for there.
  const before = await tx.objectStore("refused").get(event.id);
  const entry = { id: event.id, event, problem, mending: null, mended_by: null, ...before };
  await tx.objectStore("refused").put({ ...entry, problem });
}

/** Let go of own events that a verified backup of the server covers. */
async function forget(tx, backedUpSeq) {
  const meta = tx.objectStore("meta");
  if (backedUpSeq <= ((await meta.get("forgotten_seq")) ?? 0)) return;
  const waiting = new Set(await tx.objectStore("outbox").getAllKeys());
  for (const { id } of await tx.objectStore("confirming").getAll()) {
    waiting.add((await tx.objectStore("events").get(id))?.seq);
  }
  const open = (await tx.objectStore("refused").getAll()).filter((entry) => !entry.mended_by);
  for (const entry of open) waiting.add(entry.event.seq);
  for (const event of await tx.objectStore("events").getAll()) {
    if (event.seq > backedUpSeq || waiting.has(event.seq)) continue;
    await tx.objectStore("events").delete(event.id);
    await tx.objectStore("refused").delete(event.id);
  }
  await meta.put(backedUpSeq, "forgotten_seq");
}

/** The ids of all own events that this phone still holds. @returns {Promise<string[]>} */
export function heldIds() {
  return reading((db) => db.getAllKeys("events"));
}

/**
 * A server that was restored: queue again what it lacks, and read its rows from the start. In one
 * transaction, so that a phone killed in between notices the restore again.
 * @param {string[]} missing ids
 * @param {import("./engine.js").Server} server
 */
export function beginAfresh(missing, server) {
  return durably(["events", "outbox", "confirming", "meta", ...PHOTO_STORES], async (tx) => {
    await doubtSent(tx);
    for (const id of missing) {
      const event = await tx.objectStore("events").get(id);
      if (event) await tx.objectStore("outbox").put({ seq: event.seq, id });
      await tx.objectStore("confirming").delete(id);
    }
    // The others' rows come with the pull from the start; their revisions were counted by a server
    // that is no more, and this one may take weeks to count as far.
    for (const { id } of await tx.objectStore("confirming").getAll()) {
      await tx.objectStore("confirming").put({ id, revision: 0 });
    }
    const meta = tx.objectStore("meta");
    await Promise.all([
      meta.put(server.epoch, "epoch"),
      meta.put(server.revision, "revision"),
      meta.put(server.next_seq, "server_next_seq"),
      meta.put("0", "cursor"),
      meta.put(true, "afresh"),
    ]);
  });
}
