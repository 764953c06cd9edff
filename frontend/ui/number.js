// @ts-check
/** A number with large − and + and a keypad: for wet thumbs. @module */
import { html, t } from "./html.js";

const KEYS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", "⌫", "0", "±10"];

/** A whole number. @param {{label: string, value: number | null, onChange: (n: number) => void, under?: string}} props */
export function Counter({ label, value, onChange, under = "" }) {
  const n = value ?? 0;
  const set = (next) => onChange(Math.max(0, next));
  const press = (key) => {
    if (key === "⌫") set(Math.floor(n / 10));
    else if (key === "±10") set(n + 10);
    else set(n * 10 + Number(key));
  };
  return html`<div class="counter" role="group" aria-label=${label}>
    <div class="counter-line">
      <button type="button" class="step" aria-label=${`${label} −1`} onClick=${() => set(n - 1)}>−</button>
      <p class="counter-value"><output aria-live="polite">${n.toLocaleString("en-AU")}</output><span>${under}</span></p>
      <button type="button" class="step" aria-label=${`${label} +1`} onClick=${() => set(n + 1)}>+</button>
    </div>
    <div class="keys" aria-label=${t("count.key")}>${KEYS.map((key) => html`<button type="button"
      class="key" onClick=${() => press(key)}>${key === "±10" ? "+10" : key}</button>`)}</div>
  </div>`;
}

/** A labelled field to type into; its error stands beside it. */
export function Field({ label, value, onInput, type = "text", error = "", inputmode = undefined, list = undefined }) {
  return html`<label class="field"><span>${label}</span>
    <input type=${type} inputmode=${inputmode} value=${value ?? ""} list=${list}
      aria-invalid=${error ? "true" : "false"} onInput=${(event) => onInput(event.currentTarget.value)} />
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
