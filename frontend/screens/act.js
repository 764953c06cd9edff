// @ts-check
/** Recording one act on a lot, with whatever it asks for. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { lots, one, places } from "../store/house.js";
import { record } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { CAUTIONS, FIELDS } from "../ui/acts.js";
import { Choice } from "../ui/choice.js";
import { saying } from "../ui/history.js";
import { html, t } from "../ui/html.js";
import { Counter, Field } from "../ui/number.js";
import { Loss } from "./loss.js";
import { offerUndo, tellTrouble } from "./walking.js";
import { Page } from "../ui/page.js";
import { degrees, inDegrees, toCelsius } from "../ui/local.js";

// A count that many times more or fewer than the one before (a digit too many) is asked for once
// again. Ours.
const FAR = 10;
// Seedlings below which ten times as many is no slip. Ours.
const FEW = 100;

/** @param {{kind: string, id: string}} props */
export function Act({ kind, id }) {
  const lot = lots.value.get(id);
  const fields = Object.hasOwn(FIELDS, kind) ? FIELDS[kind] : [];
  const start = () => Object.fromEntries(fields.map((field) => [field.name, lot && field.start ? field.start(lot) : undefined]));
  const [data, setData] = useState(start);
  const [error, setError] = useState("");
  const [doubted, setDoubted] = useState(/** @type {number | null} */ (null));
  useEffect(() => formOpened(), []);
  if (!lot) return html`<${Page} name="act" title="?" back="#/lots"><p class="quiet">${t("lot.unknown")}</p></${Page}>`;
  if (kind === "sanitise_started" && lot.acid_at && !lot.rinsed_at) return html`<${AcidFirst} lot=${lot} />`;
  const set = (name) => (value) => setData({ ...data, [name]: value });
  const save = async () => {
    const wrong = fields.map((field) => complaint(field, data)).find(Boolean) ?? together(kind, data);
    const n = countIn(kind, data);
    const doubt = wrong || doubted === n ? undefined : farOff(n, countBefore(kind, data, lot), kind);
    setError(wrong ?? doubt ?? "");
    if (doubt) setDoubted(n);
    if (wrong || doubt) return;
    const event = { kind, data: cleaned(fields, data) };
    await record(kind, lot.id, event.data).then((saved) => {
      offerUndo([saved], lot, [t(`act.${kind}`), saying(event, lot)].filter(Boolean));
      leave(lot);
    }, tellTrouble);
  };
  const foot = html`${error && html`<p class="error" role="alert">${error}</p>`}
    <div class="row"><button type="button" class="act" onClick=${() => leave(lot)}>${t("act.cancel")}</button>
    <button type="button" class="act main-act wide" onClick=${save}><strong>${t("act.save")}</strong></button></div>`;
  return html`<${Page} name="act" title=${t(`act.${kind}`)} back=${`#/lot/${lot.id}`} foot=${foot}>
    <p class="label-code"><span class="code">${lot.label}</span> ${one("protocol", lot.crop)?.botanical ?? lot.crop}</p>
    ${Object.hasOwn(CAUTIONS, kind) && html`<p class="caution grave">${t(CAUTIONS[kind])}</p>`}
    ${kind === "lost" ? html`<${Loss} lot=${lot} data=${data} causes=${fields.find((field) => field.name === "cause").values} set=${set} />`
      : fields.map((field) => html`<${Input} key=${field.name} field=${field} value=${data[field.name]} onChange=${set(field.name)} lot=${lot} kind=${kind} data=${data} />`)}
  </${Page}>`;
}

/** Back to where one came from: the lot's page, or its card on the walk. */
function leave(lot) {
  if (history.length > 1) history.back();
  else location.hash = `#/lot/${lot.id}`;
}

function Input({ field, value, onChange, lot, kind, data }) {
  const label = t(`field.${field.name}`);
  if (field.type === "whole" && field.name !== "out_of") {
    const under = kind === "counted" ? t("count.before", { n: lot.emerged?.count ?? 0, m: data.out_of ?? "?" }) : "";
    return html`<section class="big-input"><h2>${label}</h2><${Counter} label=${label} value=${value} onChange=${onChange} under=${under} /></section>`;
  }
  if (field.type === "choice") {
    return html`<${Choice} name=${label} answers=${field.values.map((word) => [word, t(`${field.key}.${word}`)])} value=${value} onChoose=${onChange} />`;
  }
  if (field.type === "place") {
    return html`<${Choice} name=${label} answers=${places().map((place) => [place.id, place.name])} value=${value} onChoose=${onChange} />`;
  }
  if (field.name === "temp_c") return html`<${Field} label=${`${t("ask.temp")}, ${degrees()}`} value=${value} onInput=${onChange} />`;
  const mode = ["whole", "number"].includes(field.type) ? "decimal" : undefined;
  return html`<${Field} label=${label} value=${value} inputmode=${mode} type=${field.type === "date" ? "date" : "text"} onInput=${onChange} />`;
}

/** What is wrong with a field, in a sentence, or undefined. */
function complaint(field, data) {
  const value = data[field.name];
  const label = t(`field.${field.name}`);
  const empty = value === undefined || value === "" || value === null;
  if (empty) return field.needed ? t("error.needed", { field: label }) : undefined;
  const n = numberIn(field, value);
  if (field.type === "whole" && !(Number.isInteger(n) && n >= 0)) return t("error.whole", { field: label });
  if (field.type === "number" && !(n >= field.low && n <= field.high)) {
    const [low, high] = field.name === "temp_c" ? [inDegrees(field.low), inDegrees(field.high)] : [field.low, field.high];
    return t("error.number", { field: label, low, high });
  }
  return undefined;
}

/** What is wrong between fields. */
function together(kind, data) {
  const part = { counted: "emerged", lost: "quantity", tested: "sound" }[kind];
  if (!part || Number(data[part]) <= Number(data.out_of)) return undefined;
  return t("error.at_most", { field: t(`field.${part}`), n: data.out_of });
}

const countIn = (kind, data) => ({ stocktaken: data.quantity, counted: data.emerged })[kind];

function countBefore(kind, data, lot) {
  if (kind === "counted") return lot.emerged?.count ?? null;
  return data.unit === lot.unit ? lot.quantity : null;
}

/** What a count is asked once, before it takes the place of one that is far from it. */
function farOff(n, before, kind) {
  if (n === undefined || before === null) return undefined;
  // Few seedlings may well be ten times as many a week later.
  const grows = kind === "counted" && before < FEW;
  const near = n * FAR > before && (grows || n < before * FAR);
  return near ? undefined : t("error.far_off", { n, before });
}

function cleaned(fields, data) {
  const value = (field) => {
    const raw = data[field.name];
    if (raw === undefined || raw === "" || raw === null) return undefined;
    return ["whole", "number"].includes(field.type) ? numberIn(field, raw) : raw;
  };
  return Object.fromEntries(fields.map((field) => [field.name, value(field)]).filter(([, one]) => one !== undefined));
}

const numberIn = (field, typed) => (field.name === "temp_c" ? toCelsius(String(typed)) : Number(String(typed).replace(",", ".")));

function AcidFirst({ lot }) {
  const rinse = async () => {
    await record("rinsed_neutral", lot.id, {}).then((saved) => {
      offerUndo([saved], lot, [t("act.rinsed_neutral")]);
      leave(lot);
    }, tellTrouble);
  };
  const foot = html`<button type="button" class="act" onClick=${rinse}><strong>${t("act.rinsed_neutral")}</strong></button>`;
  return html`<${Page} name="act" title=${t("act.sanitise_started")} back=${`#/lot/${lot.id}`} foot=${foot}>
    <p class="caution grave">${t("act.acid_refused")}</p></${Page}>`;
}
