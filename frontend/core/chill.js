// @ts-check
/** Chill of seeds as a range: twin of `domain/chill.py`, where the sources stand. @module */
import { DAY_MS, HOUR_MS, toMs } from "./instants.js";

/** Narrow, middle, wide, in °C, both ends included. */
export const BANDS = [[1, 5], [0, 7.2], [-2, 10]];
const WARM_C = BANDS[2][1];
const DAYS_KEPT = 200;
const RECENT_KEPT = 120;
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
  const since = last ? (toMs(at) - toMs(last[0])) / HOUR_MS : 0;
  const hours = since > 0 && since <= (byHand ? GAP_BY_HAND_HOURS : GAP_HOURS) ? since : 0;
  const mean = last ? (tempC + last[1]) / 2 : tempC;
  const days = [...before.days];
  if (!days.length || days.at(-1)[0] !== at.slice(0, 10)) days.push([at.slice(0, 10), tempC, tempC, 0, 0, 0, 0]);
  const [day, low, high, read, ...bands] = days.at(-1);
  const held = bands.map((sum, index) => sum + (BANDS[index][0] <= mean && mean <= BANDS[index][1] ? hours : 0));
  days[days.length - 1] = [day, Math.min(low, tempC), Math.max(high, tempC), read + hours, ...held];
  return { days: days.slice(-DAYS_KEPT), recent: [...before.recent, [at, tempC]].slice(-RECENT_KEPT) };
}

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
