// @ts-check
/** Everything that runs on the bench, worked out anew each time from what was recorded. @module */
import { benchRow } from "../core/bench.js";
import { lots, one } from "../store/house.js";
import { isLive } from "./to_see.js";

export { SHORT } from "../core/bench.js";

/** Every running row with its lot: what is counted in minutes first, then what ends first. */
export function benchRows() {
  const found = [];
  for (const lot of lots.value.values()) {
    const row = isLive(lot) ? benchRow(lot, one("protocol", lot.crop)) : null;
    if (row) found.push({ ...row, lot });
  }
  return found.sort((a, b) => inBleach(b) - inBleach(a) || compare(end(a), end(b)) || compare(a.lot.label, b.lot.label));
}

/** The next time of a row that is still to come: its target, else its limit; null past both. */
export function nextTime(row, now) {
  return [row.target_at, row.limit_at].find((time) => time && time > now) ?? null;
}

const end = (row) => row.target_at ?? row.limit_at ?? "9";
const inBleach = (row) => Number(row.kind === "sanitise");
const compare = (a, b) => (a < b ? -1 : a > b ? 1 : 0);
