// @ts-check
/** A crop's protocol: its steps with their sources, open to the owner's own figures. @module */
import { useState } from "../vendor/preact-hooks.js";
import { one } from "../store/house.js";
import { record } from "../store/record.js";
import { html, t } from "../ui/html.js";
import { stepWords } from "../ui/lot_words.js";
import { Field } from "../ui/number.js";
import { Page } from "../ui/page.js";

/** @param {{id: string}} props */
export function Crop({ id }) {
  const crop = one("protocol", id);
  const [changes, setChanges] = useState(/** @type {Record<number, any>} */ ({}));
  if (!crop) return html`<${Page} name="crop" title=${t("crop.title")} back="#/settings"><p class="quiet">?</p></${Page}>`;
  const save = async () => {
    const stages = crop.stages.map((step, at) => (changes[at] ? { ...step, ...changes[at], grade: "practice", source: null, note: t("crop.own") } : step));
    const { revision, shipped, folded_at, ...row } = crop;
    await record("protocol_changed", null, { ...row, stages });
    setChanges({});
  };
  const foot = Object.keys(changes).length > 0 && html`<button type="button" class="act main-act" onClick=${save}><strong>${t("settings.save")}</strong></button>`;
  return html`<${Page} name="crop" title=${crop.botanical} back="#/settings" foot=${foot}>
    <p>${crop.common} · ${crop.family} · ${crop.dormancy}</p>
    <h2>${t("crop.steps")}</h2>
    ${crop.stages.map((step, at) => html`<${Step} key=${at} step=${{ ...step, ...changes[at] }} onChange=${(change) => setChanges({ ...changes, [at]: { ...changes[at], ...change } })} />`)}
  </${Page}>`;
}

function Step({ step, onChange }) {
  const hours = step.target_hours !== undefined && step.target_days === undefined;
  const lasting = ["soak", "warm", "cold", "germinate"].includes(step.kind);
  const aim = hours ? "target_hours" : "target_days";
  const set = (name) => (text) => {
    const n = Number(text.replace(",", "."));
    if (text === "" || (Number.isFinite(n) && n >= 0)) onChange({ [name]: text === "" ? null : n });
  };
  const unit = t(hours ? "crop.unit.hours" : "crop.unit.days");
  return html`<section class="rule"><h3>${stepWords(step)}</h3>
    ${lasting && html`<div class="pair-fields">
      <${Field} label=${`${t("crop.min")}, ${unit}`} value=${step.min} inputmode="decimal" onInput=${set("min")} />
      <${Field} label=${`${t("crop.target")}, ${unit}`} value=${step[aim]} inputmode="decimal" onInput=${set(aim)} />
      <${Field} label=${`${t("crop.max")}, ${unit}`} value=${step.max} inputmode="decimal" onInput=${set("max")} /></div>`}
    ${step.note && html`<p>${step.note}</p>`}
    <p class="quiet">${t("crop.source", { source: step.source ?? "–", grade: step.grade })}</p></section>`;
}
