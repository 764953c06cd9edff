// @ts-check
/** Sunrise and sunset: twin of `domain/sun.py`, where method and limits stand. @module */
import { MINUTE_MS, toMs } from "./instants.js";

const ZENITH_DEG = 90.833;
const J2000_MS = 946_728_000_000;
const CENTURY_MS = 36_525 * 86_400_000;
const TURNS = 3;
const radians = (degrees) => (degrees * Math.PI) / 180;
const degreesOf = (angle) => (angle * 180) / Math.PI;

/**
 * {rise_ms, set_ms, state} of a local date, in whole minutes.
 * @param {number} latitude north is positive @param {number} longitude east is positive @param {string} day
 */
export function sunTimes(latitude, longitude, day) {
  const [rise, above] = crossing(latitude, longitude, day, -1);
  const [down] = crossing(latitude, longitude, day, 1);
  if (rise === null || down === null) {
    return { rise_ms: null, set_ms: null, state: above ? "always_above" : "always_below" };
  }
  return { rise_ms: rise, set_ms: down, state: "rises_and_sets" };
}

/** @returns {[number | null, boolean]} */
function crossing(latitude, longitude, day, side) {
  const midnight = toMs(`${day}T00:00:00.000Z`);
  let at = midnight + (720 - 4 * longitude) * MINUTE_MS;
  for (let turn = 0; turn < TURNS; turn += 1) {
    const [declination, equation] = sun(at);
    const cosine = hourAngleCosine(latitude, declination);
    if (!(cosine >= -1 && cosine <= 1)) return [null, cosine < -1];
    const angle = degreesOf(Math.acos(cosine));
    at = midnight + (720 - 4 * (longitude - side * angle) - equation) * MINUTE_MS;
  }
  return [Math.floor(at / MINUTE_MS + 0.5) * MINUTE_MS, false];
}

function hourAngleCosine(latitude, declination) {
  // At the poles themselves the sun circles: a hair's breadth away tells day from night.
  const phi = radians(Math.min(Math.max(latitude, -89.999), 89.999));
  const delta = radians(declination);
  return Math.cos(radians(ZENITH_DEG)) / (Math.cos(phi) * Math.cos(delta)) - Math.tan(phi) * Math.tan(delta);
}

/** The sun's declination in degrees and the equation of time in minutes. @returns {[number, number]} */
function sun(at) {
  const t = (at - J2000_MS) / CENTURY_MS;
  const mean = (((280.46646 + t * (36000.76983 + t * 0.0003032)) % 360) + 360) % 360;
  const anomaly = radians(357.52911 + t * (35999.05029 - 0.0001537 * t));
  const eccentricity = 0.016708634 - t * (0.000042037 + 0.0000001267 * t);
  const centre = Math.sin(anomaly) * (1.914602 - t * (0.004817 + 0.000014 * t))
    + Math.sin(2 * anomaly) * (0.019993 - 0.000101 * t)
    + Math.sin(3 * anomaly) * 0.000289;
  const node = radians(125.04 - 1934.136 * t);
  const apparent = radians(mean + centre - 0.00569 - 0.00478 * Math.sin(node));
  const meanTilt = 23 + (26 + (21.448 - t * (46.815 + t * (0.00059 - t * 0.001813))) / 60) / 60;
  const tilt = radians(meanTilt + 0.00256 * Math.cos(node));
  const declination = degreesOf(Math.asin(Math.sin(tilt) * Math.sin(apparent)));
  const y = Math.tan(tilt / 2) ** 2;
  const twice = radians(2 * mean);
  const equation = y * Math.sin(twice)
    - 2 * eccentricity * Math.sin(anomaly)
    + 4 * eccentricity * y * Math.sin(anomaly) * Math.cos(twice)
    - 0.5 * y * y * Math.sin(2 * twice)
    - 1.25 * eccentricity * eccentricity * Math.sin(2 * anomaly);
  return [declination, 4 * degreesOf(equation)];
}
