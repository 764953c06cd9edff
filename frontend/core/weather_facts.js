// @ts-check
/**
 * Facts about frost, covers and heat: twin of `domain/weather_facts.py`, where they are explained.
 * `stock` is what stands where: {entries, places, houses, offsets, home}.
 * @module
 */
import { FULL_SUN_F, toC } from "./heat.js";
import { DAY_MS, dayBefore, HOUR_MS, later, localDate, localInstant, nextDay, offsetMinutes, toMs, toText, withinYears } from "./instants.js";
import { nightRange } from "./nights.js";
import { instantMs, isNumber, roundHalfUp } from "./rule_terms.js";
import { sunTimes } from "./sun.js";
import { coverOf, namesOf, openStock, walkingOrder } from "./tender.js";
import { READING_STANDS_MS } from "./weather_rows.js";

export const NO_STOCK = { entries: [], places: {}, houses: {}, offsets: [], home: {} };
const EVENING = "18:00";
const MORNING = "07:00";
const TO_NEXT_MORNING_MS = 15 * HOUR_MS;
const FROST_WATCH = "frost-tonight";
const FROST_C = 3;
const LIST_STANDS = "14:00";
const UNCOVER_AFTER_SUNRISE_MS = HOUR_MS;
const LAST_DAY = "9999-12-30";
const DAY = /^\d{4}-\d\d-\d\d$/;

/** {nights, days, cold, heat} of the nursery. */
export function nurseryWeather(nursery, stock) {
  const offsets = nursery.offsets ?? [];
  const lows = new Map();
  const highs = new Map();
  for (const one of nursery.forecasts ?? []) {
    const day = forecastDay(one, offsets);
    if (day) (one.which === "low" ? lows : highs).set(day, one);
  }
  return {
    nights: [...lows.keys()].sort().map((day) => night(nursery, day, lows.get(day), stock)),
    days: [...highs.keys()].sort().map((day) => hotDay(day, highs.get(day), stock, offsets)),
    cold: coldFacts(nursery, stock),
    heat: heatFacts(nursery),
  };
}

/** The local date of a forecast; one without a date is of the day it was recorded on. */
export function forecastDay(forecast, offsets) {
  const day = forecast.day || localDate(toMs(forecast.at), offsets);
  const real = DAY.test(day) && day >= "0001-01-01" && new Date(`${day}T00:00:00Z`).toJSON()?.slice(0, 10) === day;
  return real ? day : null;
}

function night(nursery, day, low, stock) {
  const times = nightTimes(nursery, day);
  const spread = nightRange(low.value);
  return {
    of: day,
    low_c: low.value,
    told_at: low.at,
    range_low_c: spread.low_c,
    range_high_c: spread.high_c,
    ...times,
    ...openStock(stock.entries, stock.places, times.sunset_at, low.value),
  };
}

/** {day_at, sunset_at, ends_at, sun} of the night that begins on a local date. */
export function nightTimes(nursery, day) {
  const offsets = nursery.offsets ?? [];
  const latitude = nursery.latitude_deg;
  const placed = isNumber(nursery.longitude_deg);
  const standard = offsets.length ? Math.min(...offsets.map((row) => row[1])) : 0;
  const longitude = placed ? nursery.longitude_deg : standard / 4;
  const tomorrow = nextDay(day);
  const suns = sunDay(day, longitude, offsets);
  const down = isNumber(latitude) ? sunTimes(latitude, longitude, suns).set_ms : null;
  const up = isNumber(latitude) ? sunTimes(latitude, longitude, nextDay(suns)).rise_ms : null;
  const known = down !== null && up !== null;
  return {
    day_at: toText(localInstant(day, "00:00", offsets)),
    sunset_at: toText(known ? down : localInstant(day, EVENING, offsets)),
    ends_at: toText(known ? up : localInstant(tomorrow, MORNING, offsets)),
    sun: known ? (placed ? "placed" : "about") : "taken",
  };
}

/** The date by the sun's own time whose noon falls into a local date. See the Python twin. */
export function sunDay(day, longitude, offsets) {
  const minutes = offsetMinutes(localInstant(day, "12:00", offsets), offsets);
  const days = Math.floor((720 - 4 * longitude + minutes) / 1440);
  return toText(withinYears(toMs(`${day}T00:00:00.000Z`) - days * DAY_MS)).slice(0, 10);
}

function hotDay(day, high, stock, offsets) {
  const times = {
    day_at: toText(localInstant(day, "00:00", offsets)),
    noon_at: toText(localInstant(day, "12:00", offsets)),
    ends_at: toText(localInstant(nextDay(day), "00:00", offsets)),
  };
  const seen = seenInTheHeat(stock);
  const names = (since) => namesOf(walkingOrder([...seen.keys()].filter((id) => seen.get(id) < since), stock.places), stock.places);
  return {
    of: day, high_c: high.value, told_at: high.at, places: seen.size, ...times,
    seen_at: [...seen.values()].sort()[0] ?? null,
    morning_names: names(times.day_at), noon_names: names(times.noon_at),
  };
}

function seenInTheHeat({ entries, places, houses }) {
  const oldest = new Map();
  for (const [id, lots] of Object.entries(houses)) if (lots.live_lots) oldest.set(id, lots.oldest_seen_at);
  for (const { place: stands, small, seen_at: seen } of entries) {
    const id = stands || "";
    if (!small || !seen || houses[id]) continue;
    if (!oldest.has(id) || seen < oldest.get(id)) oldest.set(id, seen);
  }
  for (const [id, at] of oldest) oldest.set(id, later(at, places[id]?.closed_at));
  return oldest;
}

/** {cold, heat, cover} of a place. */
export function placeWeather(place, stock) {
  return { cold: coldFacts(place, stock), heat: heatFacts(place), cover: coverFacts(place, stock) };
}

/** See the twin: what was uncovered in the morning since the last reading is not asked about before the next. */
function coldFacts(row, stock) {
  if (!row.cold) return null;
  const entries = stock.entries.filter((entry) => !isPassed(entry, row.cold.at, stock));
  const found = openStock(entries, stock.places, row.cold.at, null);
  return { ...row.cold, until_at: standsUntil(row.cold.at), open_lots: found.lots, opened_at: found.opened_at, names: found.names };
}

/** Whether a lot was bared after a reading, at a time of day at which covers come off. */
function isPassed(entry, readAt, { places, home, offsets }) {
  const bared = [entry.bared_at || "", places[entry.place || ""]?.bared_at || ""].sort()[1];
  return bared > readAt && isTimeToUncover({ ...home, offsets }, bared);
}

function heatFacts({ heat }) {
  if (!heat) return null;
  const [index_c, sun_c] = [0, FULL_SUN_F].map((more) => roundHalfUp(toC(heat.index_f + more) * 10) / 10);
  return { ...heat, index_c, sun_c, until_at: standsUntil(heat.at) };
}

const standsUntil = (at) => toText(toMs(at) + READING_STANDS_MS);

/** What is covered in a place, or null: {at, by, until, lots, morning_at, …, mornings}. */
export function coverFacts(place, stock) {
  const found = stock.entries.map((entry) => coverOf(entry, place)).filter(Boolean);
  const laid = place.covered;
  if (!found.length && !laid) return null;
  const home = { ...stock.home, offsets: stock.offsets };
  const timed = (found.length ? found : [laid]).map((cover) => ({ ...cover, days: mornings(cover, home) }));
  const sooner = (one, other) => one.days[1] < other.days[1] || (one.days[1] === other.days[1] && one.at < other.at);
  const first = timed.reduce((held, one) => (sooner(one, held) ? one : held));
  const begins = timed.map(({ days }) => days[0]).sort()[0];
  const meant = (found.length ? found : [laid]).map(({ for_low_c: low }) => low).filter(isNumber);
  const { at, since = null, by = null, by_said = null, until = null, days: [, last] } = first;
  return {
    at: since || at, by, by_said, until, morning_at: morningAfter(home, last), first_morning_at: morningAfter(home, begins),
    mornings: asked(begins, last, home), lots: found.length,
    for_low_c: meant.length ? Math.max(...meant) : null,
    warm_since: place.warm?.since ?? null, warm_c: place.warm?.peak_c ?? null,
  };
}

/** The first local date on which a cover may come off, and the one on which it shall. */
function mornings(cover, { offsets }) {
  const first = localDate(toMs(cover.at) + TO_NEXT_MORNING_MS, offsets);
  const until = instantMs(cover.until, { offsets });
  const named = until === null ? first : [localDate(until, offsets), LAST_DAY].sort()[0];
  return [first, named > first ? named : first];
}

/** The spans in which it is asked for: {from_at, begins_at, ends_at}. See the twin. */
function asked(first, last, home) {
  const found = [];
  let start = first;
  for (const frost of [...frosts(home).filter((day) => day >= first), null]) {
    const begins = start > last ? start : last;
    found.push({
      from_at: morningAfter(home, start),
      begins_at: frost === null || begins <= frost ? morningAfter(home, begins) : null,
      ends_at: frost && toText(listStands(home, frost)),
    });
    start = frost ? nextDay(frost) : start;
  }
  return found;
}

/** The local dates whose night is forecast to be one of frost, in order. */
function frosts(home) {
  const { forecasts, offsets } = home;
  const limit = frostCOf(home);
  const newest = new Map();
  for (const one of forecasts ?? []) if (one.which === "low") newest.set(forecastDay(one, offsets), one.value);
  return [...newest].filter(([day, low]) => day && low <= limit).map(([day]) => day).sort();
}

/** From when on a night's list stands: the hour that stands beside a nursery's row. */
const listStands = (home, day) => localInstant(day, home.frost_at || LIST_STANDS, home.offsets);

/** {frost_c, frost_at} of the nursery's own watch of frost: its limit and its hour. */
export const frostSaid = (rules) => ({ frost_c: frostLimitC(rules), frost_at: frostHour(rules) });

/** The local time from which on that watch asks for covers, the earliest of its cases. */
export function frostHour(rules) {
  const cases = ofFrost(rules).flatMap((rule) => [rule, ...(rule.cases ?? [])]);
  return cases.map(({ after }) => after?.due?.local_time).filter(Boolean).sort()[0] ?? LIST_STANDS;
}

/** The watch of frost, where it is on. See the twin. */
const ofFrost = (rules) => rules.filter(({ id, enabled }) => id === FROST_WATCH && enabled !== false);

/** The forecast low from which on down the nursery's own watch of frost asks for covers. See the twin. */
export function frostLimitC(rules) {
  const terms = ofFrost(rules).flatMap(({ when }) => when ?? []);
  const limits = terms.filter(([name, how, limit]) => name === "night.low_c" && how === "at_most" && isNumber(limit));
  return limits.length ? Math.min(...limits.map((term) => term[2])) : FROST_C;
}

/** The limit of frost that stands beside a nursery's row, or else the shipped one. */
export const frostCOf = (home) => (isNumber(home.frost_c) ? home.frost_c : FROST_C);

/** When covers may come off on the morning of a local date. */
export const morningAfter = (home, day) => toText(toMs(nightTimes(home, dayBefore(day)).ends_at) + UNCOVER_AFTER_SUNRISE_MS);

/** Whether covers come off before they go on: from the morning until the night's list. */
export function isTimeToUncover(home, now) {
  const day = localDate(toMs(now), home.offsets);
  return morningAfter(home, day) <= now && now < toText(listStands(home, day));
}

/** Whether anything of the nursery's weather can matter now or later. */
export function weatherStands(nursery, now) {
  const yesterday = toText(toMs(now) - 2 * DAY_MS).slice(0, 10);
  return (nursery.forecasts ?? []).some((one) => (one.day || one.at) >= yesterday) || Boolean(nursery.cold);
}
