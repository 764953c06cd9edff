// @ts-check
/** The night to come, on paper: twin of `domain/evening.py`. @module */
import { dayBefore, HOUR_MS, localDate, toMs, toText } from "./instants.js";
import { nightRange } from "./nights.js";
import { NOWHERE, openStock, tenderOutdoors, thinCovers, walkingOrder } from "./tender.js";
import { coverFacts, forecastDay, frostCOf, nightTimes } from "./weather_facts.js";

const NAMED_MAX = 20;
const ENDING_MS = 2 * HOUR_MS;

/** What the list on paper says of the night, or null where there is nothing to say. See the twin. */
export function evening(nursery, stock, now) {
  const day = nightDay(nursery, now);
  const soon = nightDay(nursery, toText(toMs(now) + ENDING_MS));
  const found = nightTold(nursery, stock, now, day);
  if (soon === day || (found && found.low_c !== null && (found.open_lots || found.thin.length))) return found;
  return nightTold(nursery, stock, now, soon);
}

function nightTold(nursery, stock, now, day) {
  const { sunset_at } = nightTimes(nursery, day);
  const { figure, last } = figuresOf(nursery, day, now);
  const low = figure ? figure.value : null;
  const covered = coveredIn(stock, now);
  const tender = tenderOutdoors(stock, now);
  if (!(figure || tender || covered.length)) return null;
  const open = openStock(stock.entries, stock.places, sunset_at, null);
  const isFrost = low === null || low <= frostCOf(stock.home ?? {});
  const asked = isFrost ? open.place_ids : [];
  const spread = low === null ? { low_c: null, high_c: null } : nightRange(low);
  return {
    of: day, sunset_at, is_set: sunset_at <= now, low_c: low, told_at: figure ? figure.at : null,
    range_low_c: spread.low_c, range_high_c: spread.high_c,
    last: last ? { value: last.value, at: last.at } : null,
    tender_lots: tender, open_lots: asked.length ? open.lots : 0,
    places: asked.slice(0, NAMED_MAX).map((id) => named(stock.places, id)), covered,
    thin: isFrost ? thinIn(stock, sunset_at, low) : [],
  };
}

/** {figure, last}: the forecast low of the night of a date, and that of the latest night before it; or null each. */
export function figuresOf(nursery, day, now) {
  const lows = (nursery.forecasts ?? []).filter(({ which }) => which === "low")
    .map((one) => [forecastDay(one, nursery.offsets ?? []), one]);
  const figure = lows.findLast(([of]) => of === day)?.[1] ?? null;
  const before = lows.filter(([of, { at }]) => of && of < day && at <= now);
  const last = before.reduce((/** @type {any} */ held, one) => (held && held[0] > one[0] ? held : one), null);
  return { figure, last: last ? last[1] : null };
}

/** The date whose evening begins the night that is under way, or else the coming one. */
export function nightDay(nursery, now) {
  const today = localDate(toMs(now), nursery.offsets ?? []);
  const before = dayBefore(today);
  return nightTimes(nursery, before).ends_at > now ? before : today;
}

function coveredIn(stock, now) {
  const found = [];
  for (const id of walkingOrder([...Object.keys(stock.places), NOWHERE], stock.places)) {
    const entries = stock.entries.filter(({ place }) => (place || NOWHERE) === id);
    const cover = coverFacts(stock.places[id] ?? {}, { ...stock, entries });
    if (!cover) continue;
    const span = cover.mornings.find(({ begins_at, ends_at }) => (ends_at ?? "9") > now && begins_at);
    found.push({ ...named(stock.places, id), since: cover.at, until: cover.until, off_from: span?.begins_at ?? null });
  }
  return found.slice(0, NAMED_MAX);
}

function thinIn(stock, at, low) {
  const found = walkingOrder([...Object.keys(stock.places), NOWHERE], stock.places).map((id) => ({
    ...named(stock.places, id), meant: thinCovers(stock, id, at, low).map((one) => one.for_low_c),
  }));
  return found.filter(({ meant }) => meant.length).map(({ place, name, meant }) => ({ place, name, for_low_c: Math.max(...meant) })).slice(0, NAMED_MAX);
}

const named = (places, id) => ({ place: id, name: String(places[id]?.name || "?") });
