// @ts-check
/**
 * Dilution: twin of `domain/dilution.py`, where the sources stand. Each calculation takes one
 * object and returns one, under the names of the check values; each throws `CannotMix`.
 * @module
 */
import { CannotCalculate, CannotMix, amount, shown } from "./amounts.js";
import { BadInstant, HOUR_MS, parseInstant } from "./instants.js";
import { VOLUME_ML_MAX } from "./volumes.js";

/** @typedef {Record<string, any>} Data */

export const PPM_PER_PERCENT = 10_000;
const NAOCL_G_PER_MOL = 74.44;
const CHLORINE_G_PER_MOL = 70.906;
const PARTS_MAX = 1e9;
const WATER_US_GAL_MAX = 100_000;
const US_FL_OZ_PER_GAL = 128;
const HOURS_MAX = 1e6;
const PRODUCT = "product_strength_percent";
const WANTED = "wanted_strength_percent";
const PRODUCT_WORDS = "The product's strength";
const WANTED_WORDS = "The wanted strength";
const OR_NOUGHT = { nought: true };

/** Product and water for a finished volume. @param {Data} inputs */
export function dilutionMakeUpTo(inputs) {
  const [product, wanted] = strengths(inputs);
  const final = amount(inputs, "final_volume_ml", "The finished volume", VOLUME_ML_MAX, " mL");
  return makeUpTo(product, wanted, final);
}

/** The product to add to water already drawn. @param {Data} inputs */
export function dilutionAddTo(inputs) {
  const [product, wanted] = strengths(inputs);
  const water = amount(inputs, "water_volume_ml", "The water", VOLUME_ML_MAX, " mL");
  if (wanted === product) throw new CannotMix(WANTED, neverReached(`${shown(product)} %`));
  const mixed = addTo(product, wanted, water);
  if (mixed.product_ml > VOLUME_ML_MAX) throw new CannotMix(WANTED, tooMuchProduct(mixed.product_ml));
  return mixed;
}

/** Product and water in mL; strengths in any one unit, wanted <= product. */
export function makeUpTo(product, wanted, finalMl) {
  const productMl = (finalMl * wanted) / product;
  return { product_ml: productMl, water_ml: finalMl - productMl };
}

/** Product and total in mL; strengths in any one unit, wanted < product. */
export function addTo(product, wanted, waterMl) {
  const productMl = (waterMl * wanted) / (product - wanted);
  return { product_ml: productMl, total_ml: waterMl + productMl };
}

/** Parts of water to one of product. @param {Data} inputs */
export function dilutionPartsWater(inputs) {
  const [product, wanted] = strengths(inputs);
  if (wanted === 0) {
    throw new CannotMix(WANTED, "No number of parts gives plain water; ask for more than 0 %.");
  }
  return { parts_water_per_part_product: product / wanted - 1 };
}

/** The strength of product poured together with water. @param {Data} inputs */
export function dilutionStrength(inputs) {
  const strength = amount(inputs, PRODUCT, PRODUCT_WORDS, 100, " %");
  const product = amount(inputs, "product_volume", "The product's volume", PARTS_MAX, "", OR_NOUGHT);
  const water = amount(inputs, "water_volume", "The water's volume", PARTS_MAX, "", OR_NOUGHT);
  if (product + water === 0) {
    const says = "Nothing is mixed: the product or the water must be more than 0.";
    throw new CannotMix("product_volume", says);
  }
  return mixture(strength, product, product + water);
}

/** The strength of product made up with water to a volume. @param {Data} inputs */
export function dilutionStrengthMakeUpTo(inputs) {
  const strength = amount(inputs, PRODUCT, PRODUCT_WORDS, 100, " %");
  const product = amount(inputs, "product_volume", "The product's volume", PARTS_MAX, "", OR_NOUGHT);
  const final = amount(inputs, "final_volume", "The finished volume", PARTS_MAX);
  if (product > final) {
    const says = `Of the product at most the finished volume goes in: ${shown(final)}.`;
    throw new CannotMix("product_volume", says);
  }
  return mixture(strength, product, final);
}

/** Ppm (mg/L) of a strength in percent. @param {Data} inputs */
export function ppmFromPercent(inputs) {
  const percent = amount(inputs, "strength_percent", "The strength", 100, " %", OR_NOUGHT);
  return { ppm: percent * PPM_PER_PERCENT };
}

/** Grams of powder for a litre. @param {Data} inputs */
export function powderGramsPerLitre(inputs) {
  const wanted = amount(inputs, WANTED, WANTED_WORDS, 100, " %");
  const field = "powder_available_chlorine_percent";
  const powder = amount(inputs, field, "The powder's available chlorine", 100, " %");
  notStronger(wanted, powder);
  return { grams_per_litre: (1000 * wanted) / powder };
}

/** US fluid ounces of product for water in US gallons. @param {Data} inputs */
export function productUsFlOzForPpm(inputs) {
  const product = amount(inputs, PRODUCT, PRODUCT_WORDS, 100, " %");
  const ppm = amount(inputs, "wanted_ppm", "The wanted strength", 1e6, " ppm", OR_NOUGHT);
  const water = amount(inputs, "water_us_gal", "The water", WATER_US_GAL_MAX, " US gallons");
  const productPpm = product * PPM_PER_PERCENT;
  if (ppm > productPpm) throw new CannotMix("wanted_ppm", tooStrong(`${shown(productPpm, 5)} ppm`));
  return { product_us_fl_oz: (US_FL_OZ_PER_GAL * water * ppm) / productPpm };
}

/** Percent available chlorine of percent sodium hypochlorite. @param {Data} inputs */
export function availableChlorineFromHypochlorite(inputs) {
  const words = "The sodium hypochlorite";
  const percent = amount(inputs, "sodium_hypochlorite_percent", words, 100, " %", OR_NOUGHT);
  return { available_chlorine_percent: availableChlorine(percent) };
}

/** Percent sodium hypochlorite of percent available chlorine. @param {Data} inputs */
export function hypochloriteFromAvailableChlorine(inputs) {
  const words = "The available chlorine";
  const most = availableChlorine(100);
  const percent = amount(inputs, "available_chlorine_percent", words, most, " %", OR_NOUGHT);
  return { sodium_hypochlorite_percent: (percent * NAOCL_G_PER_MOL) / CHLORINE_G_PER_MOL };
}

/** The available chlorine in percent. @param {number} sodiumHypochloritePercent */
export function availableChlorine(sodiumHypochloritePercent) {
  return (sodiumHypochloritePercent * CHLORINE_G_PER_MOL) / NAOCL_G_PER_MOL;
}

/** Whether a solution is still inside its life; at its end it is old. @param {Data} inputs */
export function solutionUsable(inputs) {
  const age = amount(inputs, "hours_since_mixed", "The hours since mixing", HOURS_MAX, "", OR_NOUGHT);
  const life = amount(inputs, "life_hours", "The life in hours", HOURS_MAX);
  return { usable: age < life };
}

/** Whether a solution mixed at one instant is usable at another. @param {Data} inputs */
export function solutionAge(inputs) {
  const mixedAt = instant(inputs, "mixed_at");
  const hours = (instant(inputs, "now") - mixedAt) / HOUR_MS;
  if (hours < 0) {
    throw new CannotCalculate("mixed_at must not be after now; check both times.", "mixed_at");
  }
  const life = amount(inputs, "life_hours", "The life in hours", HOURS_MAX);
  return { usable: hours < life };
}

/** Why a strength above the product's is refused. @param {string} most */
export function tooStrong(most) {
  return `The product itself has ${most}, and water only weakens it: ask for at most that.`;
}

/** Why adding to water cannot keep the product's own strength. @param {string} most */
export function neverReached(most) {
  return `Added to water it is always weaker than the product's own ${most}: ask for less.`;
}

/** Why an amount of product beyond a cubic metre is refused. @param {number} productMl */
export function tooMuchProduct(productMl) {
  const litres = shown(productMl / 1000);
  return `That would take ${litres} L of product: ask for a weaker solution or less water.`;
}

function strengths(inputs) {
  const product = amount(inputs, PRODUCT, PRODUCT_WORDS, 100, " %");
  const wanted = amount(inputs, WANTED, WANTED_WORDS, 100, " %", OR_NOUGHT);
  notStronger(wanted, product);
  return [product, wanted];
}

function notStronger(wanted, product) {
  if (wanted > product) throw new CannotMix(WANTED, tooStrong(`${shown(product)} %`));
}

function mixture(strengthPercent, product, total) {
  const percent = (strengthPercent * product) / total;
  const byVolume = (100 * product) / total;
  return { strength_percent: percent, ppm: percent * PPM_PER_PERCENT, percent_by_volume: byVolume };
}

function instant(inputs, field) {
  try {
    return parseInstant(inputs[field]);
  } catch (error) {
    if (!(error instanceof BadInstant)) throw error;
    const says = `${field} must be a date and time with its offset, such as 2026-05-01T08:00:00Z.`;
    throw new CannotCalculate(says, field);
  }
}

/** The calculations by the names of the check values. @type {Record<string, (inputs: Data) => Data>} */
export const DILUTION = {
  dilution_make_up_to: dilutionMakeUpTo,
  dilution_add_to: dilutionAddTo,
  dilution_parts_water: dilutionPartsWater,
  dilution_strength: dilutionStrength,
  dilution_strength_make_up_to: dilutionStrengthMakeUpTo,
  ppm_from_percent: ppmFromPercent,
  powder_grams_per_litre: powderGramsPerLitre,
  product_us_fl_oz_for_ppm: productUsFlOzForPpm,
  available_chlorine_from_hypochlorite: availableChlorineFromHypochlorite,
  hypochlorite_from_available_chlorine: hypochloriteFromAvailableChlorine,
  solution_usable: solutionUsable,
  solution_age: solutionAge,
};
