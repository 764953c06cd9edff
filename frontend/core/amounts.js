// @ts-check
/**
 * Amounts that go into a calculation: twin of `domain/amounts.py`. Checked one by one, refused with
 * a sentence that says what would be possible, and written for people alike on both sides.
 * @module
 */
import { sentence } from "./mixing_words.js";

/** @typedef {import("./mixing_words.js").Sentence} Sentence */

const SHOWN_MIN = 1e-6;
const SHOWN_MAX = 1e15;
const AMOUNT_MIN = 1e-9;

/** The inputs cannot give a result; `said` tells why. */
export class CannotCalculate extends Error {
  /** @param {string | null} field @param {Sentence} said */
  constructor(field, said) {
    super(said.key);
    this.field = field;
    this.said = said;
  }
}

/** A mixing that is impossible, or not to be guessed at; `readings` are answers to choose between. */
export class CannotMix extends CannotCalculate {
  /** @param {string} field @param {Sentence} said @param {Record<string, any>[]} [readings] */
  constructor(field, said, readings = []) {
    super(field, said);
    this.readings = readings;
  }
}

/** A finite number, or null for anything else. @param {unknown} value @returns {number | null} */
export function number(value) {
  return typeof value === "number" && Number.isFinite(value) ? value : null;
}

/**
 * An amount above nought (or from it, where `nought` may be) and at most `high`.
 * @param {Record<string, any>} inputs
 * @param {string} field
 * @param {string} what  names it in a refusal, as `what_…` of the words
 * @param {number} high
 * @param {string} [unit]  `unit_…` of the words
 * @param {{nought?: boolean}} [may]
 * @returns {number}
 * @throws {CannotMix}
 */
export function amount(inputs, field, what, high, unit = "none", { nought = false } = {}) {
  const given = inputs[field] ?? null;
  const value = number(given);
  if (value !== null && ((value >= AMOUNT_MIN && value <= high) || (nought && value === 0))) return value;
  const inUnit = sentence(`unit_${unit}`);
  const said = { what: sentence(`what_${what}`), high: shown(high, 9), unit: inUnit };
  let why = sentence(given === null ? "missing" : "no_number");
  if (value !== null) why = sentence("outside", { value: shown(value), unit: inUnit });
  throw new CannotMix(field, sentence(nought ? "amount_from" : "amount_above", { ...said, why }));
}

/** A number with its unit, to be said. @param {number} value @param {string} unit @param {number} [digits] */
export function quantity(value, unit, digits = 4) {
  return sentence("quantity", { n: shown(value, digits), unit: sentence(`unit_${unit}`) });
}

/** A number for people: so many significant digits, no exponent, thousands apart. */
export function shown(value, digits = 4) {
  if (Math.abs(value) >= SHOWN_MAX) return "a number of more than 15 digits";
  const text = value.toPrecision(digits);
  const rounded = Math.abs(Number(text));
  if (rounded === 0) return "0";
  if (rounded < SHOWN_MIN) return "almost 0";
  // `toPrecision` writes an exponent only where all the digits stand before the point.
  const plain = text.includes("e") ? String(rounded) : text.replace("-", "");
  const [whole, fraction = ""] = plain.split(".");
  const decimals = fraction.replace(/0+$/, "");
  const apart = whole.replace(/\B(?=(\d{3})+$)/g, ",");
  return `${value < 0 ? "-" : ""}${apart}${decimals && `.${decimals}`}`;
}
