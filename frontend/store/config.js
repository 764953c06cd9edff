// @ts-check
/**
 * Rows that people change whole (places, people, protocols, watches, the nursery) and what is said
 * of places: unsent events laid over the server's rows, as `store/config.py` does it. Pure.
 * @module
 */
import { effective } from "../core/corrections.js";
import { ANSWERS, said } from "../core/rows.js";
import { SOLUTION_KINDS, newSolution } from "../core/solutions.js";

const ROW_KINDS = {
  place_changed: "place", person_changed: "person", protocol_changed: "protocol",
  watch_changed: "watch", nursery_changed: "nursery",
};
// These follow on what was last known: an older one waits for the server to sort it in.
const IN_ORDER = ["read", "covered", "uncovered"];

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
  const isWhole = ([event, kind]) => ROW_KINDS[event.kind] === kind;
  // Rows first, so that a reading older than its place still counts.
  for (const change of [...changes.filter(isWhole), ...changes.filter((one) => !isWhole(one))]) {
    const [event, kind, id] = change;
    if (!kinds.has(kind)) kinds.set(kind, new Map());
    const row = kinds.get(kind).get(id) ?? (kind === "solution" ? newSolution(id) : undefined);
    if (isWhole(change)) kinds.get(kind).set(id, { ...row, ...event.data });
    else if (row && !isLate(row, event)) kinds.get(kind).set(id, said(row, event));
  }
  return kinds;
}

/** [kind, id] of each row that an event changes. */
function aims(event, home) {
  const { kind, data } = event;
  if (ROW_KINDS[kind]) return [[ROW_KINDS[kind], data.id]];
  if (SOLUTION_KINDS.includes(kind)) return data.solution ? [["solution", data.solution]] : [];
  if (kind === "treated") return (data.places ?? []).map((place) => ["place", place]);
  if (["round_closed", "read", "covered", "uncovered"].includes(kind) && data.place) return [["place", data.place]];
  if (["round_closed", "read"].includes(kind)) return event.lot ? [] : [["nursery", home]];
  if (!ANSWERS.includes(kind) || event.lot) return [];
  return ["place", "phone", "nursery", "solution"].filter((name) => data[name]).map((name) => [name, data[name]]);
}

const isLate = (row, event) => IN_ORDER.includes(event.kind) && event.at <= (row.folded_at ?? "");
