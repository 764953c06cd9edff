// @ts-check
/**
 * Sprays and other treatments: how long a place is closed, and how long a lot may not be sold.
 * Twin of `domain/treatments.py`.
 * @module
 */
import { BadInstant, DAY_MS, HOUR_MS, later, localDate, parseInstant, toMs, toText, withinYears } from "./instants.js";

const KEPT_MAX = 8;
const OF_A_LOT_KEPT_MAX = 40;

/** When a treatment ended; where that cannot be read, when it was recorded. */
export function endedAt(event) {
  try {
    return toText(parseInstant(event.data?.ended_at));
  } catch (error) {
    if (error instanceof BadInstant) return event.at;
    throw error;
  }
}

/** The instant so many units after an end, or null where no interval is on record. */
export function after(ended, length, unitMs) {
  if (typeof length !== "number" || length <= 0) return null;
  return toText(withinYears(parseInstant(ended) + Math.floor(length * unitMs + 0.5)));
}

/** What is kept of a `treated` event, for the place and for the lots in it. */
export function treatmentOf(event) {
  const data = event.data ?? {};
  const ended = endedAt(event);
  return {
    event: event.id,
    lot: event.lot ?? null,
    product: data.product ?? null,
    ended_at: ended,
    enter_after: after(ended, data.rei_hours, HOUR_MS),
    hold_until: after(ended, data.sale_hold_days, DAY_MS),
  };
}

/** A place's row after a treatment in it; the longest interval holds. */
export function withTreatment(row, event) {
  const before = row.treatments ?? [];
  const kept = [...stillKept(before, before, event.at, KEPT_MAX), treatmentOf(event)];
  return { ...row, treatments: kept, enter_after: later(...kept.map((one) => one.enter_after)) };
}

/** A lot's own treatments with one more. */
export function withNote(notes, note) {
  const told = notes.map((one) => treatmentOf({ ...one, id: one.event, data: one }));
  return [...stillKept(notes, told, note.at, OF_A_LOT_KEPT_MAX), note];
}

/** Those that stay beside a new one: of too many, the oldest that are over go. See the Python twin. */
function stillKept(kept, treatments, now, most) {
  const ends = treatments.map((one) => later(one.enter_after, one.hold_until) ?? "");
  const over = ends.flatMap((end, number) => (end <= now ? [number] : []));
  const gone = new Set(over.slice(0, Math.max(kept.length + 1 - most, 0)));
  return kept.filter((_, number) => !gone.has(number));
}

/** {at, until, product} of the last visit to a place, where it was closed just then. */
export function entryFacts(place, newestVisitAt) {
  const seenAt = later(newestVisitAt, place.entered_at) ?? "";
  const closed = (place.treatments ?? []).filter((one) => one.enter_after && one.ended_at < seenAt && seenAt < one.enter_after);
  if (!closed.length) return { at: null };
  const longest = longestBy("enter_after", closed);
  return { at: seenAt, until: longest.enter_after, product: longest.product };
}

/** The first of those whose end is the latest. */
const longestBy = (name, list) => list.reduce((best, one) => (one[name] > best[name] ? one : best));

/** What a lot's treatments mean for its sale. See the Python twin. */
export function holdFacts(lot, place, offsets) {
  const holds = treatmentsOf(lot, place).filter((one) => one.hold_until);
  if (!holds.length) return { until: null };
  const longest = longestBy("hold_until", holds);
  /** @type {Record<string, any>} */
  const facts = { until: longest.hold_until, product: longest.product };
  const within = (hold) => lot.sales.filter(({ at }) => hold.ended_at < at && at < hold.hold_until);
  const sold = holds.flatMap((hold) => within(hold).map(({ at }) => [at, hold.hold_until])).sort(byBoth).at(-1);
  if (sold) [facts.sold_at, facts.sold_until] = sold;
  return { ...facts, ...promised(lot, holds, offsets) };
}

const compare = (a, b) => (a < b ? -1 : a > b ? 1 : 0);
const byBoth = (a, b) => compare(a[0], b[0]) || compare(a[1], b[1]);

/** The soonest promise whose day falls into a hold, to the local day, both ends in. */
function promised(lot, holds, offsets) {
  const catches = (hold) => {
    const [first, last] = [hold.ended_at, hold.hold_until].map((end) => localDate(toMs(end), offsets));
    return ({ deliver_on: day }) => typeof day === "string" && first <= day && day <= last;
  };
  const found = holds.flatMap((hold) => lot.promises.filter(catches(hold))
    .map((note) => [note.deliver_on, later(note.at, hold.ended_at), hold.hold_until]));
  if (!found.length) return {};
  const [day] = found.map((one) => one[0]).sort();
  const same = found.filter((one) => one[0] === day);
  return { deliver_on: day, promised_at: same.map((one) => one[1]).sort()[0], promised_until: same.map((one) => one[2]).sort().at(-1) };
}

/** A lot's own treatments, and those of its place as a whole while it stood there. */
function treatmentsOf(lot, place) {
  const own = lot.treatments.map((note) => treatmentOf({ ...note, id: note.event, lot: lot.id, data: note }));
  const stood = lot.placed_at ?? "";
  const there = (place?.treatments ?? []).filter((one) => one.lot === null && stood <= one.ended_at);
  return [...own, ...there];
}
