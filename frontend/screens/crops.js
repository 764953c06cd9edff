// @ts-check
/** The kinds in use, each with its treatment. @module */
import { crops } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { Page } from "../ui/page.js";

const SHOWN_MAX = 200;

export function Crops() {
  const known = crops().sort((a, b) => (a.botanical < b.botanical ? -1 : 1)).slice(0, SHOWN_MAX);
  return html`<${Page} name="crops" title=${t("settings.crops")} back="#/settings">
    <p>${known.length ? t("settings.crops_why") : t("settings.no_crops")}</p>
    <ul class="cards">${known.map((crop) => html`<li key=${crop.id}><a href=${`#/crop/${crop.id}`}>
      <strong>${crop.botanical}</strong><small>${crop.common}</small></a></li>`)}</ul>
  </${Page}>`;
}
