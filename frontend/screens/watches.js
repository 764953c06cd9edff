// @ts-check
/** The watches: when each becomes due, late, an alarm; for the nursery or for one kind. @module */
import { useState } from "../vendor/preact-hooks.js";
import { crops, rules } from "../store/house.js";
import { record } from "../store/record.js";
import { html, t } from "../ui/html.js";
import { Field, Select } from "../ui/number.js";
import { Page } from "../ui/page.js";

const LEVELS = ["due", "late", "alarm"];
const UNITS = ["days", "hours", "minutes"];

export function Watches() {
  const [crop, setCrop] = useState("");
  const kinds = [["", t("settings.watch_all")], ...crops().map((one) => [one.id, one.botanical])];
  return html`<${Page} name="watches" title=${t("settings.watches")} back="#/settings">
    <p>${t("settings.watches_why")}</p>
    <${Select} label=${t("settings.watch_for")} value=${crop} options=${kinds} onChange=${setCrop} />
    ${rules().sort((a, b) => a.priority - b.priority || (a.id < b.id ? -1 : 1)).map((rule) => html`<${Rule} key=${rule.id + crop} rule=${rule} crop=${crop} />`)}
  </${Page}>`;
}

/** The rule as it stands for a crop. */
function standing(rule, crop) {
  return { ...rule, ...(crop ? rule.crops?.[crop] : {}) };
}

function Rule({ rule, crop }) {
  const now = standing(rule, crop);
  const cases = now.cases?.length ? now.cases : [{}];
  const [afters, setAfters] = useState(() => cases.map((one) => one.after ?? now.after));
  const [state, setState] = useState("");
  const plain = afters.map((after) => Object.values(after).every((spec) => spec === null || UNITS.some((unit) => unit in spec)));
  if (rule.fixed) return html`<section class="rule"><h2>${t(`watch.${rule.id}`)}</h2><p class="quiet">${t("settings.watch_fixed")}</p></section>`;
  const set = (index, level, unit) => (text) => {
    const n = Number(text.replace(",", "."));
    setState("");
    setAfters(afters.map((after, at) => (at === index ? { ...after, [level]: Number.isFinite(n) && n >= 0 ? { [unit]: n } : after[level] } : after)));
  };
  const save = async () => {
    const change = now.cases?.length ? { cases: cases.map((one, at) => ({ ...one, after: afters[at] })) } : { after: afters[0] };
    const { revision, shipped, folded_at, ...row } = rule;
    const data = crop ? { ...row, crops: { ...row.crops, [crop]: { ...row.crops?.[crop], ...change } } } : { ...row, ...change };
    await record("watch_changed", null, data);
    setState(t("settings.watch_saved"));
  };
  return html`<section class="rule"><h2>${t(`watch.${rule.id}`)}</h2>
    ${afters.map((after, index) => html`<div class="pair-fields" key=${index}>
      ${cases.length > 1 && html`<p class="when">${conditions(cases[index])}</p>`}
      ${plain[index] ? LEVELS.filter((level) => after[level]).map((level) => {
        const unit = UNITS.find((one) => one in after[level]) ?? "days";
        return html`<${Field} key=${level} label=${`${t(`level.${level}`)}, ${t(`settings.${unit}`)}`} value=${after[level][unit]} inputmode="decimal" onInput=${set(index, level, unit)} />`;
      }) : html`<p class="quiet">${t("settings.watch_by_crop")}</p>`}</div>`)}
    ${plain.some(Boolean) && html`<button type="button" class="act" onClick=${save}>${t("settings.save")}</button>`}
    ${state && html`<p role="status">${state}</p>`}
  </section>`;
}

/** What sets a case apart, in a few words. */
function conditions(one) {
  return (one.when ?? []).map(([, , value]) => (typeof value === "string" || typeof value === "number" ? value : "")).filter(Boolean).join(", ");
}
