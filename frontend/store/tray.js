// @ts-check
/**
 * The tray: records that the server refused, kept until a person has mended them or given them up.
 * Either is a new record with its own id and number; the refused one leaves the tray only when the
 * server has stored that (DESIGN §3.3).
 * @module
 */
import { durably, reading } from "./database.js";
import { recordAll } from "./record.js";

const UUID = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/i;

/**
 * Mend a refused record: the same act, said again with corrected data.
 * @param {string} refusedId
 * @param {Record<string, any>} data the whole corrected data
 * @param {{lot?: string | null, observedAt?: string}} [more] where those were wrong
 * @returns {Promise<any>} the new event
 */
export async function mend(refusedId, data, more = {}) {
  const { event, older } = await entryAt(refusedId);
  const timed = more.observedAt
    ? { observedAt: more.observedAt, typed: true }
    : { observedAt: event.observed_at, typed: event.typed, clock: event.clock };
  const lot = more.lot === undefined ? event.lot : more.lot;
  const again = { kind: event.kind, lot, data, more: { ...timed, by: event.by, mends: refusedId } };
  const [made] = await recordAll([again, ...older.map((id) => giving(id, lot, "mended later"))]);
  await answered([refusedId, ...older], made.id);
  return made;
}

/**
 * Give a refused record up: a `voided` of it, with the reason.
 * @param {string} refusedId
 * @param {string} why
 */
export async function giveUp(refusedId, why) {
  const { event, older } = await entryAt(refusedId);
  const [made] = await recordAll([refusedId, ...older].map((id) => giving(id, event.lot, why)));
  await answered([refusedId, ...older], made.id);
  return made;
}

function giving(id, lot, why) {
  const known = typeof lot === "string" && UUID.test(lot) ? lot : null;
  return { kind: "voided", lot: known, data: { of: id, why } };
}

/** A refused record, and the refused ones before it that it was to mend. */
async function entryAt(refusedId) {
  const entries = await reading((db) => db.getAll("refused"));
  const byId = new Map(entries.map((entry) => [entry.id, entry]));
  const entry = byId.get(refusedId);
  if (!entry) throw new Error("This record is not among those that need mending.");
  const older = [];
  let before = entry.event.mends;
  while (byId.has(before) && !older.includes(before)) {
    older.push(before);
    before = byId.get(before).event.mends;
  }
  return { event: entry.event, older };
}

function answered(ids, by) {
  return durably(["refused"], async (tx) => {
    for (const id of ids) {
      const entry = await tx.store.get(id);
      if (entry) await tx.store.put({ ...entry, mending: by });
    }
  });
}
