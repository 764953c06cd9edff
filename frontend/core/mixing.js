// @ts-check
/**
 * Mixing a bleach solution for seed: twin of `domain/mixing.py`, where the sources stand. From the
 * bottle's label to millilitres, steps and warnings; an unknown strength and a bare "1:N" are refused.
 * @module
 */
import { CannotMix, amount, shown } from "./amounts.js";
import { bottleAgeDays, productOf } from "./bottle.js";
import { PPM_PER_PERCENT, addTo, makeUpTo, neverReached, tooMuchProduct, tooStrong } from "./dilution.js";
import { ASKS_WHY_PPM, warningsFor } from "./mixing_warnings.js";
import { VOLUME_ML_MAX, inAllUnits, volumeOf } from "./volumes.js";

/** @typedef {Record<string, any>} Data */
/** @typedef {{parts: number, of: number, ppm: number, most: string}} Share */

export const USABLE_HOURS = 24;
export const METHODS = ["make_up_to", "add_to"];
const PARTS_MAX = 1_000_000;
const RATIO = /^ *(\d{1,7}(?:\.\d{1,3})?) *[:/] *(\d{1,7}(?:\.\d{1,3})?) *$/;
/** @type {Record<string, [number, string]>} */
export const WANTED_UNITS = {
  percent_by_volume: [100, " % by volume"],
  ppm: [1_000_000, " ppm"],
  percent_available_chlorine: [100, " % available chlorine"],
  part_in_n: [PARTS_MAX, " parts in all"],
  part_to_n: [PARTS_MAX, " parts of water"],
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
  if (!METHODS.includes(inputs.method)) {
    const says = "Say whether the volume is the finished one (make_up_to) or water drawn (add_to).";
    throw new CannotMix("method", says);
  }
  const words = inputs.method === "make_up_to" ? "The finished volume" : "The water";
  const volumeMl = volumeOf(inputs, words);
  refuseBareRatio(inputs, product);
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
    asks_why: share.ppm > ASKS_WHY_PPM,
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
    throw new CannotMix("wanted_unit", `What is wanted must be one of ${known}.`);
  }
  const [high, written] = WANTED_UNITS[unit];
  const wanted = amount(inputs, "wanted", "What is wanted", high, written);
  const { percent, ppm } = product;
  if (unit === "ppm") return { parts: wanted, of: ppm, ppm: wanted, most: `${shown(ppm, 5)} ppm` };
  if (unit === "percent_available_chlorine") {
    const most = `${shown(percent)} % available chlorine`;
    return { parts: wanted, of: percent, ppm: wanted * PPM_PER_PERCENT, most };
  }
  if (unit === "percent_by_volume") {
    return { parts: wanted, of: 100, ppm: (ppm * wanted) / 100, most: "100 % by volume" };
  }
  const parts = unit === "part_in_n" ? wanted : wanted + 1;
  if (parts < 1) {
    const says = "1 part in fewer than 1 cannot be: count the product among the parts, 2 or more.";
    throw new CannotMix("wanted", says);
  }
  return { parts: 1, of: parts, ppm: ppm / parts, most: "1 part in 1" };
}

/** Refuse "1:10", which is read in two ways, with both answers. */
function refuseBareRatio(inputs, product) {
  const parts = ratioOf(inputs);
  if (parts === null) return;
  const readings = ["part_in_n", "part_to_n"].map((unit) => reading(inputs, product, unit, parts));
  const [first, second] = readings.map(sayReading);
  const says = `1:${shown(parts)} is read in two ways. ${first} ${second} Say which is meant.`;
  throw new CannotMix("wanted", says, readings);
}

/** N of a bare 1:N, however it was written, or null where none was given. */
function ratioOf(inputs) {
  const { wanted } = inputs;
  if (typeof wanted === "string") {
    const match = RATIO.exec(wanted);
    const [one, many] = match ? match.slice(1).map(Number) : [0, 0];
    if (one === 0 || many === 0) {
      throw new CannotMix("wanted", "What is wanted must be a number with its unit.");
    }
    return many / one;
  }
  if (inputs.wanted_unit !== "ratio") return null;
  return amount(inputs, "wanted", "What is wanted", PARTS_MAX, " parts");
}

function reading(inputs, product, unit, parts) {
  const meant = { wanted: parts, wanted_unit: unit };
  try {
    const mixed = mix({ ...inputs, ...meant }, product, null, volumeOf(inputs, "The volume"));
    const kept = ["product_ml", "water_ml", "total_ml", "ppm", "percent_by_volume"];
    return { ...meant, ...Object.fromEntries(kept.map((name) => [name, mixed[name]])) };
  } catch (refused) {
    if (!(refused instanceof CannotMix)) throw refused;
    return { ...meant, refused: refused.says };
  }
}

function sayReading(read) {
  const parts = shown(read.wanted);
  const words = read.wanted_unit === "part_to_n"
    ? `1 part to ${parts} parts of water`
    : `1 part in ${parts} parts in all`;
  if ("refused" in read) return `${words}: not possible.`;
  return `${words}: ${sayPour(read)}, ${shown(read.ppm, 5)} ppm.`;
}

/** Product and water in words, for people who pour. @param {Data} mixed */
export function sayPour(mixed) {
  return `${shown(mixed.product_ml)} mL of product with ${shown(mixed.water_ml)} mL of water`;
}

/** The whole answer of `planMix` in one or two sentences. @param {Data} mixed */
export function sayMix(mixed) {
  const ppm = shown(mixed.ppm, 5);
  const share = shown(mixed.percent_by_volume);
  return `${sayPour(mixed)}, bleach into water: ${shown(mixed.total_ml)} mL of ${ppm} ppm available chlorine by`
    + ` the label (${share} % by volume). Old after ${mixed.usable_hours} hours.`;
}
