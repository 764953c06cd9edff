// @ts-check
/**
 * Promises against what a lot can be trusted to hold on the day. Twin of `domain/promises.py`, which
 * says how the cautious forecast is made.
 * @module
 */
import { DAY_MS, later, toMs, toText } from "./instants.js";
import { Z_80, wilson } from "./proportions.js";

const PAST_DAYS_LEAST = 90;
const DAY = /^\d{4}-\d\d-\d\d$/;

/** {deliver_on, promised, forecast, grade, since, noted_at} of the first promise that is too large. */
export function promiseFacts(lot) {
  if (!["seedlings", "plants"].includes(lot.unit) || lot.quantity === null) return { since: null };
  const due = new Map([[null, 0]]);
  for (const note of outstanding(lot)) {
    const grade = note.grade ?? null;
    due.set(null, due.get(null) + note.left);
    if (grade !== null) due.set(grade, (due.get(grade) ?? 0) + note.left);
    const expected = forecast(lot, note, later(note.at, lot.seen_at));
    if (due.get(grade) > expected) {
      const told = { deliver_on: note.deliver_on, grade, since: since(lot, note), noted_at: note.at };
      return { ...told, promised: due.get(grade), forecast: expected };
    }
  }
  return { since: null };
}

const compare = (a, b) => (a < b ? -1 : a > b ? 1 : 0);

/** The promises, soonest first, each with what its buyer has not been sold since. */
export function outstanding(lot) {
  const sales = lot.sales.map((sale) => ({ ...sale, left: sale.quantity }));
  const promises = lot.promises.filter(readable)
    .sort((a, b) => compare(a.deliver_on, b.deliver_on) || compare(a.at, b.at) || compare(a.event, b.event));
  return promises.map((note) => {
    let left = note.quantity;
    for (const sale of sales) {
      if ((sale.buyer ?? null) !== (note.buyer ?? null) || sale.at < note.at) continue;
      const taken = Math.min(left, sale.left);
      left -= taken;
      sale.left -= taken;
    }
    return { ...note, left };
  });
}

function readable({ quantity, deliver_on: day }) {
  if (typeof quantity !== "number" || typeof day !== "string" || !DAY.test(day)) return false;
  const ms = toMs(`${day}T00:00:00.000Z`);
  // An engine may read 31 February in its own way; the year 0 is none.
  return Number.isFinite(ms) && !day.startsWith("0000") && toText(ms).startsWith(day);
}

/** How many of a promise's grade will stand on its day, cautiously. */
export function forecast(lot, note, asOf) {
  const grade = note.grade ?? null;
  const graded = lot.grades.filter((one) => (one.grade ?? null) === grade);
  const share = grade !== null && graded.length ? shareOf(graded.at(-1)) : 1;
  const began = lot.stage_since || lot.started_at;
  const lost = lot.losses.filter((one) => one.at >= began).reduce((sum, one) => sum + one.quantity, 0);
  const pastMs = Math.max(toMs(asOf) - toMs(began), PAST_DAYS_LEAST * DAY_MS);
  const aheadMs = Math.max(0, toMs(`${note.deliver_on}T00:00:00.000Z`) - toMs(asOf));
  const count = lot.quantity;
  if (count + lost <= 0) return 0;
  const [low] = wilson(count, count + lost, Z_80);
  return Math.floor(count * share * Math.max(0, 1 - ((1 - low) * aheadMs) / pastMs));
}

function shareOf({ quantity, out_of: outOf }) {
  if (typeof quantity !== "number" || typeof outOf !== "number" || outOf <= 0) return 1;
  return Math.min(quantity / outOf, 1);
}

/** When the record last said something that made the forecast or the promise. */
function since(lot, note) {
  return later(note.at, ...["losses", "sales", "grades"].flatMap((name) => lot[name].map((one) => one.at)));
}
