// @ts-check
/** A whole rule in plain words, made from the rule itself: nothing of it is shown as it is stored. @module */
import { toC } from "../core/heat.js";
import { t } from "./html.js";
import { unitOf, unitWords } from "./watch_words.js";

const known = (key, gaps) => {
  const words = t(key, gaps);
  return words === key ? "" : words;
};

/** The name of a fact; one that only an owner's own rule knows goes by its dotted name. @param {string} path */
export const factName = (path) => known(`fact.${path}`) || path;

/** `[fact, relation, value]` in words. @param {any[]} condition */
export function conditionInWords([fact, how, value]) {
  const plain = ["string", "boolean"].includes(typeof value) || value === undefined;
  const own = Array.isArray(value) ? `.${value.join("_")}` : plain ? `.${value}` : "";
  // A limit that its source gives in °F is told in °C beside it.
  const celsius = typeof value === "number" ? Math.round(toC(value) * 10) / 10 : "";
  return known(`case.${fact}.${how}${own}`, { n: value, c: celsius }) || t(`how.${how}`, { fact: factName(fact), value: valueInWords(value) });
}

function valueInWords(value) {
  if (Array.isArray(value)) return value.map(valueInWords).join(", ");
  return value && typeof value === "object" ? factName(value.fact) : String(value);
}

/** From when a rule counts, in words. @param {any} clock */
export function clockInWords(clock) {
  if (!clock) return "";
  if (Array.isArray(clock)) {
    const names = clock.map(factName);
    return names.length > 1 ? t("clock.latest", { facts: names.join(t("clock.or")) }) : names[0];
  }
  if (clock.working_day_after) return t("clock.working_day", { fact: factName(clock.working_day_after) });
  if (clock.midwinter_after) return t("clock.midwinter", { n: clock.nth ?? 1, fact: factName(clock.midwinter_after) });
  const { run_of: field, nth = 1, ...relation } = clock;
  const [[how, value]] = Object.entries(relation);
  const said = known(`clock.run.${field}.${how}.${typeof value === "object" ? "" : value}`.replace(/\.$/, ""));
  const run = said || t(`how.${how}`, { fact: factName(`run.${field}`), value: valueInWords(value) });
  return t(nth > 1 ? "clock.run_nth" : "clock.run", { n: nth, run });
}

/** "42 days". @param {Record<string, number>} spec */
export function lengthInWords(spec) {
  const unit = unitOf(spec);
  return unit ? t("rule.length", { n: spec[unit], unit: unitWords(spec[unit], unit) }) : "";
}

/** What makes a rule silent, in sentences. @param {any} one the rule or a case of it */
export function endsInWords(one) {
  const unless = (one.unless ?? []).map((term) => (term.plus
    ? t("ends.unless_plus", { fact: factName(term.fact), from: factName(term.from), length: lengthInWords(term.plus) })
    : t("ends.unless", { fact: factName(term.fact), from: factName(term.from) })));
  return [...unless, ...(one.until ? [t("ends.until", { fact: factName(one.until) })] : [])];
}

/**
 * A rule in paragraphs: `{who, each, whiles, from, counts, ends}`, those of its cases left to them.
 * @param {any} rule as it stands for whom it is told
 */
export function ruleInWords(rule) {
  const again = Array.isArray(rule.clock) || rule.clock?.run_of || rule.clock?.working_day_after;
  return {
    who: rule.subjects.map((kind) => t(`subject.${kind}`)).join(t("clock.or")),
    each: rule.each ? t(`each.${rule.each[0]}`) : "",
    whiles: (rule.when ?? []).map(conditionInWords),
    from: clockInWords(rule.clock),
    counts: rule.counts ? t(`counts.${rule.counts}`) : "",
    ends: [...endsInWords(rule), rule.when?.length ? t("ends.when") : "", again ? t("ends.again") : ""].filter(Boolean),
  };
}

/** What sets a case apart, or "". @param {any} one */
export function caseInWords(one) {
  const run = one.clock?.run_of === "moisture" ? known(`case.moisture.${one.clock.at_most}`) : "";
  return [run, ...(one.when ?? []).map(conditionInWords)].filter(Boolean).join(", ");
}
