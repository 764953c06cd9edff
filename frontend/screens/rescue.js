// @ts-check
/** What is shown where the app itself cannot go on: what went wrong, and the way to save what is unsent. @module */
import { html, t } from "../ui/html.js";
import { SaveUnsent } from "./save_unsent.js";

/** @param {{detail: string}} props */
export function Rescue({ detail }) {
  return html`<div class="page page-rescue"><header class="top"><div class="top-words"><h1>${t("rescue.title")}</h1></div></header>
    <main><p class="large" role="alert">${t("rescue.what")}</p><p class="quiet">${detail}</p>
      <section><h2>${t("rescue.first")}</h2><p>${t("rescue.why")}</p><${SaveUnsent} /></section></main>
    <footer class="foot"><button type="button" class="act main-act" onClick=${() => location.reload()}><strong>${t("rescue.again")}</strong></button></footer></div>`;
}
