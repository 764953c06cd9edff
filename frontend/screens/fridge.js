// @ts-check
/** A chamber: its temperature since, each chill laid over it, a reading by hand, and its band. @module */
import { useState } from "../vendor/preact-hooks.js";
import { settingsOf } from "../core/chambers.js";
import { chillRange } from "../core/chill.js";
import { lots, now, one } from "../store/house.js";
import { may } from "../store/may.js";
import { record } from "../store/record.js";
import { FridgePlot } from "../ui/fridge_plot.js";
import { html, t } from "../ui/html.js";
import { degrees, inDegrees, toCelsius, when } from "../ui/local.js";
import { Field } from "../ui/number.js";
import { Shown } from "../ui/only.js";
import { Page } from "../ui/page.js";
import { isLive } from "../ui/to_see.js";
import { plain } from "./places.js";
import { tellTrouble } from "./walking.js";

const SPAN_DAYS = 60;
// A soak inside a chill closes neither; meanwhile the seed is on the bench.
const ELSEWHERE = ["soak", "sanitise", "drained"];
const BAND = ["low", "high", "aim"];

/** @param {{id: string}} props */
export function Fridge({ id }) {
  const place = one("place", id);
  const [temp, setTemp] = useState("");
  const [error, setError] = useState("");
  if (!place) return html`<${Page} name="fridge" title=${t("fridge.title")} back="#/bench"><p class="large">${t("round.not_here_yet")}</p></${Page}>`;
  const settings = settingsOf(place.chamber);
  const last = place.last_read?.temp_c;
  const chills = chillsIn(id, place.temps);
  const save = async () => {
    const value = toCelsius(temp);
    const wrong = temp.trim() === "" || !(value >= -60 && value <= 60);
    setError(wrong ? t("error.number", { field: t("ask.temp"), low: inDegrees(-60), high: inDegrees(60) }) : "");
    if (wrong) return;
    await record("read", null, { place: id, quantity_kind: "temp_c", value }).then(() => setTemp(""), tellTrouble);
  };
  const foot = may("read") && html`<div class="read-row"><${Field} label=${`${t("fridge.read")}, ${degrees()}`} value=${temp} inputmode="text" error=${error} onInput=${setTemp} />
    <button type="button" class="act main-act" onClick=${save}><strong>${t("act.save")}</strong></button></div>`;
  return html`<${Page} name="fridge" title=${place.name} back="#/bench" foot=${foot}>
    <p class="fridge-now">${last ? html`<strong>${inDegrees(last.value)} ${degrees()}</strong> <small>${t("fridge.now", { when: when(last.at) })}</small>` : t("fridge.never")}</p>
    ${place.temps && html`<figure class="plot"><${FridgePlot} days=${place.temps.days} settings=${settings} now=${now.value} span=${SPAN_DAYS}
        chills=${chills.map(({ lot, spell }) => ({ label: lot.label, from: spell.started_at, to: now.value }))} />
      <figcaption class="quiet">${t("fridge.days", { n: SPAN_DAYS })}</figcaption></figure>`}
    <section><h2>${t("fridge.chills")}</h2>${!chills.length && html`<p class="quiet">${t("fridge.no_chills")}</p>`}
      <ul class="cards">${chills.map((chill) => html`<${Chill} key=${chill.lot.id} ...${chill} />`)}</ul>
      ${chills.some(({ range }) => !isRead(range)) && html`<p class="quiet">${t("fridge.by_calendar")}</p>`}
      ${chills.some(({ range }) => isRead(range)) && html`<p class="quiet">${t("fridge.range")}</p>`}</section>
    <${Band} place=${place} settings=${settings} /></${Page}>`;
}

function chillsIn(place, temps) {
  const here = [...lots.value.values()].filter((lot) => isLive(lot) && lot.place === place && !ELSEWHERE.includes(lot.stage));
  return here.flatMap((lot) => {
    const spell = lot.spells.find((each) => each.kind === "cold" && each.ended_at === null);
    return spell ? [{ lot, spell, range: chillRange(temps, spell.started_at, now.value) }] : [];
  });
}

const n = (days) => Math.round(days);
/** Whether anything was read: without it the three figures would be the calendar's, three times. */
const isRead = (range) => n(range.read_days) > 0;

function Chill({ lot, range }) {
  const counted = !isRead(range)
    ? t("fridge.calendar_alone", { calendar: n(range.calendar_days) })
    : t("fridge.chill", { low: n(range.low_days), middle: n(range.middle_days), high: n(range.high_days) });
  return html`<li><a href=${`#/lot/${lot.id}`}><span class="code">${lot.label}</span> <strong>${one("protocol", lot.crop)?.botanical ?? lot.crop}</strong>
    <small>${counted}</small>
    ${isRead(range) && html`<small>${t("fridge.counted", { read: n(range.read_days), calendar: n(range.calendar_days) })}</small>`}
    ${range.warm.length > 0 && html`<small>${t("fridge.warm", { n: range.warm.length, degrees: "°C" })}</small>`}</a></li>`;
}

/** The band that the owner sets for this chamber. */
function Band({ place, settings }) {
  const [draft, setDraft] = useState(/** @type {Record<string, string>} */ ({}));
  const [error, setError] = useState("");
  const value = (name) => draft[name] ?? String(inDegrees(settings[`${name}_c`]));
  const save = async () => {
    const [low, high, aim] = BAND.map((name) => toCelsius(value(name)));
    const wrong = !(low < high) || !(aim >= -60 && aim <= 60);
    setError(wrong ? t("fridge.band_wrong") : "");
    if (wrong) return;
    const chamber = { ...place.chamber, low_c: low, high_c: high, aim_c: aim };
    await record("place_changed", null, { ...plain(place), chamber }).then(() => setDraft({}), tellTrouble);
  };
  return html`<section><h2>${t("fridge.band")}, ${degrees()}</h2><${Shown} what="place_changed"><div class="fields">${BAND.map((name) => html`<${Field} key=${name} label=${t(`fridge.${name}`)}
      value=${value(name)} inputmode="text" onInput=${(text) => setDraft({ ...draft, [name]: text })} />`)}</div></${Shown}>
    ${error && html`<p class="error" role="alert">${error}</p>`}
    ${Object.keys(draft).length > 0 && html`<button type="button" class="act" onClick=${save}><strong>${t("fridge.save_band")}</strong></button>`}</section>`;
}
