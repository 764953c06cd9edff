// @ts-check
/** What endangers the records on this phone: what it means, and what to do. @module */
import { useState } from "../vendor/preact-hooks.js";
import { risks } from "../store/house.js";
import { askToKeep } from "../store/keeping.js";
import { html, t } from "../ui/html.js";
import { when } from "../ui/local.js";

/** Whether the app is on the home screen already. */
const installed = () => matchMedia("(display-mode: standalone)").matches;

export function Risks() {
  if (!risks.value.length) return null;
  return html`<ul class="risks" aria-label=${t("risk.title")}>${risks.value.map((one) => html`<li key=${one.kind}>
    <p><strong>${riskWords(one)}</strong></p><p>${t(`risk.${one.kind}_do`)}</p>
    ${one.kind === "evictable" && html`<${Evictable} />`}</li>`)}</ul>`;
}

/** A risk in a line. @param {any} one */
export const riskWords = ({ since, waits, kind, ...gaps }) => t(waits ? "risk.evictable_waits" : `risk.${kind}`, { ...gaps, when: since ? when(since) : "" });

function Evictable() {
  const [denied, setDenied] = useState(false);
  const ask = () => askToKeep().then((kept) => setDenied(!kept));
  return html`${!installed() && html`<p>${t("risk.home_screen")}</p>`}
    ${denied && html`<p role="status">${t("risk.denied")}</p>`}
    <button type="button" class="act" onClick=${ask}>${t("risk.ask")}</button>`;
}
