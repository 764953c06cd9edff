// @ts-check
/**
 * Dilution: twin of `domain/dilution.py`, where the sources stand. Each calculation takes one
 * object and returns one, under the names of the check values; each throws `CannotMix`.
 * @module
 */
import { CannotMix, amount, quantity, shown } from "./amounts.js";
import { BadInstant, HOUR_MS, parseInstant } from "./instants.js";
import { sentence } from "./mixing_words.js";
import { VOLUME_ML_MAX } from "./volumes.js";

/** @typedef {Record<string, any>} Data */
/** @typedef {import("./mixing_words.js").Sentence} Sentence */

export const PPM_PER_PERCENT = 10_000;
const NAOCL_G_PER_MOL = 74.44;
const CHLORINE_G_PER_MOL = 70.906;
const PARTS_MAX = 1e9;
const WATER_US_GAL_MAX = 100_000;
const US_FL_OZ_PER_GAL = 128;
const HOURS_MAX = 1e6;
const PRODUCT = "product_strength_percent";
const WANTED = "wanted_strength_percent";
const OR_NOUGHT = { nought: true };

/** Product and water for a finished volume. @param {Data} inputs */
export function dilutionMakeUpTo(inputs) {
  const [product, wanted] = strengths(inputs);
  const final = amount(inputs, "final_volume_ml", "finished_volume", VOLUME_ML_MAX, "ml");
  return makeUpTo(product, wanted, final);
}

/** The product to add to water already drawn. @param {Data} inputs */
export function dilutionAddTo(inputs) {
  const [product, wanted] = strengths(inputs);
  const water = amount(inputs, "water_volume_ml", "water", VOLUME_ML_MAX, "ml");
  if (wanted === product) throw new CannotMix(WANTED, neverReached(quantity(product, "percent")));
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
  if (wanted === 0) throw new CannotMix(WANTED, sentence("no_parts"));
  return { parts_water_per_part_product: product / wanted - 1 };
}

/** The strength of product poured together with water. @param {Data} inputs */
export function dilutionStrength(inputs) {
  const strength = amount(inputs, PRODUCT, "product_strength", 100, "percent");
  const product = amount(inputs, "product_volume", "product_volume", PARTS_MAX, "none", OR_NOUGHT);
  const water = amount(inputs, "water_volume", "water_volume", PARTS_MAX, "none", OR_NOUGHT);
  if (product + water === 0) throw new CannotMix("product_volume", sentence("nothing_mixed"));
  return mixture(strength, product, product + water);
}

/** The strength of product made up with water to a volume. @param {Data} inputs */
export function dilutionStrengthMakeUpTo(inputs) {
  const strength = amount(inputs, PRODUCT, "product_strength", 100, "percent");
  const product = amount(inputs, "product_volume", "product_volume", PARTS_MAX, "none", OR_NOUGHT);
  const final = amount(inputs, "final_volume", "finished_volume", PARTS_MAX);
  if (product > final) {
    throw new CannotMix("product_volume", sentence("more_than_all", { final: shown(final) }));
  }
  return mixture(strength, product, final);
}

/** Ppm (mg/L) of a strength in percent. @param {Data} inputs */
export function ppmFromPercent(inputs) {
  const percent = amount(inputs, "strength_percent", "strength", 100, "percent", OR_NOUGHT);
  return { ppm: percent * PPM_PER_PERCENT };
}

/** Grams of powder for a litre. @param {Data} inputs */
export function powderGramsPerLitre(inputs) {
  const wanted = amount(inputs, WANTED, "wanted_strength", 100, "percent");
  const field = "powder_available_chlorine_percent";
  const powder = amount(inputs, field, "powder", 100, "percent");
  notStronger(wanted, powder);
  return { grams_per_litre: (1000 * wanted) / powder };
}

/** US fluid ounces of product for water in US gallons. @param {Data} inputs */
export function productUsFlOzForPpm(inputs) {
  const product = amount(inputs, PRODUCT, "product_strength", 100, "percent");
  const ppm = amount(inputs, "wanted_ppm", "wanted_strength", 1e6, "ppm", OR_NOUGHT);
  const water = amount(inputs, "water_us_gal", "water", WATER_US_GAL_MAX, "us_gal");
  const productPpm = product * PPM_PER_PERCENT;
  if (ppm > productPpm) throw new CannotMix("wanted_ppm", tooStrong(quantity(productPpm, "ppm", 5)));
  return { product_us_fl_oz: (US_FL_OZ_PER_GAL * water * ppm) / productPpm };
}

/** Percent available chlorine of percent sodium hypochlorite. @param {Data} inputs */
export function availableChlorineFromHypochlorite(inputs) {
  const field = "sodium_hypochlorite_percent";
  const percent = amount(inputs, field, "hypochlorite", 100, "percent", OR_NOUGHT);
  return { available_chlorine_percent: availableChlorine(percent) };
}

/** Percent sodium hypochlorite of percent available chlorine. @param {Data} inputs */
export function hypochloriteFromAvailableChlorine(inputs) {
  const field = "available_chlorine_percent";
  const percent = amount(inputs, field, "available", availableChlorine(100), "percent", OR_NOUGHT);
  return { sodium_hypochlorite_percent: (percent * NAOCL_G_PER_MOL) / CHLORINE_G_PER_MOL };
}

/** The available chlorine in percent. @param {number} sodiumHypochloritePercent */
export function availableChlorine(sodiumHypochloritePercent) {
  return (sodiumHypochloritePercent * CHLORINE_G_PER_MOL) / NAOCL_G_PER_MOL;
}

/** Whether a solution is still inside its life; at its end it is old. @param {Data} inputs */
export function solutionUsable(inputs) {
  const age = amount(inputs, "hours_since_mixed", "hours_since", HOURS_MAX, "none", OR_NOUGHT);
  const life = amount(inputs, "life_hours", "life", HOURS_MAX);
  return { usable: age < life };
}

/** Whether a solution mixed at one instant is usable at another. @param {Data} inputs */
export function solutionAge(inputs) {
  const mixedAt = instant(inputs, "mixed_at");
  const hours = (instant(inputs, "now") - mixedAt) / HOUR_MS;
  if (hours < 0) throw new CannotMix("mixed_at", sentence("mixed_after_now"));
  const life = amount(inputs, "life_hours", "life", HOURS_MAX);
  return { usable: hours < life };
}

/** Why a strength above the product's is refused. @param {Sentence} most */
export function tooStrong(most) {
  return sentence("too_strong", { most });
}

/** Why adding to water cannot keep the product's own strength. @param {Sentence} most */
export function neverReached(most) {
  return sentence("never_reached", { most });
}

/** Why an amount of product beyond a cubic metre is refused. @param {number} productMl */
export function tooMuchProduct(productMl) {
  return sentence("too_much_product", { litres: shown(productMl / 1000) });
}

function strengths(inputs) {
  const product = amount(inputs, PRODUCT, "product_strength", 100, "percent");
  const wanted = amount(inputs, WANTED, "wanted_strength", 100, "percent", OR_NOUGHT);
  notStronger(wanted, product);
  return [product, wanted];
}

function notStronger(wanted, product) {
  if (wanted > product) throw new CannotMix(WANTED, tooStrong(quantity(product, "percent")));
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
    throw new CannotMix(field, sentence("no_instant", { field }));
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
