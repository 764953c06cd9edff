// @ts-check
/**
 * Deriving on the phone: unsent events laid over the rows, and the watches evaluated, so that a
 * look clears what it should at once and without a network.
 * @module
 */
import { batch } from "../vendor/signals.js";
import { figuresOf, nightDay } from "../core/evening.js";
import { group } from "../core/grouping.js";
import { tenderOutdoors } from "../core/tender.js";
import { overlayRows } from "./config.js";
import { confirming, findings, groups, listed, lots, night, notices, now, pending, rows, storedRows, tenderOut, unconfirmed } from "./house.js";
import { overlayLots } from "./lots.js";
import { watchAll } from "./watching.js";
import { weatherOf } from "./weather.js";

/** Work everything out again from rows, unsent events and the time. */
export function derive() {
  const unsent = pending.value;
  const events = [...confirming.value, ...unsent];
  const stored = storedRows();
  const known = overlayRows(stored, events);
  const derived = overlayLots(stored.get("lot") ?? new Map(), events);
  const found = watchAll(known, derived.lots, now.value);
  // What the server has stored may be in a row already that no longer tells it apart: only what it
  // has not seen waits to be confirmed.
  const waiting = unsent.filter((event) => derived.unconfirmed.has(event.id)).map((event) => event.id);
  const stock = weatherOf(known, derived.lots, []).whole();
  const grouped = group([...found.findings.values()].flat());
  batch(() => {
    rows.value = known;
    lots.value = derived.lots;
    unconfirmed.value = new Set(waiting);
    findings.value = found.findings;
    listed.value = found.listed;
    groups.value = grouped;
    notices.value = found.notices;
    tenderOut.value = tenderOutdoors(stock, now.value);
    const of = nightDay(stock.home, now.value);
    night.value = { of, ...figuresOf(stock.home, of, now.value) };
  });
}
