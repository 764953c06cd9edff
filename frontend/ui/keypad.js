// @ts-check
/** A number with a decimal point, typed on large keys; the text is the caller's. @module */
import { html, t } from "./html.js";

const KEYS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", "⌫"];
const LONGEST = 7;

/**
 * @param {{label: string, value: string, unit: string, onInput: (text: string) => void}} props
 */
export function Keypad({ label, value, unit, onInput }) {
  const press = (key) => {
    if (key === "⌫") onInput(value.slice(0, -1));
    else if (value.length < LONGEST && !(key === "." && value.includes("."))) onInput(value + key);
  };
  return html`<div class="keypad" role="group" aria-label=${label}>
    <p class="keypad-value"><output aria-live="polite">${value || "–"}</output> ${unit}</p>
    <div class="keys">${KEYS.map((key) => html`<button type="button" key=${key} class="act key"
      aria-label=${key === "⌫" ? t("count.wipe") : key === "." ? t("count.point") : undefined} onClick=${() => press(key)}>${key}</button>`)}</div>
  </div>`;
}
