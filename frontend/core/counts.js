// @ts-check
/** Emergence counts: twin of `domain/counts.py`. @module */
import { closeAll } from "./spells.js";

const COUNTS_MAX = 60;

/** Apply a `counted`; by how many the running count fell, or null. */
export function count(lot, event) {
  const data = event.data;
  const before = lot.emerged ? lot.emerged.count : 0;
  let { emerged, out_of: outOf } = data;
  if (data.flat != null) {
    lot.flats[String(data.flat)] = [emerged, outOf];
    const flats = Object.values(lot.flats);
    emerged = flats.reduce((sum, pair) => sum + pair[0], 0);
    outOf = flats.reduce((sum, pair) => sum + pair[1], 0);
  } else {
    lot.flats = {};
  }
  lot.emerged = { count: emerged, out_of: outOf, at: event.at };
  const note = { at: event.at, emerged, out_of: outOf, event: event.id };
  lot.counts = [...lot.counts, note].slice(-COUNTS_MAX);
  if (emerged > before) lot.last_rise_at = event.at;
  if (emerged > 0 && lot.first_emerged_at === null) {
    lot.first_emerged_at = event.at;
    closeAll(lot, event);
  }
  return emerged < before ? before - emerged : null;
}
