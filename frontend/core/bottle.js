// @ts-check
/** The bottle, its label and its age: twin of `domain/bottle.py`. @module */
import { CannotMix, amount } from "./amounts.js";
import { PPM_PER_PERCENT, availableChlorine } from "./dilution.js";

/** @typedef {{percent: number, ppm: number, unit: string}} Product  percent available chlorine */

const BOTTLE_AGE_DAYS_MAX = 7300;
const LABEL_UNKNOWN =
  "Without the strength on its label a bottle is not mixed from, and the program does not guess."
  + " Look on the front and back of the label for a number with % or g/L; or measure what is in it"
  + " with a chlorine test strip and give ppm; or take another bottle, with a label.";

/** Unit -> largest value, how it is written, how many make 1 %. @type {Record<string, [number, string, number]>} */
export const PRODUCT_UNITS = {
  percent_sodium_hypochlorite_w_w: [100, " % sodium hypochlorite", 1],
  percent_available_chlorine: [100, " % available chlorine", 1],
  g_per_l_available_chlorine: [1000, " g/L available chlorine", 10],
  ppm_available_chlorine: [1_000_000, " ppm available chlorine", PPM_PER_PERCENT],
};

/**
 * What the label says, from `product_strength` and `product_unit`.
 * @param {Record<string, any>} inputs
 * @returns {Product}
 * @throws {CannotMix} the strength is not known (with what to do instead) or cannot be
 */
export function productOf(inputs) {
  const given = inputs.product_strength ?? null;
  const unit = inputs.product_unit ?? null;
  const unknown = [null, "", "unknown"];
  if (unknown.includes(given) || unknown.includes(unit)) {
    throw new CannotMix("product_strength", LABEL_UNKNOWN);
  }
  if (typeof unit !== "string" || !Object.hasOwn(PRODUCT_UNITS, unit)) {
    const known = Object.keys(PRODUCT_UNITS).join(", ");
    throw new CannotMix("product_unit", `The label's unit must be one of ${known}.`);
  }
  const [high, written, perPercent] = PRODUCT_UNITS[unit];
  const value = amount(inputs, "product_strength", "The label's strength", high, written);
  const weight = unit === "percent_sodium_hypochlorite_w_w";
  const percent = weight ? availableChlorine(value) : value / perPercent;
  return { percent, ppm: percent * PPM_PER_PERCENT, unit };
}

/** The bottle's age in days, or null where it was not said. @param {Record<string, any>} inputs */
export function bottleAgeDays(inputs) {
  if ((inputs.bottle_age_days ?? null) === null) return null;
  const words = "The bottle's age";
  return amount(inputs, "bottle_age_days", words, BOTTLE_AGE_DAYS_MAX, " days", { nought: true });
}
