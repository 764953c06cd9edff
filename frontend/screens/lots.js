// @ts-check
/** Every lot on this phone, found by code or name. @module */
import { useState } from "../vendor/preact-hooks.js";
import { lots, one } from "../store/house.js";
import { mayOpen } from "../store/may.js";
import { html, t } from "../ui/html.js";
import { quantityWords, stageWords } from "../ui/lot_words.js";
import { Field } from "../ui/number.js";
import { findingsOf, isLive } from "../ui/to_see.js";
import { Flags, Page, Ways } from "../ui/page.js";

const SHOWN_MAX = 60;

export function Lots() {
  const [search, setSearch] = useState("");
  const asked = search.trim().toLowerCase();
  const names = (lot) => `${lot.label} ${one("protocol", lot.crop)?.botanical ?? lot.crop} ${one("protocol", lot.crop)?.common ?? ""}`.toLowerCase();
  const found = [...lots.value.values()].filter((lot) => (asked ? names(lot).includes(asked) : isLive(lot)))
    .sort((a, b) => ((a.label ?? "") < (b.label ?? "") ? 1 : -1));
  const foot = html`<div class="two"><a class="act" href="#/year">${t("year.title")}</a>${mayOpen("add") && html`<a class="act main-act" href="#/add"><strong>${t("lots.add")}</strong></a>`}</div><${Ways} here="lots" />`;
  return html`<${Page} name="lots" title=${t("lots.title")} foot=${foot}>
    <${Field} label=${t("lots.search")} value=${search} onInput=${setSearch} type="search" />
    ${found.length ? html`<ul class="cards">${found.slice(0, SHOWN_MAX).map((lot) => html`<li key=${lot.id}><a href=${`#/lot/${lot.id}`}>
      <span class="code">${lot.label}</span>
      <strong>${one("protocol", lot.crop)?.botanical ?? lot.crop}</strong>
      <small>${stageWords(lot)} · ${quantityWords(lot)}</small>
      <${Flags} findings=${findingsOf(lot).filter((finding) => !finding.hidden_by)} /></a></li>`)}</ul>` : html`<p class="quiet">${asked ? t("lots.none") : t("round.empty")}</p>`}
    ${found.length > SHOWN_MAX && html`<p class="quiet">${t("lots.more", { n: found.length - SHOWN_MAX })}</p>`}
  </${Page}>`;
}
