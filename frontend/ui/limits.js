// @ts-check
/** The limits of a rule, each with large − and + and a figure that can be typed. @module */
import { html, t } from "./html.js";
import { LEVELS, unitOf } from "./watch_words.js";

const STEPS = { days: () => 1, hours: (n, by) => hourStep(by < 0 ? n - 1 : n), minutes: () => 5 };
const MINUTES = { days: 1440, hours: 60, minutes: 1 };
const HALF_HOUR = 30;
const DAY_MINUTES = 1440;
/** Hour by hour below half a day, by six hours up to two days, then by days: − undoes +. Ours. */
export const hourStep = (n) => (n < 12 ? 1 : n < 48 ? 6 : 24);
/** The longest that a rule may count. */
const MOST = 10_000;
/** Figures in a rule's conditions that are the owner's to move; others only sort what is watched. */
const THRESHOLDS = ["night.low_c", "cold.peak_c", "cover.warm_c", "day.high_c", "conflict.over", "conflict.percent"];

/** @param {any} value as typed @returns {number} NaN where it is none */
export const asNumber = (value) => (String(value ?? "").trim() === "" ? NaN : Number(String(value).replace(",", ".").replace("−", "-")));

/**
 * A figure between − and +.
 * @param {{label: string, value: any, step?: number | ((n: number, by: number) => number), least?: number,
 *   onChange: (value: any) => void}} props `step` may depend on the figure and on which way it goes
 */
export function Amount({ label, value, step = 1, least = 0, onChange }) {
  const n = asNumber(value);
  const to = (next) => onChange(Math.max(least, Math.round(next * 100) / 100));
  const from = Number.isFinite(n) ? n : 0;
  const by = (sign) => sign * (typeof step === "function" ? step(from, sign) : step);
  return html`<div class="amount" role="group" aria-label=${label}><span>${label}</span>
    <button type="button" class="act step" aria-label=${t("count.less", { label })} onClick=${() => to(from + by(-1))}>−</button>
    <input inputmode="decimal" aria-label=${label} value=${value ?? ""} onInput=${(event) => onChange(event.currentTarget.value)} />
    <button type="button" class="act step" aria-label=${t("count.more", { label })} onClick=${() => to(from + by(1))}>+</button></div>`;
}

/** A local time between − and +, by half hours. */
function Time({ label, value, onChange }) {
  const [hours, minutes] = value.split(":").map(Number);
  const to = (by) => {
    const at = (hours * 60 + minutes + by + DAY_MINUTES) % DAY_MINUTES;
    onChange(`${String(Math.floor(at / 60)).padStart(2, "0")}:${String(at % 60).padStart(2, "0")}`);
  };
  return html`<div class="amount" role="group" aria-label=${label}><span>${label}</span>
    <button type="button" class="act step" aria-label=${t("count.less", { label })} onClick=${() => to(-HALF_HOUR)}>−</button>
    <output aria-live="polite">${value}</output>
    <button type="button" class="act step" aria-label=${t("count.more", { label })} onClick=${() => to(HALF_HOUR)}>+</button></div>`;
}

/** Every limit of one `after` that is the owner's to move. @param {{after: any, onChange: (after: any) => void}} props */
export function Limits({ after, onChange }) {
  return LEVELS.filter((level) => after?.[level]).map((level) => {
    const spec = after[level];
    const put = (changed) => onChange({ ...after, [level]: { ...spec, ...changed } });
    const name = t(`level.${level}`);
    if (spec.local_time) return html`<${Time} key=${level} label=${t("rule.field_at", { level: name })} value=${spec.local_time} onChange=${(time) => put({ local_time: time })} />`;
    const unit = unitOf(spec) ?? unitOf(spec.plus) ?? unitOf(spec.less) ?? unitOf(spec.else);
    if (!unit) return null;
    const inner = unitOf(spec) ? null : ["plus", "less", "else"].find((part) => unitOf(spec[part])) ?? null;
    const value = inner ? spec[inner][unit] : spec[unit];
    const label = t(inner ? `rule.inner.${inner}` : "rule.field", { level: name, unit: t(`settings.${unit}`), fact: t(`fact.${spec.fact ?? spec.at}`) });
    return html`<${Amount} key=${level} label=${label} value=${value} step=${STEPS[unit]}
      onChange=${(next) => put(inner ? { [inner]: { ...spec[inner], [unit]: next } } : { [unit]: next })} />`;
  });
}

/** The figures in a list of conditions that are the owner's to move. @param {{when: any[], onChange: (when: any[]) => void}} props */
export function Thresholds({ when, onChange }) {
  return when.map(([fact, how, value], at) => isThreshold(fact, value) && html`<${Amount} key=${fact} label=${t(`how.${how}`, { fact: t(`fact.${fact}`), value: "" }).trim()}
    value=${value} step=${0.5} least=${-60} onChange=${(next) => onChange(when.map((one, index) => (index === at ? [fact, how, next] : one)))} />`);
}

const isThreshold = (fact, value) => THRESHOLDS.includes(fact) && typeof value !== "object";

/**
 * A draft with every typed figure as a number; null where one is none, or they do not rise.
 * @param {any} draft @returns {any}
 */
export function readDraft(draft) {
  let fits = true;
  const number = (value, least = 0) => {
    const n = asNumber(value);
    fits &&= Number.isFinite(n) && n >= least && n <= MOST;
    return n;
  };
  const length = (spec) => Object.fromEntries(Object.entries(spec).map(([name, value]) => [name, name in MINUTES ? number(value)
    : value && typeof value === "object" ? length(value) : value]));
  const limits = (after) => {
    const read = Object.fromEntries(Object.entries(after).map(([level, spec]) => [level, spec && length(spec)]));
    fits &&= rises(LEVELS.map((level) => read[level]).filter(Boolean));
    return read;
  };
  const conditions = (when) => when.map(([fact, how, ...value]) => (isThreshold(fact, value[0]) && value.length ? [fact, how, number(value[0], -60)] : [fact, how, ...value]));
  const part = (one) => ({ ...one, ...(one.after ? { after: limits(one.after) } : {}), ...(one.when ? { when: conditions(one.when) } : {}) });
  const given = draft.given && Object.fromEntries(Object.entries(draft.given).map(([name, value]) => [name, value === null || value === "" ? null : number(value)]));
  const read = { ...part(draft), ...(draft.cases ? { cases: draft.cases.map(part) } : {}), ...(given ? { given } : {}) };
  return fits ? read : null;
}

/** Whether plain lengths, and local times, do not fall from one level to the next. */
function rises(specs) {
  const plain = specs.filter(unitOf).map((spec) => spec[unitOf(spec) ?? ""] * MINUTES[unitOf(spec) ?? "days"]);
  const times = specs.map((spec) => spec.local_time).filter(Boolean);
  return [plain, times].every((values) => values.every((value, at) => at === 0 || value >= values[at - 1]));
}
