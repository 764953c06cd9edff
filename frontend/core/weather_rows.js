// @ts-check
/** What a reading or a forecast leaves on a row: twin of `domain/weather_rows.py`. @module */
import { heatIndexF, toF } from "./heat.js";
import { DAY_MS, HOUR_MS, MINUTE_MS, toMs, toText } from "./instants.js";
import { isNumber, roundHalfUp } from "./rule_terms.js";

const FORECASTS = { forecast_low_c: "low", forecast_high_c: "high" };
const FORECAST_KEPT_DAYS = 3;
const FORECAST_AHEAD_DAYS = 31;
const FORECASTS_MAX = 2 * (FORECAST_KEPT_DAYS + 1 + FORECAST_AHEAD_DAYS);
const NEAR_FROST_C = 3;
const WARM_C = 14.6;
const HOT_F = 89;
const PAIR_MS = 60 * MINUTE_MS;
export const READING_STANDS_MS = 3 * HOUR_MS;

/** A row after a `read`, its `last_read` being brought up to date already. */
export function withWeather(before, at, by, data) {
  const { quantity_kind: kind, value } = data;
  if (FORECASTS[kind]) return { ...before, forecasts: forecasts(before, at, by, data) };
  if (before.kind === "chamber" || !["temp_c", "humidity_percent"].includes(kind)) return before;
  const row = { ...before, heat: heatRun(before) };
  if (kind !== "temp_c") return row;
  const cold = run(still(row.cold, at), at, value, value <= NEAR_FROST_C, Math.min);
  return { ...row, cold, warm: run(row.warm, at, value, value >= WARM_C, Math.max) };
}

function forecasts(row, at, by, data) {
  const which = FORECASTS[data.quantity_kind];
  const given = data.for_night_of || data.for_day;
  const day = typeof given === "string" ? given : null;
  const oldest = toText(toMs(at) - FORECAST_KEPT_DAYS * DAY_MS).slice(0, 10);
  const newest = toText(toMs(at) + FORECAST_AHEAD_DAYS * DAY_MS);
  if ((day || at) < oldest || (day || at) > newest) return [...(row.forecasts ?? [])];
  const kept = (row.forecasts ?? []).filter((one) => (one.day || one.at) >= oldest
    && (one.which !== which || one.day === null || one.day !== day));
  return nearest([...kept, { which, day, value: data.value, at, by, sensor: data.by_sensor ?? null }], at);
}

/** Leaves out, where one is too many, the furthest day ahead. See the Python twin. */
function nearest(all, at) {
  if (all.length <= FORECASTS_MAX) return all;
  const tomorrow = toText(toMs(at) + DAY_MS);
  const ahead = all.filter(({ day }) => (day ?? "") > tomorrow);
  const undated = all.filter(({ day }) => day === null);
  const gone = ahead.length ? ahead.reduce((best, one) => (one.day > best.day ? one : best)) : [...undated, ...all][0];
  return all.filter((one) => one !== gone);
}

/** A run that a reading goes on with: none that ended as its last reading told no more. */
const still = (before, at) => (before && toMs(at) - toMs(before.at) <= READING_STANDS_MS ? before : null);

function run(before, at, value, goesOn, worse) {
  if (!goesOn) return null;
  if (!before) return { since: at, at, temp_c: value, peak_c: value };
  return { since: before.since, at, temp_c: value, peak_c: worse(before.peak_c, value) };
}

function heatRun(row) {
  const [temp, humidity] = ["temp_c", "humidity_percent"].map((name) => row.last_read?.[name]);
  if (!temp || !humidity) return null;
  const before = row.heat ?? null;
  if (Math.abs(toMs(temp.at) - toMs(humidity.at)) > PAIR_MS) return before;
  if (!isNumber(temp.value) || !isNumber(humidity.value)) return before;
  const index = roundHalfUp(heatIndexF(toF(temp.value), humidity.value) * 10) / 10;
  if (index < HOT_F) return null;
  const at = temp.at > humidity.at ? temp.at : humidity.at;
  const goesOn = still(before, at);
  return { since: goesOn ? goesOn.since : at, at, index_f: index, peak_f: goesOn ? Math.max(index, goesOn.peak_f) : index };
}
