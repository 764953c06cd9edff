// @ts-check
/**
 * Frost: tonight's figure, what stands open place by place in walking order, what is covered and
 * comes off in the morning. One tap records a place; it works with what the phone last knew.
 * @module
 */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { signal } from "../vendor/signals.js";
import { NOWHERE } from "../core/tender.js";
import { cautionsAbout } from "../core/cautions.js";
import { DAY_MS, localDate, toMs } from "../core/instants.js";
import { isTimeToUncover } from "../core/weather_facts.js";
import { mustAsk, now, nursery } from "../store/house.js";
import { may } from "../store/may.js";
import { recordAll } from "../store/record.js";
import { coveredPlaces, openPlaces, readings, tonight } from "../ui/frost_list.js";
import { html, t } from "../ui/html.js";
import { age, clock, degrees, when } from "../ui/local.js";
import { Whose } from "../ui/only.js";
import { Page, Tick } from "../ui/page.js";
import { byWhom, Figure, FigureForm, shownDegrees } from "./frost_figure.js";
import { ForecastFile } from "./frost_file.js";
import { UndoBar } from "./place_done.js";
import { Who } from "./who.js";
import { last, offerUndo, tellTrouble } from "./walking.js";

const LABELS_MAX = 4;
const STAY_DAYS = [2, 4, 8];
// The list closes up under the thumb: a wet one that taps twice means one place. Ours.
const SETTLES_MS = 700;
const settling = signal(false);

export function Frost() {
  const [typing, setTyping] = useState(false);
  const [reading, setReading] = useState(false);
  useEffect(() => () => (waiting.value = null), []);
  if (waiting.value) return html`<${Who} place=${t("frost.title")} then=${goOn} />`;
  const { open, unknown } = openPlaces();
  const covered = coveredPlaces();
  const coveredIn = new Map(covered.map((one) => [one.place.id, one.lots]));
  const low = tonight()?.low_c ?? null;
  const home = nursery();
  const morning = home !== null && isTimeToUncover(home, now.value);
  const toCover = html`<${Open} key="open" open=${open} unknown=${unknown} low=${low} coveredIn=${coveredIn} />`;
  const openIn = new Map(open.map((one) => [one.place?.id ?? NOWHERE, one.lots.length]));
  const onNow = html`<${Covered} key="covered" covered=${covered} openIn=${openIn} />`;
  const n = open.reduce((sum, one) => sum + one.lots.length, 0);
  const figure = html`<${Figure} />${may("read") ? html`<button type="button" class="act" onClick=${() => setTyping(true)}><strong>${t("frost.type")}</strong></button>
    <button type="button" class="act" onClick=${() => setReading(true)}>${t("frost.file")}</button>` : html`<${Whose} what="read" />`}`;
  return html`<${Page} name="frost" title=${t("frost.title")} back="#/" side=${n ? t("frost.side", { n }) : t("frost.side_none")} foot=${last.value && html`<${UndoBar} />`}>
    ${reading ? html`<${ForecastFile} onDone=${() => setReading(false)} />` : typing ? html`<${FigureForm} onDone=${() => setTyping(false)} />` : figure}
    ${morning && covered.length ? [onNow, toCover] : [toCover, onNow]}
    <${Readings} />
    <ul class="cautions">${cautionsAbout("frost").map(({ key, grave }) => html`<li key=${key} class=${grave ? "caution grave" : "caution"}>${t(`caution.${key}`)}</li>`)}</ul>
  </${Page}>`;
}

/** What waits until somebody has said who records, on a shared phone. @type {{value: (() => void) | null}} */
const waiting = signal(null);

/** Record one kind of event, and offer to take it back; a shared phone asks first who records. */
async function tell(kind, drafts, label, word) {
  if (mustAsk.value) {
    waiting.value = () => tell(kind, drafts, label, word);
    return;
  }
  if (settling.value) return;
  settling.value = true;
  setTimeout(() => (settling.value = false), SETTLES_MS);
  await recordAll(drafts.map(({ lot = null, data }) => ({ kind, lot, data })))
    .then((events) => offerUndo(events, { id: null, label }, [word]), tellTrouble);
}

/** It is said who records: what waited for that is recorded now. */
function goOn() {
  const act = waiting.value;
  waiting.value = null;
  act?.();
}

const nameOf = (place) => place?.name ?? t("round.loose");

/** What stands open: a tap says that the place is covered. */
function Open({ open, unknown, low, coveredIn }) {
  const cover = ({ place, lots }) => {
    const meant = low === null ? {} : { for_low_c: low };
    const drafts = place ? [{ data: { place: place.id, ...meant } }] : lots.map(({ lot }) => ({ lot: lot.id, data: meant }));
    return tell("covered", drafts, nameOf(place), t("frost.is_covered"));
  };
  return html`<section><h2>${t("frost.open")}</h2>
    ${(!open.length || may("covered")) && html`<p class=${open.length ? "quiet" : "well"}>${t(open.length ? "frost.tap" : "frost.none_open")}</p>`}
    <ul class="cover-list" aria-busy=${settling.value}>${open.map((one) => html`<li key=${one.place?.id ?? ""}><button type="button" class="act cover-place" disabled=${!may("covered")} onClick=${() => cover(one)}>
      <span class="peg"></span><span class="stop-words"><strong>${nameOf(one.place)}</strong>${partly("frost.part_open", one.lots.length, coveredIn.get(one.place?.id ?? NOWHERE))}${lotsWords(one.lots)}</span>
      ${may("covered") && html`<b>${t("frost.cover")}</b>`}</button></li>`)}</ul>
    ${unknown > 0 && html`<p><a class="act" href="#/crops"><span>${t("frost.unknown", { n: unknown })}</span></a></p>`}
  </section>`;
}

/** "1 of 2 tender lots": said where a place is partly covered and so stands in both lists. */
const partly = (key, n, other) => other > 0 && html`<small><b>${t(key, { n, m: n + other })}</b></small>`;

/** "coming up 25-019-L 25-021-Y", by why they are tender. */
function lotsWords(found) {
  const whys = [...new Set(found.map(({ why }) => why))];
  return whys.map((why) => {
    const here = found.filter((one) => one.why === why);
    const more = here.length > LABELS_MAX ? ` + ${here.length - LABELS_MAX}` : "";
    return html`<small>${t(`tender.${why}`)} ${here.slice(0, LABELS_MAX).map(({ lot }) => html`<span class="whole">${lot?.label ?? "?"}</span> `)}${more}</small>`;
  });
}

/** What is covered, since when and by whom: a tap says that it is off again, or how long it stays. */
function Covered({ covered, openIn }) {
  const [staying, setStaying] = useState("");
  if (!covered.length) return null;
  const off = ({ place, own }) => tell("uncovered", place.id ? [{ data: { place: place.id } }] : own.map((lot) => ({ lot, data: {} })), nameOf(place), t("frost.is_off"));
  // They are the same covers, each over what it is over: nothing else is covered by that.
  const stay = ({ place, own }, days) => {
    setStaying("");
    const data = { until: localDate(toMs(now.value) + days * DAY_MS, nursery()?.offsets ?? []), stays: true };
    const laid = place.covered ? [{ data: { place: place.id, ...data } }] : [];
    return tell("covered", [...laid, ...own.map((lot) => ({ lot, data }))], nameOf(place), t("frost.stays_until", { days: days - 1 }));
  };
  // Where others stand open in the place, a cover over it all would say that they are covered too.
  const second = ({ place, cover, thin }) => {
    const meant = { for_low_c: thin.low_c, ...(cover.until ? { until: cover.until } : {}) };
    const drafts = openIn.get(place.id) || !place.id ? thin.lots.map((lot) => ({ lot, data: meant })) : [{ data: { place: place.id, ...meant } }];
    return tell("covered", drafts, nameOf(place), t("frost.has_second"));
  };
  return html`<section><h2>${t("frost.covered")}</h2><ul class="cover-list" aria-busy=${settling.value}>${covered.map((one) => html`<li key=${one.place.id}>
    <button type="button" class="act cover-place on" disabled=${!may("uncovered")} onClick=${() => off(one)}><span class="peg"><${Tick} /></span>
      <span class="stop-words"><strong>${nameOf(one.place)}</strong>${partly("frost.part_covered", one.lots, openIn.get(one.place.id))}<small>${t("frost.since", { when: when(one.cover.at), who: byWhom(one.cover) })}</small>
        ${one.cover.until && html`<small>${t("frost.until", { when: when(one.cover.morning_at).split(" ").slice(0, 2).join(" ") })}</small>`}
        ${one.cover.warm_c !== null && html`<small>${t("frost.warm", { value: shownDegrees(one.cover.warm_c), degrees: degrees() })}</small>`}</span>
      ${may("uncovered") && html`<b>${t("frost.uncover")}</b>`}</button>
    ${one.thin && html`<p class="caution grave">${t("frost.thin", { meant: shownDegrees(one.thin.for_low_c), low: shownDegrees(one.thin.low_c), degrees: degrees() })}</p>
      ${may("covered") && html`<button type="button" class="act second" onClick=${() => second(one)}><strong>${t("frost.second")}</strong></button>`}`}
    ${!may("covered") ? null : staying === one.place.id
      ? html`<div class="three">${STAY_DAYS.map((days) => html`<button type="button" key=${days} class="act" onClick=${() => stay(one, days)}>${t("frost.stay", { n: days - 1 })}</button>`)}</div>`
      : html`<button type="button" class="act stay" onClick=${() => setStaying(one.place.id)}>${t("frost.stays")}</button>`}</li>`)}</ul></section>`;
}

/** What the thermometers said, how old, how high they hang. */
function Readings() {
  const found = readings();
  if (!found.length) return null;
  return html`<section><h2>${t("frost.readings")}</h2><ul class="cards">${found.map(({ place, temp, dew, passes_at: passes }) => html`<li key=${place.id} class="reading">
    <strong>${place.name} ${shownDegrees(temp.value)} ${degrees()}</strong> <small>${t("frost.ago", { age: age(temp.at) })}, ${
      place.sensor_height_m ? t("frost.height", { n: place.sensor_height_m }) : t("frost.height_unknown")}</small>
    ${dew !== null && html`<small>${t("frost.dew", { value: shownDegrees(Math.round(dew * 10) / 10), degrees: degrees() })}</small>`}
    ${passes && html`<small>${t("frost.passes", { time: clock(passes), nought: shownDegrees(0), degrees: degrees() })}</small>`}</li>`)}</ul></section>`;
}
