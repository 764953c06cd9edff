// @ts-check
/**
 * A chamber's temperatures for a plot: the last week by the hour, and before that by the day. Twin
 * of `domain/series.py`.
 * @module
 */
import { HOUR_MS, toMs, toText } from "./instants.js";
import { roundHalfUp } from "./rule_terms.js";

const HOURS_KEPT = 168;
const DAY_HOURS = 24;

/**
 * The hours after one more reading; readings come in the order of their time. A bucket is [hours
 * since 1970 (UTC), lowest, mean, highest °C, how many readings].
 * @param {any[][] | null | undefined} hours
 * @param {string} at
 * @param {number} tempC
 */
export function keep(hours, at, tempC) {
  const hour = Math.floor(toMs(at) / HOUR_MS);
  const kept = (hours ?? []).filter((bucket) => bucket[0] > hour - HOURS_KEPT);
  const last = kept.at(-1);
  if (last?.[0] !== hour) return [...kept, [hour, tempC, tempC, tempC, 1]];
  const [, low, before, high, count] = last;
  const mean = roundHalfUp(((before * count + tempC) / (count + 1)) * 1000) / 1000;
  return [...kept.slice(0, -1), [hour, Math.min(low, tempC), mean, Math.max(high, tempC), count + 1]];
}

/**
 * [instant, lowest, mean or null, highest, hours that it stands for], oldest first: days from
 * `temps`, the last week from the hours.
 * @param {any} temps
 * @param {any[][] | null | undefined} hours
 * @returns {any[][]}
 */
export function points(temps, hours) {
  const kept = hours ?? [];
  const first = kept.length ? Math.floor(kept[0][0] / DAY_HOURS) * DAY_HOURS * HOUR_MS : Infinity;
  const days = (temps?.days ?? []).map(([day, low, high]) => [`${day}T00:00:00.000Z`, low, null, high, DAY_HOURS]);
  const old = days.filter(([midnight]) => toMs(midnight) < first);
  return [...old, ...kept.map(([hour, low, mean, high]) => [toText(hour * HOUR_MS), low, mean, high, 1])];
}
