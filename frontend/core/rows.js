// @ts-check
/**
 * What is said of places, solutions, phones and the nursery: a row after one more event. Twin of
 * `domain/rows.py`.
 * @module
 */
import { withAnswer } from "./answers.js";
import { saidBy } from "./attribution.js";
import { newState, read as readChamber, settingsKept } from "./chambers.js";
import { keep as keepTemps } from "./chill.js";
import { later } from "./instants.js";
import { keep as keepHours } from "./series.js";
import { SOLUTION_KINDS, withSolution } from "./solutions.js";
import { withTreatment } from "./treatments.js";
import { withWeather } from "./weather_rows.js";

export const ANSWERS = ["acknowledged", "shelved", "given_back", "deferred", "decided"];
const ANSWERABLE = ["place", "phone", "nursery", "solution"];
const PLACE_KINDS = ["round_closed", "read", "covered", "uncovered"];
export const ROW_KINDS = {
  place_changed: "place", person_changed: "person", protocol_changed: "protocol",
  watch_changed: "watch", nursery_changed: "nursery", phone_changed: "phone",
};

/**
 * [kind, id] of each row that an event says something of. Of an effective event these are the rows
 * that take it: a correction may have moved it from one bucket or place to another.
 * @param {any} event
 * @param {string | null} home the nursery's own id
 * @returns {[string, any][]}
 */
export function aims(event, home) {
  const { kind } = event;
  const data = event.data ?? {};
  if (ROW_KINDS[kind]) return [[ROW_KINDS[kind], data.id ?? null]];
  if (SOLUTION_KINDS.includes(kind)) return [["solution", data.solution ?? null]];
  if (kind === "treated") return (data.places ?? []).map((place) => ["place", place]);
  if (PLACE_KINDS.includes(kind) && data.place) return [["place", data.place]];
  if (["round_closed", "read"].includes(kind)) return event.lot ? [] : [["nursery", home]];
  if (!ANSWERS.includes(kind) || event.lot) return [];
  return ANSWERABLE.map((name) => [name, data[name] ?? null]);
}

/** Those of a row's effective events that are still about it. */
export function about(kind, id, ordered, home) {
  return ordered.filter((event) => aims(event, home).some(([at, named]) => at === kind && named === id));
}

/** A row after more events, in fold order, that do not replace it. */
export function goOn(row, ordered) {
  return ordered.reduce((held, event) => ({ ...said(held, event), folded_at: later(held.folded_at, event.at) }), row);
}

/** A row after one event that says something of it. */
export function said(row, event) {
  const { kind } = event;
  const data = event.data ?? {};
  if (kind === "round_closed") {
    return { ...row, closed_at: later(row.closed_at, event.at), closed_skipped: data.skipped ?? [], closed_by: event.by ?? null };
  }
  if (kind === "covered") return { ...entered(row, event), covered: coverSaid(event, row.covered) };
  if (kind === "uncovered") return { ...entered(row, event), covered: null, bared_at: event.at };
  if (kind === "read") return withReading(isByHand(event) ? entered(row, event) : row, event.at, event.by ?? null, data);
  if (kind === "treated") return withTreatment(row, event);
  if (SOLUTION_KINDS.includes(kind)) return withSolution(row, event);
  return ANSWERS.includes(kind) && typeof data.watch === "string" ? answered(row, event, data) : row;
}

/** A cover as a record says it: since when, by whom, until when, for how cold a night. See the twin. */
export function coverSaid(event, before) {
  const { until = null, for_low_c = null, stays } = event.data ?? {};
  if (stays === true) return before ? { ...before, until } : null;
  const since = before ? { since: before.since || before.at } : {};
  return { at: event.at, ...since, ...saidBy(event), until, for_low_c };
}

/** Note that somebody was at the place itself. */
const entered = (row, event) => ({ ...row, entered_at: later(row.entered_at, event.at) });
const isByHand = (event) => (event.by ?? null) !== null && (event.data?.by_sensor ?? null) === null;

function answered(row, event, data) {
  const how = event.kind === "decided" ? "deferred" : event.kind;
  const answer = { at: event.at, ...saidBy(event), until: data.until ?? null, why: data.why ?? null };
  const before = row.answers ?? {};
  return { ...row, answers: { ...before, [data.watch]: withAnswer(before[data.watch] ?? {}, how, answer) } };
}

function withReading(before, at, by, data) {
  // A correction may have left no reading of it.
  if (typeof data.quantity_kind !== "string" || typeof data.value !== "number") return before;
  const reading = { value: data.value, at, for_night_of: data.for_night_of ?? null };
  const read = { ...before, last_read: { ...before.last_read, [data.quantity_kind]: reading } };
  const row = withWeather(read, at, by, data);
  if (row.kind !== "chamber" || data.quantity_kind !== "temp_c") return row;
  const settings = settingsKept(row.chamber);
  return {
    ...row,
    chamber_state: readChamber(row.chamber_state ?? newState(), at, data.value, settings),
    temps: keepTemps(row.temps, at, data.value, settings.by_hand),
    hours: keepHours(row.hours, at, data.value),
  };
}
