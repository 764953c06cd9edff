// @ts-check
/** The course of a clear, calm night: twin of `domain/nights.py`, where the sources stand. @module */

const LEAF_BELOW_AIR_C = 3;
export const OPEN_SKY_BELOW_AIR_C = 11.5;
export const COVER_GAIN_C = [1, 5];
export const COVER_ONCE_C = -0.6;
export const NIGHT_HOURS_MIN = 2;

/** What leaves might see on the night of a forecast low: {low_c, high_c}. @param {number} low */
export function nightRange(low) {
  return { low_c: low - LEAF_BELOW_AIR_C, high_c: low };
}

/** The temperature at an hour after sunset, from the second hour on. */
export function tempAt(hour, t2, tmin, nightHours) {
  return t2 + (tmin - t2) * Math.sqrt((hour - 2) / (nightHours - 2));
}

/** The hour after sunset at which the fall passes a limit, or null. @returns {number | null} */
export function hourOf(limit, t2, tmin, nightHours) {
  if (!(tmin <= limit && limit <= t2) || tmin === t2) return null;
  return 2 + (nightHours - 2) * ((limit - t2) / (tmin - t2)) ** 2;
}

/** The coefficients of a site's own nights, in two steps. @param {number[]} t0 @param {number[]} td @param {number[]} tn */
export function fitNights(t0, td, tn) {
  const [slope, intercept] = line(t0, tn);
  const left = tn.map((low, index) => low - (slope * t0[index] + intercept));
  const [slopeTd, rest] = line(td, left);
  return { slope_t0: slope, slope_td: slopeTd, intercept: intercept + rest, intercept_t0_only: intercept };
}

/** @returns {[number, number]} */
function line(xs, ys) {
  const mean = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;
  const [meanX, meanY] = [mean(xs), mean(ys)];
  const spread = xs.reduce((sum, x) => sum + (x - meanX) ** 2, 0);
  const together = xs.reduce((sum, x, index) => sum + (x - meanX) * (ys[index] - meanY), 0);
  const slope = spread ? together / spread : 0;
  return [slope, meanY - slope * meanX];
}
