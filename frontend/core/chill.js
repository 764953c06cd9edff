// @ts-check
/** Chill of seeds as a range: twin of `domain/chill.py`, where the sources stand. @module */
import { DAY_MS, HOUR_MS, toMs, toText } from "./instants.js";
import { roundHalfUp } from "./rule_terms.js";

/** Narrow, middle, wide, in °C, both ends included. */
export const BANDS = [[1, 5], [0, 7.2], [-2, 10]];
const WARM_C = BANDS[2][1];
const DAYS_KEPT = 200;
const RECENT_KEPT = 24;
const GAP_HOURS = 3;
const GAP_BY_HAND_HOURS = 26;
const DAY_HOURS = 24;

/** The temperatures of a chamber that nobody has read yet. */
export function newTemps() {
  return { days: [], recent: [] };
}

/**
 * The temperatures after one more reading; readings come in the order of their time.
 * @param {any} temps
 * @param {string} at
 * @param {number} tempC
 * @param {boolean} byHand
 */
export function keep(temps, at, tempC, byHand) {
  const before = temps ?? newTemps();
  const last = before.recent.at(-1);
  const days = before.days.map((day) => [...day]);
  if (last) {
    const mean = (tempC + last[1]) / 2;
    for (const [day, hours] of hoursBetween(last[0], at, byHand ? GAP_BY_HAND_HOURS : GAP_HOURS)) {
      const row = rowOf(days, day, mean);
      row[3] = brief(row[3] + hours);
      BANDS.forEach(([low, high], band) => {
        row[4 + band] = brief(row[4 + band] + (low <= mean && mean <= high ? hours : 0));
      });
    }
  }
  const row = rowOf(days, at.slice(0, 10), tempC);
  row[1] = Math.min(row[1], tempC);
  row[2] = Math.max(row[2], tempC);
  return { days: days.slice(-DAYS_KEPT), recent: [...before.recent, [at, tempC]].slice(-RECENT_KEPT) };
}

/** The row of the last day, or a new one for the day after it. */
function rowOf(days, day, tempC) {
  if (days.at(-1)?.[0] !== day) days.push([day, tempC, tempC, 0, 0, 0, 0]);
  return days.at(-1);
}

/** [day, hours] of the time between two readings, or nothing where it is too long. */
function hoursBetween(start, end, mostHours) {
  const found = [];
  const last = toMs(end);
  let at = toMs(start);
  if (last - at > mostHours * HOUR_MS) return found;
  while (at < last) {
    const midnight = Math.min(last, at - (at % DAY_MS) + DAY_MS);
    found.push([toText(at).slice(0, 10), (midnight - at) / HOUR_MS]);
    at = midnight;
  }
  return found;
}

/** Hours to a third of a second: phones pull the row after each reading. @param {number} hours */
const brief = (hours) => roundHalfUp(hours * 10_000) / 10_000;

/**
 * How many effective cold days a spell has had, low, middle and high; which were read, which are
 * the calendar's; and the days above the wide band.
 * @param {any} temps
 * @param {string} startedAt
 * @param {string} endedAt
 */
export function chillRange(temps, startedAt, endedAt) {
  const start = toMs(startedAt);
  const end = Math.max(toMs(endedAt), start);
  let readHours = 0;
  let banded = [0, 0, 0];
  const warm = [];
  for (const [day, , high, hours, ...bands] of (temps ?? newTemps()).days) {
    const midnight = toMs(`${day}T00:00:00.000Z`);
    const inside = Math.min(end, midnight + DAY_MS) - Math.max(start, midnight);
    if (inside <= 0 || hours <= 0) continue;
    const share = Math.min(1, inside / HOUR_MS / hours);
    readHours += hours * share;
    banded = banded.map((sum, index) => sum + bands[index] * share);
    if (high > WARM_C) warm.push([day, high]);
  }
  const whole = (end - start) / HOUR_MS;
  const unread = Math.max(0, whole - readHours);
  const [low, middle, high] = banded.map((hours) => (hours + unread) / DAY_HOURS);
  return {
    low_days: low, middle_days: middle, high_days: high,
    read_days: Math.min(readHours, whole) / DAY_HOURS, calendar_days: unread / DAY_HOURS, warm,
  };
}

/** How many hourly temperatures lie in a band, both ends included. */
export function hoursIn(hourlyC, lowC, highC) {
  return hourlyC.filter((temp) => lowC <= temp && temp <= highC).length;
}
