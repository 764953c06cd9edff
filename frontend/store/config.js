// @ts-check
/**
 * Rows that people change whole (places, people, protocols, watches, the nursery) and what is said
 * of places: unsent events laid over the server's rows, as `store/config.py` does it. Pure.
 * @module
 */
import { read, newState, settingsOf } from "../core/chambers.js";
import { keep } from "../core/chill.js";
import { effective } from "../core/corrections.js";
import { later } from "../core/instants.js";

const ROW_KINDS = {
  place_changed: "place", person_changed: "person", protocol_changed: "protocol",
  watch_changed: "watch", nursery_changed: "nursery",
};
const SOLUTION_KINDS = ["solution_mixed", "solution_discarded", "sanitise_started"];
const ANSWERS = ["acknowledged", "shelved", "deferred", "decided"];

/**
 * @param {Map<string, Map<string, any>>} stored rows by kind and id
 * @param {any[]} events own events that the rows may not hold yet
 * @returns {Map<string, Map<string, any>>} `stored` itself where nothing of this was said
 */
export function overlayRows(stored, events) {
  const home = [...(stored.get("nursery")?.keys() ?? [])][0] ?? null;
  const changes = effective(events).flatMap((event) => aims(event, home).map((aim) => [event, ...aim]));
  if (!changes.length) return stored;
  const kinds = new Map([...stored].map(([kind, held]) => [kind, new Map(held)]));
  for (const [event, kind, id] of changes) {
    if (!kinds.has(kind)) kinds.set(kind, new Map());
    const row = kinds.get(kind).get(id) ?? (kind === "solution" ? newSolution(id) : undefined);
    const whole = ROW_KINDS[event.kind] === kind;
    if (whole) kinds.get(kind).set(id, { ...row, ...event.data });
    else if (row) kinds.get(kind).set(id, said(row, event));
  }
  return kinds;
}

/** [kind, id] of each row that an event changes. */
function aims(event, home) {
  const { kind, data } = event;
  if (ROW_KINDS[kind]) return [[ROW_KINDS[kind], data.id]];
  if (SOLUTION_KINDS.includes(kind)) return data.solution ? [["solution", data.solution]] : [];
  if (["round_closed", "read", "covered", "uncovered"].includes(kind) && data.place) return [["place", data.place]];
  if (["round_closed", "read"].includes(kind)) return [["nursery", home]];
  if (!ANSWERS.includes(kind) || event.lot) return [];
  return ["place", "phone", "nursery", "solution"].filter((name) => data[name]).map((name) => [name, data[name]]);
}

function said(row, event) {
  const { data } = event;
  if (event.kind === "round_closed") {
    return { ...row, closed_at: later(row.closed_at, event.at), closed_skipped: data.skipped ?? [], closed_by: event.by };
  }
  if (event.kind === "covered") return { ...row, covered: { at: event.at, until: data.until ?? null } };
  if (event.kind === "uncovered") return { ...row, covered: null };
  if (event.kind === "read") return withReading(row, event);
  if (SOLUTION_KINDS.includes(event.kind)) return withSolution(row, event);
  if (!data.watch) return row;
  const how = event.kind === "decided" ? "deferred" : event.kind;
  const answer = { at: event.at, by: event.by, until: data.until ?? null, why: data.why ?? null };
  const before = row.answers ?? {};
  return { ...row, answers: { ...before, [data.watch]: { ...before[data.watch], [how]: answer } } };
}

/** A solution that is named before anybody says how it was mixed. */
const newSolution = (id) => ({ id, mixed_at: null, discarded_at: null, used_for: [] });

function withSolution(row, { kind, data, at, by, lot }) {
  if (kind === "solution_mixed") return { ...row, ...data, mixed_at: at, by };
  if (kind === "solution_discarded") return { ...row, discarded_at: at };
  return { ...row, used_for: [...new Set([...row.used_for, lot])].sort() };
}

function withReading(row, { data, at }) {
  const reading = { value: data.value, at, for_night_of: data.for_night_of ?? null };
  const changed = { ...row, last_read: { ...row.last_read, [data.quantity_kind]: reading } };
  if (row.kind === "chamber" && data.quantity_kind === "temp_c") {
    const settings = settingsOf(row.chamber);
    changed.chamber_state = read(row.chamber_state ?? newState(), at, data.value, settings);
    changed.temps = keep(row.temps, at, data.value, settings.by_hand);
  }
  return changed;
}
