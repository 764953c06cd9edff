// @ts-check
/**
 * Rows that people change whole (places, people, protocols, watches, the nursery) and what is said
 * of places: unsent events laid over the server's rows, as `store/config.py` does it. Pure.
 * @module
 */
import { effective } from "../core/corrections.js";
import { ROW_KINDS, aims, said } from "../core/rows.js";
import { newSolution } from "../core/solutions.js";

// These follow on what was last known: an older one waits for the server to sort it in.
const IN_ORDER = ["read", "covered", "uncovered"];

/**
 * @param {Map<string, Map<string, any>>} stored rows by kind and id
 * @param {any[]} events own events that the rows may not hold yet
 * @returns {Map<string, Map<string, any>>} `stored` itself where nothing of this was said
 */
export function overlayRows(stored, events) {
  const home = [...(stored.get("nursery")?.keys() ?? [])][0] ?? null;
  const changes = effective(events).flatMap((event) => aims(event, home).filter(([, id]) => id).map((aim) => [event, ...aim]));
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

const isLate = (row, event) => IN_ORDER.includes(event.kind) && event.at <= (row.folded_at ?? "");
