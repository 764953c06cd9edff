// @ts-check
/** A crop's protocol: its steps with their sources, open to the owner's own figures. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { kindOf } from "../core/tender.js";
import { one } from "../store/house.js";
import { sourcesOf } from "../store/preferences.js";
import { may } from "../store/may.js";
import { record } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { Choice } from "../ui/choice.js";
import { CropYear } from "../ui/crop_year.js";
import { html, t } from "../ui/html.js";
import { sentence, stepWords } from "../ui/lot_words.js";
import { Field } from "../ui/number.js";
import { Shown } from "../ui/only.js";
import { tellTrouble } from "./walking.js";
import { Page } from "../ui/page.js";

const TENDER = ["tender", "half_hardy", "hardy"];
const LASTING = ["soak", "warm", "cold", "germinate"];

/** @param {{id: string}} props */
export function Crop({ id }) {
  const crop = one("protocol", id);
  const [changes, setChanges] = useState(/** @type {Record<number, any>} */ ({}));
  const [sources, setSources] = useState(/** @type {Record<string, any>} */ ({}));
  const [error, setError] = useState("");
  const changed = Object.keys(changes).length > 0;
  useEffect(() => void sourcesOf(id).then(setSources), [id]);
  useEffect(() => (changed ? formOpened() : undefined), [changed]);
  if (!crop) return html`<${Page} name="crop" title=${t("crop.title")} back="#/crops"><p class="large">${t("crop.unknown")}</p></${Page}>`;
  const save = async () => {
    const stages = crop.stages.map((step, at) => (changes[at] ? ownStep(step, changes[at]) : step));
    const wrong = stages.find((step) => !rises(step));
    setError(wrong ? t("error.step", { step: sentence(stepWords(wrong)) }) : "");
    if (wrong) return;
    const { revision: _revision, shipped: _shipped, folded_at: _folded, ...row } = crop;
    await record("protocol_changed", null, { ...row, stages }).then(() => setChanges({}), tellTrouble);
  };
  const foot = changed && html`${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act main-act" onClick=${save}><strong>${t("crop.save")}</strong></button>`;
  return html`<${Page} name="crop" title=${crop.botanical} back="#/crops" foot=${foot}>
    <p>${[crop.common, crop.family].filter(Boolean).join(", ")}${crop.dormancy === "double" ? ` · ${t("crop.double")}` : ""}</p>
    ${crop.toxicity?.note && html`<p class="caution grave">${t("lot.toxic", { note: crop.toxicity.note })}</p>`}
    <${Shown} what="protocol_changed"><${Choice} name=${t("crop.tenderness")} answers=${TENDER.map((one) => [one, t(`crop.${one}`)])} value=${kindOf(crop)[0] ?? undefined} onChoose=${(kind) => void stands(crop, kind)} /></${Shown}>
    <p class="quiet">${kindOf(crop)[0] ? t(`grade.${crop.tenderness.grade ?? "practice"}`) : t("crop.tender_unknown")}</p>
    <${CropYear} crop=${crop} />
    <fieldset class="shown" disabled=${!may("protocol_changed")}>${crop.stages.map((step, at) => html`<${Step} key=${at} step=${step} change=${changes[at] ?? {}} sources=${sources}
      onChange=${(change) => setChanges({ ...changes, [at]: { ...changes[at], ...change } })} />`)}</fieldset>
  </${Page}>`;
}

/** What the kind stands, as this nursery has found it. */
async function stands(crop, kind) {
  const { revision: _revision, shipped: _shipped, folded_at: _folded, ...row } = crop;
  const tenderness = kind ? { value: kind, grade: "practice", source: null } : null;
  await record("protocol_changed", null, { ...row, tenderness }).catch(tellTrouble);
}

/** A step with the owner's figures: practice of this nursery, and no longer what was read. */
function ownStep(step, change) {
  const figures = Object.entries(change).map(([name, text]) => [name, String(text).trim() === "" ? null : Number(String(text).replace(",", "."))]);
  return { ...step, ...Object.fromEntries(figures), grade: "practice", source: null };
}

function rises(step) {
  const aim = step.target_days ?? step.target_hours ?? null;
  const known = [step.min, aim, step.max].filter((value) => value !== null && value !== undefined);
  return known.every((value, at) => Number.isFinite(value) && value >= 0 && (at === 0 || value >= known[at - 1]));
}

function Step({ step, change, sources, onChange }) {
  const hours = step.target_hours !== undefined && step.target_days === undefined;
  const aim = hours ? "target_hours" : "target_days";
  const unit = t(hours ? "crop.unit.hours" : "crop.unit.days");
  const fields = [["min", "crop.min"], [aim, "crop.target"], ["max", "crop.max"]];
  const source = sources[step.source]?.title ?? step.source;
  return html`<section class="rule"><h2>${sentence(stepWords(step))}</h2>
    ${LASTING.includes(step.kind) && html`<div class="fields">${fields.map(([name, key]) => html`<${Field} key=${name} label=${`${t(key)}, ${unit}`}
      value=${change[name] ?? step[name]} inputmode="decimal" onInput=${(text) => onChange({ [name]: text })} />`)}</div>`}
    ${step.note && html`<p>${step.note}</p>`}
    <p class="quiet">${source ? t("crop.source", { source, grade: t(`grade.${step.grade}`) }) : t(`grade.${step.grade}`)}</p></section>`;
}
