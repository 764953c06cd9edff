// @ts-check
/** The cautions, each in a few words, one tap from every number that can hurt someone. @module */
import { cautionsAbout } from "../core/cautions.js";
import { nursery } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { Page } from "../ui/page.js";

/** @param {{hazards: string[]}} props */
export function CautionList({ hazards }) {
  const phone = nursery()?.poisons_phone;
  return html`<ul class="cautions">${cautionsAbout(...hazards).map(({ key, grave }) => html`<li key=${key}
      class=${grave ? "caution grave" : "caution"}>${t(`caution.${key}`)}</li>`)}</ul>
    <p class="large">${phone ? html`${t("cautions.poisons")} <a href=${`tel:${phone}`}>${phone}</a>` : html`<a href="#/nursery">${t("cautions.no_poisons")}</a>`}</p>`;
}

/** @param {{about?: string}} props */
export function Cautions({ about = "bleach" }) {
  const back = () => history.back();
  const foot = html`<button type="button" class="act main-act" onClick=${back}><strong>${t("nav.back")}</strong></button>`;
  return html`<${Page} name="cautions" title=${t("cautions.title")} foot=${foot}><${CautionList} hazards=${[about]} /></${Page}>`;
}
