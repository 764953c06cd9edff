// @ts-check
/** Watch rules in plain words: when each level comes, and what a case is about. @module */
import { t } from "./html.js";

export const LEVELS = ["due", "late", "alarm"];
export const UNITS = ["days", "hours", "minutes"];

/** The name of a watch; an owner's own goes by its id. @param {string} id */
export const watchName = (id) => (t(`watch.${id}`) === `watch.${id}` ? id : t(`watch.${id}`));

/** The unit that a limit is told in, or undefined where it is not a plain length of time. */
export const unitOf = (spec) => UNITS.find((unit) => spec && unit in spec);

/** "days", or "day" where it is one. */
export const unitWords = (n, unit) => t(Number(n) === 1 ? `one.${unit}` : `settings.${unit}`);

/** "due after 7 days, late after 14 days". @param {Record<string, any>} after */
export function limitsInWords(after) {
  const parts = LEVELS.filter((level) => after?.[level]).map((level) => {
    const spec = after[level];
    const unit = unitOf(spec);
    const name = t(`level.${level}`);
    if (unit) return spec[unit] === 0 ? t("rule.at_once", { level: name }) : t("rule.after", { level: name, n: spec[unit], unit: unitWords(spec[unit], unit) });
    if (spec.at) return spec.less ? t("rule.before", { level: name, n: spec.less[unitOf(spec.less)], unit: unitWords(spec.less[unitOf(spec.less)], unitOf(spec.less)), fact: t(`fact.${spec.at}`) })
      : t("rule.at", { level: name, fact: t(`fact.${spec.at}`) });
    if (spec.local_time) return t("rule.by", { level: name, time: spec.local_time });
    return `${name} ${byFact(spec)}`;
  });
  return parts.join(", ");
}

/** A limit that is one of the lot's or its crop's own figures, in words. */
function byFact(spec) {
  const base = t(`fact.${spec.fact}`);
  const { else: otherwise, plus } = spec;
  const unit = unitOf(plus);
  const words = spec.times ? t("rule.times", { x: Math.round((spec.times / (spec.over ?? 1)) * 100) / 100, base })
    : unit ? t("rule.plus", { n: plus[unit], unit: unitWords(plus[unit], unit), base }) : t("rule.past", { base });
  const plain = unitOf(otherwise);
  return plain ? `${words} (${t("rule.otherwise", { n: otherwise[plain], unit: unitWords(otherwise[plain], plain) })})` : words;
}
