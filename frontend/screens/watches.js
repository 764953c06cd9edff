// @ts-check
/** The watches: when each becomes due, late, an alarm; for the nursery or for one kind. @module */
import { useState } from "../vendor/preact-hooks.js";
import { crops, rules } from "../store/house.js";
import { record } from "../store/record.js";
import { html, t } from "../ui/html.js";
import { Field, Select } from "../ui/number.js";
import { caseInWords, LEVELS, limitsInWords, unitOf } from "../ui/watch_words.js";
import { tellTrouble } from "./walking.js";
import { Page } from "../ui/page.js";

export function Watches() {
  const [crop, setCrop] = useState("");
  const [open, setOpen] = useState("");
  const kinds = /** @type {[string, string][]} */ ([["", t("settings.watch_all")], ...crops().map((one) => [one.id, one.botanical])]);
  const ordered = rules().sort((a, b) => a.priority - b.priority || (a.id < b.id ? -1 : 1));
  return html`<${Page} name="watches" title=${t("settings.watches")} back="#/settings">
    <p>${t("settings.watches_why")}</p>
    <${Select} label=${t("settings.watch_for")} value=${crop} options=${kinds} onChange=${setCrop} />
    ${ordered.map((rule) => html`<${Rule} key=${rule.id + crop} rule=${rule} crop=${crop} open=${open === rule.id}
      onOpen=${(is) => setOpen(is ? rule.id : "")} />`)}
  </${Page}>`;
}

function Rule({ rule, crop, open, onOpen }) {
  const now = { ...rule, ...(crop ? rule.crops?.[crop] : {}) };
  const cases = now.cases?.length ? now.cases : [{}];
  const words = t(`watch.${rule.id}`);
  const changeable = !rule.fixed && cases.some((one) => Object.values(one.after ?? now.after ?? {}).some(unitOf));
  return html`<section class="alert"><h2>${words.startsWith("watch.") ? rule.id : words}</h2>
    ${!open && cases.map((one, at) => html`<p key=${at}>${cases.length > 1 && caseInWords(one) && html`<strong>${caseInWords(one)}:</strong> `}${limitsInWords(one.after ?? now.after)}</p>`)}
    ${rule.fixed && html`<p class="quiet">${t("settings.watch_fixed")}</p>`}
    ${open && html`<${Limits} rule=${rule} crop=${crop} now=${now} cases=${cases} onDone=${() => onOpen(false)} />`}
    ${!open && changeable && html`<button type="button" class="act" aria-label=${t("settings.change_what", { what: words })} onClick=${() => onOpen(true)}>${t("settings.change")}</button>`}
  </section>`;
}

function Limits({ rule, crop, now, cases, onDone }) {
  const [afters, setAfters] = useState(() => cases.map((one) => ({ ...(one.after ?? now.after) })));
  const [error, setError] = useState("");
  const set = (index, level, unit) => (text) => {
    setAfters(afters.map((after, at) => (at === index ? { ...after, [level]: { [unit]: text } } : after)));
  };
  const save = async () => {
    const limits = afters.map(asNumbers);
    if (limits.includes(null)) {
      setError(t("error.limits"));
      return;
    }
    const change = now.cases?.length ? { cases: cases.map((one, at) => ({ ...one, after: limits[at] })) } : { after: limits[0] };
    const { revision: _revision, shipped: _shipped, folded_at: _folded, ...row } = rule;
    const data = crop ? { ...row, crops: { ...row.crops, [crop]: { ...row.crops?.[crop], ...change } } } : { ...row, ...change };
    await record("watch_changed", null, data).then(onDone, tellTrouble);
  };
  return html`${afters.map((after, index) => html`<div class="fields" key=${index}>
      ${cases.length > 1 && html`<p><strong>${caseInWords(cases[index])}</strong></p>`}
      ${LEVELS.filter((level) => unitOf(after[level])).map((level) => {
        const unit = /** @type {string} */ (unitOf(after[level]));
        return html`<${Field} key=${level} label=${t("rule.field", { level: t(`level.${level}`), unit: t(`settings.${unit}`) })}
          value=${after[level][unit]} inputmode="decimal" onInput=${set(index, level, unit)} />`;
      })}
      ${Object.values(after).some((spec) => spec && !unitOf(spec)) && html`<p class="quiet">${t("settings.watch_by_crop")}</p>`}</div>`)}
    ${error && html`<p class="error" role="alert">${error}</p>`}
    <div class="row"><button type="button" class="act" onClick=${onDone}>${t("act.cancel")}</button>
      <button type="button" class="act main-act" onClick=${save}><strong>${t("settings.save")}</strong></button></div>`;
}

/** The limits as numbers, or null where one of them is none or they do not rise. */
function asNumbers(after) {
  const limits = Object.fromEntries(Object.entries(after).map(([level, spec]) => {
    const unit = unitOf(spec);
    return [level, unit ? { [unit]: String(spec[unit]).trim() === "" ? NaN : Number(String(spec[unit]).replace(",", ".")) } : spec];
  }));
  const values = LEVELS.filter((level) => unitOf(limits[level])).map((level) => Object.values(limits[level])[0]);
  const fits = values.every((value, at) => Number.isFinite(value) && value >= 0 && (at === 0 || value >= values[at - 1]));
  return fits ? limits : null;
}
