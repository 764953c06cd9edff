// @ts-check
/** The year of every lot on one page: what has been, today, and what is foreseen. @module */
import { useState } from "../vendor/preact-hooks.js";
import { seasonRule, addDays } from "../core/seasons.js";
import { lots, nursery, one, places } from "../store/house.js";
import { mayOpen } from "../store/may.js";
import { html, t } from "../ui/html.js";
import { today } from "../ui/local.js";
import { lotBars } from "../ui/lot_bars.js";
import { stageWords } from "../ui/lot_words.js";
import { isLive } from "../ui/to_see.js";
import { Hatches, Mark, Months, YearStrip } from "../ui/year_strip.js";
import { Page, Ways } from "../ui/page.js";

// A quarter of the short page and half of the long one look back: what has been explains what is to come. Ours.
const SPANS = { 12: [-91, 274], 24: [-365, 365] };
const LEGEND = ["seed", "soak", "scarify", "warm", "cold", "sow", "germinate", "up", "pot"];

export function Year() {
  const [months, setMonths] = useState(12);
  const [by, setBy] = useState("place");
  const home = nursery();
  const live = [...lots.value.values()].filter((lot) => lot.closed_at === null && isLive(lot));
  const foot = html`<div class="two"><button type="button" class="act" onClick=${() => setMonths(months === 12 ? 24 : 12)}>${t("year.show", { n: months === 12 ? 24 : 12 })}</button>
    <button type="button" class="act" onClick=${() => setBy(by === "place" ? "crop" : "place")}>${t(by === "place" ? "year.by_crop" : "year.by_place")}</button></div><${Ways} here="lots" />`;
  if (!home || !live.length) {
    return html`<${Page} name="year" title=${t("year.title")} back="#/lots" foot=${html`<${Ways} here="lots" />`}><section class="empty"><h2>${t("year.none")}</h2>
      ${mayOpen("add") && html`<a class="act" href="#/add">${t("lots.add")}</a>`}</section></${Page}>`;
  }
  const [from, to] = SPANS[months].map((days) => addDays(today(), days));
  return html`<${Page} name="year" title=${t("year.title")} back="#/lots" foot=${foot}>
    <${Hatches} />
    <${Legend} />
    ${seasonRule(home).rule === "none" && html`<a class="caution" href="#/nursery">${t("year.tropics")}</a>`}
    <div class="year-head"><${Months} from=${from} to=${to} today=${today()} /></div>
    ${groups(live, by).map(([name, list]) => html`<section key=${name} class="year-group"><h2>${name}</h2>
      <ul>${list.map((lot) => html`<${Row} key=${lot.id} lot=${lot} home=${home} by=${by} from=${from} to=${to} />`)}</ul></section>`)}
  </${Page}>`;
}

function Row({ lot, home, by, from, to }) {
  const crop = one("protocol", lot.crop);
  const bars = lotBars(lot, crop, home, today());
  // The heading says the one, the row the other.
  const name = by === "place" ? crop?.botanical ?? lot.crop : one("place", lot.place)?.name ?? "";
  return html`<li><a href=${`#/lot/${lot.id}`}><span><strong>${lot.label}</strong> ${name}${bars.now && html` <strong>${t("year.sow_now")}</strong>`}</span>
    <${YearStrip} ...${bars} from=${from} to=${to} today=${today()} name=${[lot.label, stageWords(lot), bars.now && t("year.sow_now")].filter(Boolean).join(", ")} /></a></li>`;
}

/** Lots by place in walking order, or by kind; by code within. */
function groups(list, by) {
  const order = by === "place" ? places().map((place) => [place.id, place.name]) : [...new Map(list.map((lot) => [lot.crop, one("protocol", lot.crop)?.botanical ?? lot.crop]))].sort((a, b) => (a[1] < b[1] ? -1 : 1));
  const known = new Set(order.map(([id]) => id));
  const sorted = list.toSorted((a, b) => ((a.label ?? "") < (b.label ?? "") ? -1 : 1));
  const found = order.map(([id, name]) => [name, sorted.filter((lot) => lot[by] === id)]);
  return [...found, [t("year.nowhere"), sorted.filter((lot) => !known.has(lot[by]))]].filter(([, some]) => some.length);
}

/** What the marks and fillings say: at hand above the rows, and out of their way. */
export function Legend() {
  return html`<details class="year-legend"><summary>${t("year.legend")}<span class="more" aria-hidden="true">›</span></summary>
    <ul>${LEGEND.map((kind) => html`<li key=${kind}><svg class="legend-mark" viewBox="-8 -8 16 16" aria-hidden="true"><${Mark} kind=${kind} /></svg> ${t(`bar.${kind}`)}</li>`)}</ul>
    <p>${t("year.filled")}</p><p>${t("year.silent")}</p></details>`;
}
