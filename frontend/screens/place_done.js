// @ts-check
/** After the last lot of a place: what was skipped, closing it, and where to go from there. @module */
import { lots } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { allShown, stops } from "../ui/to_see.js";
import { again, back, close, last, takeBack, unlessSwapped, walk } from "./walking.js";
import { Page } from "../ui/page.js";
import { clock } from "../ui/local.js";

/** For ten seconds: what was just saved, and the button that takes it back. */
export function UndoBar() {
  const done = last.value;
  if (!done) return null;
  return html`<div class="undo-bar"><p role="status">${t("walk.saved", { what: `${done.lot.label} ${done.words}` })}</p>
    <button type="button" class="act round-act undo" onClick=${takeBack}>${t("walk.undo")}</button></div>`;
}

/** The same in the place of another control, where the foot would else hide what stands above it. @param {{otherwise: any}} props */
export function UndoInPlaceOf({ otherwise }) {
  const done = last.value;
  if (!done) return otherwise;
  const what = `${done.lot.label} ${done.words}`;
  return html`<button type="button" class="act round-act undo" aria-label=${t("walk.undo")} onClick=${unlessSwapped(takeBack)}>${t("walk.undo")}<small>${what}</small></button>
    <span class="only-read" role="status">${t("walk.saved", { what })}</span>`;
}

/** @param {{here: any}} props */
export function PlaceDone({ here }) {
  const { seen, skipped, quick, closed, lot } = walk.value;
  if (lot) return html`<${OneDone} lot=${lot} here=${here} />`;
  if (closed) return html`<${After} here=${here} />`;
  const labels = skipped.map((id) => lots.value.get(id)?.label ?? "?");
  const foot = html`<${UndoBar} />
    <button type="button" class="act main-act round-act" onClick=${close}>
      <strong>${t("walk.close", { place: here.place.name })}</strong><span>${t(skipped.length ? "walk.close_skipped" : "walk.close_why", { n: skipped.length })}</span></button>
    <div class="two"><button type="button" class="act round-act" onClick=${back}>${t("walk.previous")}</button>
      ${quick.length > 0 && html`<button type="button" class="act round-act" onClick=${again}>${t("walk.quick_again")}</button>`}</div>`;
  return html`<${Page} name="walk" title=${here.place.name} back="#/" side=${t("walk.all_passed")} foot=${foot}>
    <section class="told"><h2>${t("walk.place_done", { place: here.place.name })}</h2>
      <p class="large">${t("walk.seen_n", { n: seen.length })}</p>
      <p>${labels.length ? t("walk.skipped_n", { labels: labels.join(", ") }) : t("walk.none_skipped")}</p>
      ${quick.length > 0 && html`<p>${t("walk.quick", { n: quick.length })}</p>`}
    </section></${Page}>`;
}

/** A single look is done: back to its lot, or along the path. */
function OneDone({ lot, here }) {
  const foot = html`<${UndoBar} /><a class="act main-act round-act" href=${`#/lot/${lot}`}><strong>${t("walk.to_lot", { label: lots.value.get(lot)?.label ?? "" })}</strong></a>
    <div class="two"><a class="act round-act" href="#/">${t("walk.home")}</a></div>`;
  return html`<${Page} name="walk" title=${here.place.name} back=${`#/lot/${lot}`} foot=${foot}>
    <section class="told"><h2>${walk.value.seen.length ? t("walk.one_done") : t("walk.one_skipped")}</h2></section></${Page}>`;
}

/** The place is closed: on to the next one, or home with the things to do. */
function After({ here }) {
  const path = stops();
  const from = path.findIndex((one) => one.place.id === here.place.id);
  const next = [...path.slice(from + 1), ...path.slice(0, from)].find((one) => one.toSee.length);
  const things = allShown().filter((one) => one.level !== "due").length;
  const words = things ? t("walk.things", { n: things }) : t("walk.no_things");
  const onward = html`<a class="act main-act round-act" href=${`#/walk/${encodeURIComponent(next?.place.id)}`}>
    <strong>${t("walk.then", { place: next?.place.name })}</strong><span>${t("walk.to_see", { n: next?.toSee.length })}</span></a>`;
  const things_ = html`<a class="act main-act round-act" href="#/alerts"><strong>${words}</strong><span>${t("walk.see_things")}</span></a>`;
  return html`<${Page} name="walk" title=${here.place.name} back="#/" foot=${html`${next ? onward : things_}
      <div class="two"><a class="act round-act" href="#/">${t("walk.home")}</a></div>`}>
    <section class="told"><h2>${t("walk.closed", { place: here.place.name, time: clock(walk.value.closed) })}</h2>
      ${!next && html`<p class="large">${t("walk.done_title")}</p>`}
      <p class="large">${words}</p></section></${Page}>`;
}
