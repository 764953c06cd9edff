// @ts-check
/** Heat and people: twin of `domain/heat.py`, where the sources stand. @module */

/** @type {[number, string][]} */
const RISKS_F = [[115, "very_high"], [103, "high"], [91, "moderate"]];

/** What full sun can add to the index, which is for shade, °F (NWS SR 90-23). */
export const FULL_SUN_F = 15;

/** The heat index in °F, in shade. @param {number} t °F @param {number} r percent */
export function heatIndexF(t, r) {
  const simple = 0.5 * (t + 61 + (t - 68) * 1.2 + r * 0.094);
  if ((simple + t) / 2 < 80) return simple;
  let index = -42.379
    + 2.04901523 * t
    + 10.14333127 * r
    - 0.22475541 * t * r
    - 0.00683783 * t * t
    - 0.05481717 * r * r
    + 0.00122874 * t * t * r
    + 0.00085282 * t * r * r
    - 0.00000199 * t * t * r * r;
  if (r < 13 && t >= 80 && t <= 112) index -= ((13 - r) / 4) * Math.sqrt((17 - Math.abs(t - 95)) / 17);
  if (r > 85 && t >= 80 && t <= 87) index += (((r - 85) / 10) * (87 - t)) / 5;
  return index;
}

/** `lower`, `moderate`, `high` or `very_high`. @param {number} index °F */
export function riskAt(index) {
  return RISKS_F.find(([least]) => index >= least)?.[1] ?? "lower";
}

/** @param {number} celsius */
export const toF = (celsius) => (celsius * 9) / 5 + 32;
/** @param {number} fahrenheit */
export const toC = (fahrenheit) => ((fahrenheit - 32) * 5) / 9;
