// @ts-check
/** The fields of a record, open to be put right: for a correction, and for what the server refused. @module */
import { useState } from "../vendor/preact-hooks.js";
import { Choice } from "./choice.js";
import { nameOf } from "./history.js";
import { html, t } from "./html.js";
import { Field } from "./number.js";

const WORDS = {
  moisture: [[1, 2, 3, 4, 5], "moisture"], fungus: [["none", "spots", "spreading"], "fungus"],
  sprouted_percent: [[0, 1, 10, 25, 50], "roots"], health: [[1, 2, 3, 4, 5], "health"],
  root_fill: [[1, 2, 3, 4, 5], "root_fill"], where: [["fridge", "outdoors", "indoors"], "where"],
};
const UNTOUCHED = ["as_expected", "solution", "parents", "parent", "into", "alert", "crop", "sha256", "width_px", "height_px"];

/**
 * @param {{data: Record<string, any>, save: string, onSave: (data: Record<string, any>) => void,
 *   onCancel?: () => void}} props `onSave` gets the whole data, what was not touched as it was
 */
export function EventFields({ data, save, onSave, onCancel }) {
  const [now, setNow] = useState(data);
  const [error, setError] = useState("");
  const names = Object.keys(data).filter((name) => !UNTOUCHED.includes(name) && (data[name] === null || typeof data[name] !== "object"));
  const set = (name) => (value) => setNow({ ...now, [name]: value });
  const put = () => {
    const wrong = names.find((name) => typeof data[name] === "number" && !isNumber(now[name]));
    if (wrong) return setError(t("error.is_number", { field: nameOf(wrong) }));
    const changed = Object.fromEntries(names.map((name) => [name, like(data[name], now[name])]));
    return onSave({ ...data, ...changed });
  };
  return html`<div class="leave">${names.map((name) => html`<${Input} key=${name} name=${name} value=${now[name]} onChange=${set(name)} />`)}
    ${error && html`<p class="error" role="alert">${error}</p>`}
    <div class="row">${onCancel && html`<button type="button" class="act" onClick=${onCancel}>${t("act.cancel")}</button>`}
      <button type="button" class="act main-act" onClick=${put}><strong>${save}</strong></button></div></div>`;
}

function Input({ name, value, onChange }) {
  if (WORDS[name] && WORDS[name][0].includes(value)) {
    const [values, key] = WORDS[name];
    return html`<${Choice} name=${nameOf(name)} answers=${values.map((one) => [one, t(`${key}.${one}`)])} value=${value}
      onChoose=${(chosen) => onChange(chosen ?? value)} />`;
  }
  return html`<${Field} label=${nameOf(name)} value=${value} onInput=${onChange} />`;
}

const isNumber = (value) => String(value).trim() !== "" && Number.isFinite(Number(String(value).replace(",", ".")));

/** A typed value as what stood there before: a number where that was one. */
function like(before, value) {
  if (typeof before !== "number") return value;
  return Number(String(value).replace(",", "."));
}
