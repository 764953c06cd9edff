// @ts-check
/** Calculations with temperatures: twin of `domain/temperatures.py`, where the sources stand. @module */
import { CannotCalculate, number } from "./amounts.js";
import { BANDS, chillRange as rangeOf, hoursIn, keep } from "./chill.js";
import { BadInstant, parseInstant, toText } from "./instants.js";
import { sentence } from "./mixing_words.js";

/** @typedef {Record<string, any>} Data */

const TEMPS_MAX = 100_000;
const TEMP_C_LIMIT = 90;
const ABSOLUTE_ZERO_F = -459.67;
const FAHRENHEIT_MAX = 10_000;

/** How many hourly temperatures lie in a band, both ends included. @param {Data} inputs */
export function chillHours(inputs) {
  const hourly = hourlyOf(inputs);
  return { hours: hoursIn(hourly, ...bandOf([inputs.low_C, inputs.high_C])) };
}

/** Effective cold days in a narrow, a middle and a wide band. @param {Data} inputs */
export function coldBandThree(inputs) {
  const hourly = hourlyOf(inputs);
  const bands = inputs.bands_C ?? {};
  const days = ["low", "middle", "high"].map((name, index) =>
    [name, hoursIn(hourly, ...bandOf(Object.hasOwn(bands, name) ? bands[name] : BANDS[index])) / 24]);
  return Object.fromEntries(days);
}

/** The cold days of a spell from readings and calendar. @param {Data} inputs */
export function chillRange(inputs) {
  const [start, end] = ["started_at", "ended_at"].map((name) => instant(inputs[name], name));
  if (end < start) throw new CannotCalculate("ended_at", sentence("ended_before"));
  const given = inputs.readings || [];
  if (!Array.isArray(given) || given.length > TEMPS_MAX) throw new CannotCalculate("readings", sentence("readings"));
  const read = given.map(readingOf).sort(([at, temp], [other, warmer]) => at - other || temp - warmer);
  const once = read.filter(([at, temp], n) => n === 0 || at !== read[n - 1][0] || temp !== read[n - 1][1]);
  const temps = once.reduce((held, [at, temp]) => keep(held, toText(at), temp, Boolean(inputs.by_hand)), null);
  return rangeOf(temps, toText(start), toText(end));
}

/** A temperature in °C. @param {Data} inputs */
export function fToC(inputs) {
  const fahrenheit = number(inputs.t_F);
  if (fahrenheit === null || fahrenheit < ABSOLUTE_ZERO_F || fahrenheit > FAHRENHEIT_MAX) {
    throw new CannotCalculate("t_F", sentence("fahrenheit"));
  }
  return { t_C: ((fahrenheit - 32) * 5) / 9 };
}

function hourlyOf({ hourly_C: given }) {
  const right = Array.isArray(given) && given.length > 0 && given.length <= TEMPS_MAX && given.every(isTemp);
  if (!right) throw new CannotCalculate("hourly_C", sentence("hourly"));
  return given;
}

const isTemp = (given) => number(given) !== null && Math.abs(given) <= TEMP_C_LIMIT;

/** @returns {[number, number]} */
function bandOf(given) {
  const [low, high] = Array.isArray(given) && given.length === 2 ? given.map(number) : [null, null];
  if (low === null || high === null || low > high) throw new CannotCalculate("bands_C", sentence("band"));
  return [low, high];
}

function readingOf(given) {
  const [at, temp] = Array.isArray(given) && given.length === 2 ? given : [null, null];
  if (!isTemp(temp)) throw new CannotCalculate("readings", sentence("readings"));
  return [instant(at, "readings"), temp];
}

function instant(given, field) {
  try {
    return parseInstant(given);
  } catch (error) {
    if (!(error instanceof BadInstant)) throw error;
    throw new CannotCalculate(field, sentence("no_instant", { field }));
  }
}

/** The calculations by the names of the check values. @type {Record<string, (inputs: Data) => Data>} */
export const TEMPERATURES = {
  chill_hours: chillHours,
  cold_band_three: coldBandThree,
  chill_range: chillRange,
  f_to_c: fToC,
};
