// @ts-check
/** Calculations about nights, moisture and heat: twin of `domain/climate.py`. @module */
import { CannotCalculate, number, shown } from "./amounts.js";
import * as heat from "./heat.js";
import * as humidity from "./humidity.js";
import { HOUR_MS, toText } from "./instants.js";
import { sentence } from "./mixing_words.js";
import * as nights from "./nights.js";
import { sunTimes } from "./sun.js";

/** @typedef {Record<string, any>} Data */

/** @type {[number, number]} */
const TEMP_C = [-90, 60];
/** @type {[number, number]} */
const TEMP_F = [-130, 212];
/** @type {[number, number]} */
const PERCENT = [0.1, 100];
const NIGHTS_MIN = 10;
const NIGHTS_MAX = 10_000;
const STATES = { always_below: "always below", always_above: "always above" };
const DAY = /^\d{4}-\d\d-\d\d$/;

/** @param {Data} inputs */
function sunClock(inputs) {
  const latitude = numberOf(inputs, "latitude_deg", [-90, 90]);
  const longitude = numberOf(inputs, "longitude_deg", [-180, 180]);
  const offset = numberOf(inputs, "utc_offset_h", [-14, 14]);
  const sun = sunTimes(latitude, longitude, dateOf(inputs.date));
  return {
    sunrise_local: wall(sun.rise_ms, offset), sunset_local: wall(sun.set_ms, offset),
    state: STATES[sun.state] ?? "rises and sets",
  };
}

/** @param {Data} inputs */
function dewWetAbove0(inputs) {
  const [temp, rh] = [numberOf(inputs, "t_C", [0, 60]), numberOf(inputs, "rh_pct", PERCENT)];
  const pressure = numberOf({ pressure_Pa: 101_325, ...inputs }, "pressure_Pa", [50_000, 110_000]);
  return { tdew_C: humidity.dewPoint(temp, rh), twet_C: humidity.wetBulb(temp, rh, pressure / 1000) };
}

/** @param {Data} inputs */
function dewBelow0(inputs) {
  const [temp, rh] = [numberOf(inputs, "t_C", TEMP_C), numberOf(inputs, "rh_pct", PERCENT)];
  return { frost_point_C: humidity.frostPoint(temp, rh), dew_point_over_water_C: humidity.dewPoint(temp, rh) };
}

/** @param {Data} inputs */
const dewpointMagnus = (inputs) => ({
  tdew_C: humidity.dewPoint(numberOf(inputs, "t_C", TEMP_C), numberOf(inputs, "rh_pct", PERCENT)),
});

/** @param {Data} inputs */
const dewpointFao = (inputs) => ({ tdew_C: humidity.inverse(numberOf(inputs, "ea_kPa", [0.0001, 20])) });

/** @param {Data} inputs */
const stull = (inputs) => ({
  twet_C: humidity.stullWetBulb(numberOf(inputs, "t_C", [-20, 50]), numberOf(inputs, "rh_pct", [5, 99])),
});

/** @param {Data} inputs */
const thirdRule = (inputs) => ({
  twet_C: humidity.thirdWetBulb(numberOf(inputs, "t_C", [-10, 10]), numberOf(inputs, "tdew_C", TEMP_C)),
});

/** @param {Data} inputs */
function frostTrend(inputs) {
  const [t2, tmin, hours] = nightOf(inputs);
  const whole = Array.from({ length: Math.floor(hours) - 2 }, (_, index) => index + 3);
  return { hour: whole, t_C: whole.map((hour) => nights.tempAt(hour, t2, tmin, hours)) };
}

/** @param {Data} inputs */
function frostCross(inputs) {
  const [t2, tmin, hours] = nightOf(inputs);
  return { hour: nights.hourOf(numberOf(inputs, "limit_C", TEMP_F), t2, tmin, hours) };
}

/** @param {Data} inputs */
function frostRegressionCoeffs(inputs) {
  const columns = ["t0_C", "td_C", "tn_C"].map((name) => inputs[name]);
  const length = columns[0]?.length;
  const isTemp = (value) => number(value) !== null && Math.abs(value) <= 90;
  const fits = columns.every((column) => Array.isArray(column) && column.length === length && column.every(isTemp));
  if (!fits || length < NIGHTS_MIN || length > NIGHTS_MAX) throw new CannotCalculate("t0_C", sentence("climate_nights"));
  return nights.fitNights(columns[0], columns[1], columns[2]);
}

/** @param {Data} inputs */
function frostClass(inputs) {
  const [advisory, freeze] = ["advisory_f", "freeze_f"].map((name) => pairOf(inputs, name));
  return {
    advisory_c: advisory.map(heat.toC), freeze_c: freeze.map(heat.toC),
    hard_c: heat.toC(numberOf(inputs, "hard_f", TEMP_F)),
  };
}

/** @param {Data} inputs */
const coverOff = (inputs) => ({ limit_c: heat.toC(numberOf(inputs, "limit_f", TEMP_F)) });

/** @param {Data} inputs */
function convertGain(inputs) {
  const [under, outside] = ["under_F", "outside_F"].map((name) => numberOf(inputs, name, TEMP_F));
  return { gain_C: ((under - outside) * 5) / 9 };
}

/** @param {Data} inputs */
function heatIndex(inputs) {
  const [temp, rh] = [numberOf(inputs, "temp_c", [-20, 60]), numberOf(inputs, "humidity_percent", [0, 100])];
  const index = heat.heatIndexF(heat.toF(temp), rh);
  return { index_f: index, index_c: heat.toC(index), risk: heat.riskAt(index) };
}

/** @param {Data} inputs */
const heatRisk = (inputs) => ({ risk: heat.riskAt(numberOf(inputs, "heat_index_f", TEMP_F)) });

function numberOf(inputs, field, [low, high]) {
  const found = number(inputs[field]);
  if (found === null || found < low || found > high) {
    throw new CannotCalculate(field, sentence("climate_number", { field, low: shown(low), high: shown(high) }));
  }
  return found;
}

function pairOf(inputs, field) {
  const ends = inputs[field];
  const fits = Array.isArray(ends) && ends.length === 2 && ends.every((end) => number(end) !== null) && ends[0] <= ends[1];
  if (!fits) throw new CannotCalculate(field, sentence("climate_pair", { field }));
  return ends;
}

/** @returns {[number, number, number]} */
function nightOf(inputs) {
  const [t2, tmin] = ["t2_C", "tmin_C"].map((name) => numberOf(inputs, name, TEMP_F));
  const hours = number(inputs.hours_sunset_to_sunrise);
  if (hours === null || hours <= nights.NIGHT_HOURS_MIN || hours > 24) {
    throw new CannotCalculate("hours_sunset_to_sunrise", sentence("climate_night"));
  }
  if (tmin > t2) throw new CannotCalculate("tmin_C", sentence("climate_rises"));
  return [t2, tmin, hours];
}

function dateOf(given) {
  const real = typeof given === "string" && DAY.test(given) && given >= "0001-01-01"
    && new Date(`${given}T00:00:00Z`).toJSON()?.slice(0, 10) === given;
  if (!real) throw new CannotCalculate("date", sentence("climate_date"));
  return given;
}

const wall = (at, offset) => (at === null ? null : toText(Math.round(at + offset * HOUR_MS)).slice(0, 19));

/** By the names of the check values. @type {Record<string, (inputs: Data) => Data>} */
export const CLIMATE = {
  sun_clock: sunClock, dew_wet_above0: dewWetAbove0, dew_below0: dewBelow0,
  dewpoint_magnus: dewpointMagnus, dewpoint_fao: dewpointFao, stull, third_rule: thirdRule,
  frost_trend: frostTrend, frost_cross: frostCross, frost_regression_coeffs: frostRegressionCoeffs,
  frost_class: frostClass, cover_off: coverOff, convert_gain: convertGain,
  heat_index: heatIndex, heat_risk: heatRisk,
};
