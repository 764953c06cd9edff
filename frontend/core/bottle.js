// @ts-check
/** The bottle, its label and its age: twin of `domain/bottle.py`. @module */
import { CannotMix, amount } from "./amounts.js";
import { PPM_PER_PERCENT, availableChlorine } from "./dilution.js";
import { sentence } from "./mixing_words.js";

/** @typedef {{percent: number, ppm: number, unit: string}} Product  percent available chlorine */

const BOTTLE_AGE_DAYS_MAX = 7300;

/** Unit -> largest value, and how many make 1 %. @type {Record<string, [number, number]>} */
export const PRODUCT_UNITS = {
  percent_sodium_hypochlorite_w_w: [100, 1],
  percent_available_chlorine: [100, 1],
  g_per_l_available_chlorine: [1000, 10],
  ppm_available_chlorine: [1_000_000, PPM_PER_PERCENT],
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
    throw new CannotMix("product_strength", sentence("label_unknown"));
  }
  if (typeof unit !== "string" || !Object.hasOwn(PRODUCT_UNITS, unit)) {
    const known = Object.keys(PRODUCT_UNITS).join(", ");
    throw new CannotMix("product_unit", sentence("label_unit", { known }));
  }
  const [high, perPercent] = PRODUCT_UNITS[unit];
  const value = amount(inputs, "product_strength", "label_strength", high, unit);
  const weight = unit === "percent_sodium_hypochlorite_w_w";
  const percent = weight ? availableChlorine(value) : value / perPercent;
  return { percent, ppm: percent * PPM_PER_PERCENT, unit };
}

/** The bottle's age in days, or null where it was not said. @param {Record<string, any>} inputs */
export function bottleAgeDays(inputs) {
  if ((inputs.bottle_age_days ?? null) === null) return null;
  const most = BOTTLE_AGE_DAYS_MAX;
  return amount(inputs, "bottle_age_days", "bottle_age", most, "days", { nought: true });
}
