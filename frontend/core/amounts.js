// @ts-check
/**
 * Amounts that go into a calculation: twin of `domain/amounts.py`. Checked one by one, refused with
 * a sentence that says what would be possible, and written for people alike on both sides.
 * @module
 */

const SHOWN_MIN = 1e-6;
const SHOWN_MAX = 1e15;
const AMOUNT_MIN = 1e-9;

/** The inputs cannot give a result; `says` tells why and what would be right. */
export class CannotCalculate extends Error {
  /** @param {string} says @param {string | null} [field] */
  constructor(says, field = null) {
    super(says);
    this.says = says;
    this.field = field;
  }
}

/** A mixing that is impossible, or not to be guessed at; `readings` are answers to choose between. */
export class CannotMix extends CannotCalculate {
  /** @param {string} field @param {string} says @param {Record<string, any>[]} [readings] */
  constructor(field, says, readings = []) {
    super(says, field);
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
 * @param {string} words  name it in the sentence
 * @param {number} high
 * @param {string} [unit]
 * @param {{nought?: boolean}} [may]
 * @returns {number}
 * @throws {CannotMix}
 */
export function amount(inputs, field, words, high, unit = "", { nought = false } = {}) {
  const given = inputs[field] ?? null;
  const value = number(given);
  const lowest = nought ? "from 0 to" : "more than 0 and at most";
  const wanted = `${words} must be a number ${lowest} ${shown(high, 9)}${unit}`;
  if (given === null) throw new CannotMix(field, `${wanted}; it is missing.`);
  if (value === null) throw new CannotMix(field, `${wanted}; what was given is no number.`);
  if (value > high || (value < AMOUNT_MIN && !(nought && value === 0))) {
    throw new CannotMix(field, `${wanted}; ${shown(value)}${unit} is not.`);
  }
  return value;
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
