// @ts-check
/** A number with large − and + and a keypad: for wet thumbs. @module */
import { useState } from "../vendor/preact-hooks.js";
import { html, t } from "./html.js";

const KEYS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", "⌫", "0", "+10"];
// A number beyond this is a slip of the finger.
const MOST = 999_999;

/**
 * A whole number with its keypad. The first digit typed takes the place of what stood there.
 * @param {{label: string, value: number | null, onChange: (n: number) => void, under?: string}} props
 */
export function Counter({ label, value, onChange, under = "" }) {
  const n = value ?? 0;
  const set = (next) => onChange(Math.min(MOST, Math.max(0, next)));
  return html`<div class="counter" role="group" aria-label=${label}>
    <p class="counter-value"><output aria-live="polite">${n.toLocaleString("en-AU")}</output>${under && html`<span>${under}</span>`}</p>
    <div class="two"><button type="button" class="act step" aria-label=${t("count.less", { label })} onClick=${() => set(n - 1)}>−</button>
      <button type="button" class="act step" aria-label=${t("count.more", { label })} onClick=${() => set(n + 1)}>+</button></div>
    <${Keys} value=${n} onChange=${onChange} />
  </div>`;
}

/** Keys for a whole number. @param {{value: number, onChange: (n: number) => void}} props */
export function Keys({ value, onChange }) {
  const [typing, setTyping] = useState(false);
  const press = (key) => {
    setTyping(key !== "+10");
    const next = key === "⌫" ? Math.floor(value / 10) : key === "+10" ? value + 10 : (typing ? value * 10 : 0) + Number(key);
    onChange(Math.min(MOST, next));
  };
  return html`<div class="keys" role="group" aria-label=${t("count.key")}>${KEYS.map((key) => html`<button type="button" class="act key"
    aria-label=${key === "⌫" ? t("count.wipe") : undefined} onClick=${() => press(key)}>${key}</button>`)}</div>`;
}

/** A small whole number between − and +. @param {{label: string, value: number, onChange: (n: number) => void}} props */
export function Stepper({ label, value, onChange }) {
  return html`<div class="stepper" role="group" aria-label=${label}>
    <button type="button" class="act step" aria-label=${t("count.less", { label })} onClick=${() => onChange(Math.max(0, value - 1))}>−</button>
    <p>${label} <output aria-live="polite">${value}</output></p>
    <button type="button" class="act step" aria-label=${t("count.more", { label })} onClick=${() => onChange(value + 1)}>+</button>
  </div>`;
}

/** The longest name that the server takes. */
export const NAME_MAX = 200;

/** A labelled field to type into; its error stands beside it, or, where it is only `invalid`, elsewhere. */
export function Field({ label, value, onInput, type = "text", error = "", invalid = false, inputmode = undefined, list = undefined, autocomplete = undefined, max = undefined }) {
  return html`<label class="field"><span>${label}</span>
    <input type=${type} inputmode=${inputmode} value=${value ?? ""} list=${list} autocomplete=${autocomplete} maxlength=${max}
      aria-invalid=${error || invalid ? "true" : "false"} onInput=${(event) => onInput(event.currentTarget.value)} />
    ${error && html`<em class="error">${error}</em>`}
  </label>`;
}

/** A labelled list to choose from. @param {{label: string, value: any, options: [any, string][], onChange: (value: any) => void}} props */
export function Select({ label, value, options, onChange }) {
  return html`<label class="field"><span>${label}</span>
    <select value=${value ?? ""} onChange=${(event) => onChange(event.currentTarget.value)}>
      ${options.map(([key, words]) => html`<option value=${key} selected=${key === (value ?? "")}>${words}</option>`)}
    </select></label>`;
}
