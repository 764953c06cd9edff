// @ts-check
/** What frost would find, place by place in walking order, and what is covered: read from the house. @module */
import { dewPoint } from "../core/humidity.js";
import { figuresOf, nightDay as nightOf } from "../core/evening.js";
import { HOUR_MS, MINUTE_MS, toMs, toText } from "../core/instants.js";
import { hourOf } from "../core/nights.js";
import { coverOf, isOpen, NOWHERE, openStock, thinCovers, walkingOrder } from "../core/tender.js";
import { coverFacts, frostLimitC, nightTimes, nurseryWeather } from "../core/weather_facts.js";
import { lots, now, nursery, places, rows } from "../store/house.js";
import { weatherOf } from "../store/weather.js";

// A reading tells the course of a night from two hours after sunset; this near to it counts. Ours.
const NEAR_MS = 30 * MINUTE_MS;
// Temperature and humidity belong together when read within the hour. Ours.
const PAIR_MS = HOUR_MS;

/** Everything that stands where, whatever is forecast. */
function stockNow() {
  const held = weatherOf(rows.value, lots.value, nursery()?.offsets ?? []);
  return { ...held, all: held.whole() };
}

/** The night that is coming or under way, with what the forecast says of it, or null. */
export function tonight() {
  const home = nursery();
  if (!home) return null;
  const { nights } = nurseryWeather(home, stockNow().all);
  const day = nightDay();
  return nights.find(({ of }) => of === day) ?? null;
}

/** The forecast low from which on down this nursery's watch of frost asks for covers. */
export const frostLimit = () => frostLimitC([...rows.value.get("watch")?.values() ?? []]);

/** The day whose evening begins the night that is under way, or else the one that is coming. */
export const nightDay = () => nightOf(nursery() ?? {}, now.value);

/** The times of the night that is under way or coming, forecast or not. */
export const tonightTimes = () => nightTimes(nursery() ?? {}, nightDay());

/** The forecast low of the latest night before tonight, or null. */
export const lastFigure = () => figuresOf(nursery() ?? {}, nightDay(), now.value).last;

/** What stands open on the coming night: `{place, lots: [{lot, why}]}` each, and what nobody has said. */
export function openPlaces() {
  const { all } = stockNow();
  const at = tonight()?.sunset_at ?? tonightTimes().sunset_at;
  const unknown = openStock(all.entries, all.places, at, null).unknown_lots;
  const found = new Map();
  for (const entry of all.entries) {
    const place = all.places[entry.place ?? ""] ?? {};
    if (!isOpen(place) || !((entry.until ?? "") > at) || coverOf(entry, place)) continue;
    const id = entry.place || NOWHERE;
    found.set(id, [...(found.get(id) ?? []), { lot: lots.value.get(entry.id), why: entry.why }]);
  }
  const open = walkingOrder(found.keys(), all.places).map((id) => ({ place: all.places[id] ?? null, lots: found.get(id) }));
  return { open, unknown };
}

/**
 * The records of a cover that was put on or taken off: of its place, or of each lot where it is not
 * the whole place's. Where others stand open a second cover over it all would say that they are covered too.
 * @param {{act: string, id: string}} box @param {string} at @param {number | null} low for how cold a night, °C
 */
export function coverDrafts({ act, id }, at, low) {
  const whole = (kind, data) => [{ kind, lot: null, data: { place: id, ...data } }];
  const each = (entries, data, kind = "covered") => entries.map((entry) => ({ kind, lot: entry.id, data }));
  if (act === "uncover" && id) return whole("uncovered", {});
  const { all } = stockNow();
  const place = all.places[id] ?? {};
  const there = all.entries.filter((entry) => (entry.place || NOWHERE) === id);
  if (act === "uncover") return each(there.filter((entry) => coverOf(entry, place)), {}, "uncovered");
  const open = there.filter((entry) => (entry.until ?? "") > at && !coverOf(entry, place));
  const meant = low === null ? {} : { for_low_c: low };
  if (act === "cover") return id ? whole("covered", meant) : each(open, meant);
  const until = coverFacts(place, { ...all, entries: there })?.until ?? null;
  const data = { ...meant, ...(until ? { until } : {}) };
  return open.length || !id ? each(there.filter((entry) => coverOf(entry, place)), data) : whole("covered", data);
}

/**
 * What is covered: `{place, cover, lots, own, thin}` each, in walking order; `own` are lots with a cover
 * of their own; the place of those without one has no name, and comes last.
 */
export function coveredPlaces() {
  const held = stockNow();
  const night = tonight();
  return [...places(), { id: NOWHERE }].flatMap((place) => {
    const stock = held.inPlace(place);
    const cover = coverFacts(place, stock);
    if (!cover) return [];
    const over = stock.entries.filter((entry) => coverOf(entry, place));
    const own = over.filter((entry) => coverOf(entry, { ...place, covered: null })).map(({ id }) => id);
    return [{ place, cover, lots: over.length, own, thin: thinIn(place, stock, night) }];
  });
}

/** Lots whose cover was put on for a milder night, the mildest it was for, and tonight's low; or null. */
function thinIn(place, stock, night) {
  const thin = night && night.low_c <= frostLimit() ? thinCovers(stock, place.id, night.sunset_at, night.low_c) : [];
  return thin.length ? { lots: thin.map(({ id }) => id), for_low_c: Math.max(...thin.map((one) => one.for_low_c)), low_c: night.low_c } : null;
}

/** The last temperature of each place that frost can reach: `{place, temp, dew, passes_at}`. */
export function readings() {
  return places().flatMap((place) => {
    const { temp_c: temp, humidity_percent: damp } = place.last_read ?? {};
    if (!temp || place.kind === "chamber") return [];
    const together = damp && damp.value > 0 && Math.abs(toMs(damp.at) - toMs(temp.at)) <= PAIR_MS;
    return [{ place, temp, dew: together ? dewPoint(temp.value, damp.value) : null, passes_at: passesAt(temp) }];
  });
}

/** When the course of a clear, calm night would pass 0 °C, from a reading two hours after sunset; or null. */
function passesAt(temp) {
  const night = tonight();
  if (!night || night.sun === "taken") return null;
  const sunset = toMs(night.sunset_at);
  const hours = (toMs(night.ends_at) - sunset) / HOUR_MS;
  if (hours <= 2 || Math.abs(toMs(temp.at) - sunset - 2 * HOUR_MS) > NEAR_MS) return null;
  const hour = hourOf(0, temp.value, night.low_c, hours);
  return hour === null ? null : toText(sunset + Math.round(hour * HOUR_MS));
}
