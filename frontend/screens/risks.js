// @ts-check
/** What endangers the records on this phone: what it means, and what to do. @module */
import { useState } from "../vendor/preact-hooks.js";
import { contact, risks } from "../store/house.js";
import { askToKeep } from "../store/keeping.js";
import { html, t } from "../ui/html.js";
import { when } from "../ui/local.js";

// The server answers, and a record waits all the same.
const HEARD = ["held-up", "not-allowed"];

/** Whether the app is on the home screen already. */
const installed = () => matchMedia("(display-mode: standalone)").matches;

export function Risks() {
  if (!risks.value.length) return null;
  return html`<ul class="risks" aria-label=${t("risk.title")}>${risks.value.map((one) => html`<li key=${one.kind}>
    <p><strong>${riskWords(one)}</strong></p><p>${whatToDo(one)}</p>
    ${one.kind === "evictable" && html`<${Evictable} />`}</li>`)}</ul>`;
}

/** No signal helps a record that a server in reach does not take. */
const whatToDo = ({ kind }) => t(kind === "unsynced" && HEARD.includes(contact.value.state) ? "unsent.not_taken_do" : `risk.${kind}_do`);

/** A risk in a line. @param {any} one */
export const riskWords = ({ since, waits, kind, ...gaps }) => t(waits ? "risk.evictable_waits" : `risk.${kind}`, { ...gaps, when: since ? when(since) : "" });

function Evictable() {
  const [denied, setDenied] = useState(false);
  const ask = () => askToKeep().then((kept) => setDenied(!kept));
  return html`${!installed() && html`<p>${t("risk.home_screen")}</p>`}
    ${denied && html`<p role="status">${t("risk.denied")}</p>`}
    <button type="button" class="act" onClick=${ask}>${t("risk.ask")}</button>`;
}
