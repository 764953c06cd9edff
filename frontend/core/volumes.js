// @ts-check
/** Volumes in the units of buckets and jugs: twin of `domain/volumes.py`. @module */
import { CannotMix, amount, quantity } from "./amounts.js";
import { sentence } from "./mixing_words.js";

const ML_PER_US_GAL = 3785.411784;
/** Millilitres in one of each; the sources stand in the twin. @type {Record<string, number>} */
export const ML_PER = {
  ml: 1,
  l: 1000,
  us_fl_oz: ML_PER_US_GAL / 128,
  us_cup: ML_PER_US_GAL / 16,
  us_gal: ML_PER_US_GAL,
  metric_cup: 250,
  imp_gal: 4546.09,
};
export const VOLUME_ML_MAX = 1_000_000;
export const VOLUME_ML_MIN = 1;

/** A volume in millilitres. @param {number} volume @param {string} unit */
export function toMl(volume, unit) {
  return volume * factorOf(unit);
}

/** Millilitres in another unit. @param {number} volumeMl @param {string} unit */
export function fromMl(volumeMl, unit) {
  return volumeMl / factorOf(unit);
}

/**
 * The millilitres of the inputs' `volume` in its `volume_unit`.
 * @param {Record<string, any>} inputs
 * @param {string} what  names it in a refusal
 * @throws {CannotMix} no number, no such unit, less than a millilitre or more than a cubic metre
 */
export function volumeOf(inputs, what) {
  const unit = inputs.volume_unit;
  const factor = factorOf(unit);
  const volumeMl = amount(inputs, "volume", what, VOLUME_ML_MAX / factor, unit) * factor;
  if (volumeMl < VOLUME_ML_MIN) {
    const least = quantity(VOLUME_ML_MIN / factor, unit);
    throw new CannotMix("volume", sentence("too_little", { what: sentence(`what_${what}`), least }));
  }
  return volumeMl;
}

/** Named amounts of millilitres in each unit. @param {Record<string, number>} amountsMl */
export function inAllUnits(amountsMl) {
  const inUnit = (factor) =>
    Object.fromEntries(Object.entries(amountsMl).map(([name, value]) => [name, value / factor]));
  return Object.fromEntries(Object.entries(ML_PER).map(([unit, factor]) => [unit, inUnit(factor)]));
}

function factorOf(unit) {
  if (typeof unit !== "string" || !Object.hasOwn(ML_PER, unit)) {
    const known = Object.keys(ML_PER).join(", ");
    throw new CannotMix("volume_unit", sentence("volume_unit", { known }));
  }
  return ML_PER[unit];
}
