// @ts-check
/** What a mixing is warned of: twin of `domain/mixing_warnings.py`, where the sources stand. @module */
import { shown } from "./amounts.js";

export const ASKS_WHY_PPM = 10_000;
const USUAL_PPM_MIN = 4_000;
const INDUSTRIAL_PERCENT = 10;
const WEAK_LABEL_PERCENT = 1;
const BOTTLE_OLD_DAYS = 180;
const SMALL_ML = 5;
const LARGE_ML = 100_000;

const OURS = ["our own choice of limit", "ours"];
const PRACTICE = ["common practice, no source", "practice"];
const SEED_DIPS = [
  "ECHO Community forum, Bleaching seeds (10 % by volume); seed trade page on sterilizing seeds"
    + " (1 part to 10 of water); strengths by arithmetic",
  "derived",
];

/**
 * The warnings, the gravest first: `key`, `level` (warn or note), `says`, `source`, `grade`.
 * @param {number} percent  the label's available chlorine
 * @param {string} unit  what the label said
 * @param {number | null} ageDays
 * @param {number} ppm
 * @param {Record<string, number>} poured  millilitres
 */
export function warningsFor(percent, unit, ageDays, ppm, poured) {
  const found = [
    ...ofStrength(ppm, poured.water_ml),
    ...ofLabel(percent, unit),
    ...ofAge(ageDays),
    ...ofVolume(poured),
  ];
  const grave = (warning) => warning.level === "warn";
  return [...found.filter(grave), ...found.filter((warning) => !grave(warning))];
}

function warning(key, level, says, [source, grade]) {
  return { key, level, says, source, grade };
}

function ofStrength(ppm, waterMl) {
  const found = [];
  const usual = `usual strengths for seed (${shown(USUAL_PPM_MIN)} to ${shown(ASKS_WHY_PPM)} ppm)`;
  if (waterMl <= 0) {
    const says = "This is the product itself, with no water in it.";
    found.push(warning("undiluted", "warn", says, PRACTICE));
  }
  if (ppm > ASKS_WHY_PPM) {
    const says = `${shown(ppm, 5)} ppm is above the ${usual}. Say why, and leave a part of the lot undipped.`;
    found.push(warning("above_usual", "warn", says, OURS));
  }
  if (ppm < USUAL_PPM_MIN) {
    const says = `${shown(ppm, 5)} ppm is below the ${usual} and may not do its work.`;
    found.push(warning("below_usual", "warn", says, SEED_DIPS));
  }
  return found;
}

function ofLabel(percent, unit) {
  const found = [];
  if (percent >= INDUSTRIAL_PERCENT) {
    const says = "This is trade strength, 10 % and more: it burns worse than household bleach. Check"
      + " that the label does not say g/L.";
    found.push(warning("label_industrial", "warn", says, PRACTICE));
  }
  if (percent < WEAK_LABEL_PERCENT) {
    const says = "Few bottles are this weak: check whether the label says %, g/L or ppm.";
    found.push(warning("label_weak", "warn", says, OURS));
  }
  if (unit === "percent_sodium_hypochlorite_w_w") {
    const says = "Percent by weight is reckoned as if it were by volume; how heavy strong bleach is, is"
      + " left out of account.";
    found.push(warning("weight_percent", "note", says, OURS));
  }
  return found;
}

function ofAge(ageDays) {
  const ceiling = "bleach weakens with heat, light and age, so take the result as a ceiling";
  if (ageDays === null) {
    const says = `How old the bottle is, was not said: ${ceiling}.`;
    return [warning("bottle_age_unknown", "note", says, PRACTICE)];
  }
  if (ageDays < BOTTLE_OLD_DAYS) return [];
  const says = `The bottle is ${shown(ageDays)} days old: ${ceiling}. Measure it with a test strip, or take`
    + " a fresh bottle.";
  return [warning("bottle_old", "warn", says, OURS)];
}

function ofVolume(poured) {
  const found = [];
  if (poured.product_ml < SMALL_ML) {
    const says = `${shown(poured.product_ml)} mL of product is hard to measure: mix a larger volume,`
      + " or use a syringe kept for this alone.";
    found.push(warning("small_measure", "warn", says, OURS));
  }
  if (poured.total_ml > LARGE_ML) {
    const says = `${shown(poured.total_ml / 1000)} L is much for seed: check the unit.`;
    found.push(warning("large_volume", "warn", says, OURS));
  }
  return found;
}
