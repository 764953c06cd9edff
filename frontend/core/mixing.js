// @ts-check
/**
 * Mixing a bleach solution for seed: twin of `domain/mixing.py`, where the sources stand. From the
 * bottle's label to millilitres, steps and warnings; an unknown strength and a bare "1:N" are refused.
 * @module
 */
import { CannotMix, amount, quantity, shown } from "./amounts.js";
import { bottleAgeDays, productOf } from "./bottle.js";
import { PPM_PER_PERCENT, addTo, makeUpTo, neverReached, tooMuchProduct, tooStrong } from "./dilution.js";
import { ASKS_WHY_ML, ASKS_WHY_PPM, warningsFor } from "./mixing_warnings.js";
import { sentence } from "./mixing_words.js";
import { VOLUME_ML_MAX, inAllUnits, volumeOf } from "./volumes.js";

/** @typedef {Record<string, any>} Data */
/** @typedef {{parts: number, of: number, ppm: number, most: import("./mixing_words.js").Sentence}} Share */

export const USABLE_HOURS = 24;
export const METHODS = ["make_up_to", "add_to"];
const PARTS_MAX = 1_000_000;
const RATIO = /^ *(\d{1,7}(?:\.\d{1,3})?) *[:/] *(\d{1,7}(?:\.\d{1,3})?) *$/;
/** What may be wanted, and the most of each. @type {Record<string, number>} */
export const WANTED_UNITS = {
  percent_by_volume: 100,
  ppm: 1_000_000,
  percent_available_chlorine: 100,
  part_in_n: PARTS_MAX,
  part_to_n: PARTS_MAX,
};

/**
 * What to pour, in which order, and what is then in the bucket.
 * @param {Data} inputs  as in the twin: `product_strength` and `product_unit`, `bottle_age_days`,
 *   `wanted` and `wanted_unit`, `volume` and `volume_unit`, `method`
 * @returns {Data}
 * @throws {CannotMix} an unknown strength, a bare ratio (with both `readings`), the impossible
 */
export function planMix(inputs) {
  const product = productOf(inputs);
  const ageDays = bottleAgeDays(inputs);
  if (!METHODS.includes(inputs.method)) throw new CannotMix("method", sentence("method"));
  const volumeMl = volumeOf(inputs, inputs.method === "make_up_to" ? "finished_volume" : "water");
  refuseBareRatio(inputs, product, volumeMl);
  return mix(inputs, product, ageDays, volumeMl);
}

function mix(inputs, product, ageDays, volumeMl) {
  const share = shareOf(inputs, product);
  const poured = pour(share, inputs.method, volumeMl);
  const named = Object.entries(poured).map(([name, ml]) => [name.replace(/_ml$/, ""), ml]);
  return {
    ...poured,
    in_units: inAllUnits(Object.fromEntries(named)),
    ppm: share.ppm,
    percent_available: share.ppm / PPM_PER_PERCENT,
    percent_by_volume: (100 * share.parts) / share.of,
    usable_hours: USABLE_HOURS,
    steps: stepsOf(inputs.method, poured.water_ml),
    warnings: warningsFor(product.percent, product.unit, ageDays, share.ppm, poured),
    asks_why: share.ppm > ASKS_WHY_PPM || poured.total_ml > ASKS_WHY_ML,
  };
}

function pour(share, method, volumeMl) {
  if (share.parts > share.of) throw new CannotMix("wanted", tooStrong(share.most));
  if (method === "make_up_to") {
    return { ...makeUpTo(share.of, share.parts, volumeMl), total_ml: volumeMl };
  }
  if (share.parts === share.of) throw new CannotMix("wanted", neverReached(share.most));
  const { product_ml: productMl, total_ml: totalMl } = addTo(share.of, share.parts, volumeMl);
  if (totalMl > VOLUME_ML_MAX) throw new CannotMix("volume", tooMuchProduct(productMl));
  return { product_ml: productMl, water_ml: volumeMl, total_ml: totalMl };
}

/** The steps in the safe order: bleach goes into water, never water into bleach. */
function stepsOf(method, waterMl) {
  const water = method === "add_to" ? "water_is_drawn" : "pour_water";
  const poured = waterMl > 0 ? [water, "bleach_into_water", "stir"] : ["bleach_alone"];
  return ["air", "gloves_and_eyes", "clean_bucket", ...poured, "close_bottle", "tag_bucket"];
}

/** Parts of product in how many parts in all, in whatever unit was wanted. @returns {Share} */
function shareOf(inputs, product) {
  const unit = inputs.wanted_unit;
  if (typeof unit !== "string" || !Object.hasOwn(WANTED_UNITS, unit)) {
    const known = Object.keys(WANTED_UNITS).join(", ");
    throw new CannotMix("wanted_unit", sentence("wanted_unit", { known }));
  }
  const wanted = amount(inputs, "wanted", "wanted", WANTED_UNITS[unit], unit);
  const { percent, ppm } = product;
  if (unit === "ppm") return { parts: wanted, of: ppm, ppm: wanted, most: quantity(ppm, unit, 5) };
  if (unit === "percent_available_chlorine") {
    const most = quantity(percent, unit);
    return { parts: wanted, of: percent, ppm: wanted * PPM_PER_PERCENT, most };
  }
  if (unit === "percent_by_volume") {
    return { parts: wanted, of: 100, ppm: (ppm * wanted) / 100, most: quantity(100, unit) };
  }
  const parts = unit === "part_in_n" ? wanted : wanted + 1;
  if (parts < 1) throw new CannotMix("wanted", sentence("below_one_part"));
  return { parts: 1, of: parts, ppm: ppm / parts, most: sentence("one_in_one") };
}

/** Refuse "1:10", which is read in two ways, with both answers. */
function refuseBareRatio(inputs, product, volumeMl) {
  const parts = ratioOf(inputs);
  if (parts === null) return;
  const readings = ["part_in_n", "part_to_n"].map((unit) =>
    reading({ ...inputs, wanted: parts, wanted_unit: unit }, product, volumeMl));
  const [one, other] = readings.map(sayReading);
  throw new CannotMix("wanted", sentence("two_ways", { n: shown(parts), one, other }), readings);
}

/** N of a bare 1:N, however it was written, or null where none was given. */
function ratioOf(inputs) {
  const { wanted } = inputs;
  if (typeof wanted === "string") {
    const match = RATIO.exec(wanted);
    const [one, many] = match ? match.slice(1).map(Number) : [0, 0];
    if (one === 0 || many === 0) throw new CannotMix("wanted", sentence("not_a_strength"));
    return many / one;
  }
  if (inputs.wanted_unit !== "ratio") return null;
  return amount(inputs, "wanted", "wanted", PARTS_MAX, "parts");
}

function reading(inputs, product, volumeMl) {
  const meant = { wanted: inputs.wanted, wanted_unit: inputs.wanted_unit };
  try {
    const mixed = mix(inputs, product, null, volumeMl);
    const kept = ["product_ml", "water_ml", "total_ml", "ppm", "percent_by_volume"];
    return { ...meant, ...Object.fromEntries(kept.map((name) => [name, mixed[name]])) };
  } catch (refused) {
    if (!(refused instanceof CannotMix)) throw refused;
    return { ...meant, refused: refused.said };
  }
}

function sayReading(read) {
  const parts = sentence(read.wanted_unit, { n: shown(read.wanted) });
  if ("refused" in read) return sentence("reading_not_possible", { parts });
  const [product, water, ppm] = [shown(read.product_ml), shown(read.water_ml), shown(read.ppm, 5)];
  return sentence("reading", { parts, product, water, ppm });
}
