// @ts-check
/** The small words of a watch rule: twin of `domain/rule_terms.py`. @module */
import {
  BadInstant, DAY_MS, FIRST_MS, HOUR_MS, MINUTE_MS, localInstant, parseInstant, toMs, toText,
} from "./instants.js";

const CANONICAL = /^\d{4}-\d\d-\d\dT([01]\d|2[0-3])(:[0-5]\d){2}\.\d{3}Z$/;
const DAY = /^\d{4}-\d\d-\d\d$/;
const UNITS_MS = { days: DAY_MS, hours: HOUR_MS, minutes: MINUTE_MS };

/** The fact of a dotted name, or null where it is not known. */
export function fact(facts, path) {
  // Most names have one part, and this is asked some sixty times for each lot.
  if (!path.includes(".")) return Object.hasOwn(facts, path) ? (facts[path] ?? null) : null;
  let value = facts;
  for (const part of path.split(".")) {
    const object = value !== null && typeof value === "object" && !Array.isArray(value);
    value = object && Object.hasOwn(value, part) ? value[part] : null;
  }
  return value ?? null;
}

/** Whether a value stands in this relation to what is wanted; unknown values never do. */
export function compare(value, op, wanted) {
  if (op === "known" || op === "unknown") return (value !== null) === (op === "known");
  if (op === "in" || op === "not_in") return value !== null && wanted.includes(value) === (op === "in");
  if (op === "is" || op === "is_not") return value !== null && (value === wanted) === (op === "is");
  if (op === "outside") return compare(value, "below", wanted[0]) || compare(value, "above", wanted[1]);
  if (!["at_least", "above", "at_most", "below"].includes(op)) {
    throw new Error(`no such relation in a watch: ${op}`);
  }
  if (typeof value !== typeof wanted || !["number", "string"].includes(typeof value)) return false;
  if (op === "at_least") return value >= wanted;
  if (op === "above") return value > wanted;
  return op === "at_most" ? value <= wanted : value < wanted;
}

function wantedValue(term, facts) {
  if (Array.isArray(term)) return term.map((one) => wantedValue(one, facts));
  const named = term !== null && typeof term === "object" && !Array.isArray(term);
  return named ? fact(facts, term.fact) : term;
}

/** Whether `[fact, relation, value]` holds. */
export function holds(condition, facts) {
  const wanted = condition.length > 2 ? wantedValue(condition[2], facts) : null;
  return compare(fact(facts, condition[0]), condition[1], wanted);
}

/** When the unbroken run that `{"run_of": field, relation: value, nth}` asks for began. */
export function runStart(facts, term) {
  return runOf(facts, term)[0].at(-(term.nth ?? 1)) ?? null;
}

/** When the last value before the run stood, which was none of it; null without one. */
export const runBroken = (facts, term) => runOf(facts, term)[1];

/** @returns {[string[], string | null]} */
function runOf(facts, term) {
  const series = fact(facts, `series.${term.run_of}`) ?? [];
  const op = Object.keys(term).find((name) => name !== "run_of" && name !== "nth");
  const wanted = wantedValue(term[op], facts);
  /** @type {string[]} */
  const run = [];
  for (const [at, value] of series.toReversed()) {
    if (!compare(value ?? null, op, wanted)) return [run, at];
    run.push(at);
  }
  return [run, null];
}

/** Whether a value is a number (true and false are none). @param {unknown} value @returns {value is number} */
export const isNumber = (value) => typeof value === "number";

/** A length of time in milliseconds, or null where its fact is not known. */
export function lengthMs(spec, facts) {
  if (!("fact" in spec)) {
    const total = Object.entries(UNITS_MS).reduce((sum, [unit, ms]) => sum + (spec[unit] ?? 0) * ms, 0);
    return roundHalfUp(total);
  }
  const value = fact(facts, spec.fact);
  if (typeof value !== "number") return "else" in spec ? lengthMs(spec.else, facts) : null;
  const scaled = (value * UNITS_MS[spec.unit] * (spec.times ?? 1)) / (spec.over ?? 1);
  return roundHalfUp(scaled) + (lengthMs(spec.plus ?? {}, facts) ?? 0);
}

export function roundHalfUp(number) {
  return Math.floor(number + 0.5);
}

/** The instant of canonical text, a typed time, or a local date's first moment; null otherwise. */
export function instantMs(value, site) {
  if (typeof value !== "string") return null;
  try {
    if (CANONICAL.test(value)) return existing(value, value);
    if (!DAY.test(value)) return parseInstant(value);
    return existing(value, `${value}T00:00:00.000Z`) === null ? null : localInstant(value, "00:00", site.offsets);
  } catch (error) {
    if (error instanceof BadInstant) return null;
    throw error;
  }
}

/** The instant of canonical text whose day exists (engines read 31 February each in its own way). */
function existing(value, text) {
  const ms = toMs(text);
  return Number.isFinite(ms) && ms >= FIRST_MS && toText(ms).startsWith(value) ? ms : null;
}
