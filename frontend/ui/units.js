// @ts-check
/** Temperatures as the nursery reads them; metric inside, always. @module */
import { nursery } from "../store/house.js";

const isUs = () => nursery()?.units === "us";
const rounded = (value) => Math.round(value * 10) / 10;

/** "°C" or "°F". */
export const degrees = () => (isUs() ? "°F" : "°C");

/** A temperature's figure in the nursery's own unit. @param {number} celsius */
export const inDegrees = (celsius) => (isUs() ? rounded(celsius * 1.8 + 32) : celsius);

/**
 * Degrees Celsius of what was typed in the nursery's own unit; NaN where it is no number.
 * @param {string} typed
 */
export function toCelsius(typed) {
  const value = Number(typed.trim().replace(",", ".").replace("−", "-"));
  return isUs() ? rounded((value - 32) / 1.8) : value;
}
