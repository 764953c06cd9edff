// @ts-check
/** What a mixing is warned of: twin of `domain/mixing_warnings.py`, where the sources stand. @module */
import { shown } from "./amounts.js";
import { sentence } from "./mixing_words.js";

export const ASKS_WHY_PPM = 10_000;
export const ASKS_WHY_ML = 200_000;
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
 * The warnings, the gravest first: `key`, `values` (of a sentence), `level` (warn, note), `source`, `grade`.
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

function warning(key, level, [source, grade], values = {}) {
  return { ...sentence(key, values), level, source, grade };
}

function ofStrength(ppm, waterMl) {
  const found = [];
  const told = { ppm: shown(ppm, 5), low: shown(USUAL_PPM_MIN), high: shown(ASKS_WHY_PPM) };
  if (waterMl <= 0) found.push(warning("undiluted", "warn", PRACTICE));
  if (ppm > ASKS_WHY_PPM) found.push(warning("above_usual", "warn", OURS, told));
  if (ppm < USUAL_PPM_MIN) found.push(warning("below_usual", "warn", SEED_DIPS, told));
  return found;
}

function ofLabel(percent, unit) {
  const found = [];
  if (percent >= INDUSTRIAL_PERCENT) found.push(warning("label_industrial", "warn", PRACTICE));
  if (percent < WEAK_LABEL_PERCENT) found.push(warning("label_weak", "warn", OURS));
  if (unit === "percent_sodium_hypochlorite_w_w") found.push(warning("weight_percent", "note", OURS));
  return found;
}

function ofAge(ageDays) {
  if (ageDays === null) return [warning("bottle_age_unknown", "note", PRACTICE)];
  return ageDays < BOTTLE_OLD_DAYS ? [] : [warning("bottle_old", "warn", OURS, { days: shown(ageDays) })];
}

function ofVolume(poured) {
  const found = [];
  if (poured.product_ml < SMALL_ML) {
    found.push(warning("small_measure", "warn", OURS, { product: shown(poured.product_ml) }));
  }
  if (poured.total_ml > LARGE_ML) {
    found.push(warning("large_volume", "warn", OURS, { litres: shown(poured.total_ml / 1000) }));
  }
  return found;
}
