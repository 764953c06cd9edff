// @ts-check
/** Tonight's figure: how low, how old, what it may mean among the plants; and typing a new one. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { DAY_MS, nextDay, toMs, toText } from "../core/instants.js";
import { lots, now, places } from "../store/house.js";
import { record } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { coveredPlaces, frostLimit, lastFigure, nightDay, tonight, tonightTimes } from "../ui/frost_list.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Keypad } from "../ui/keypad.js";
import { age, clock, date, degrees, inDegrees, isOldForecast, toCelsius, when } from "../ui/local.js";
import { whoWords } from "../ui/who_words.js";
import { offerUndo, tellTrouble } from "./walking.js";

const LOW_C = -60;
const HIGH_C = 60;
// How long nothing may have been covered for the next frost to be the first of its season. Ours.
const SEASON_DAYS = 120;
/** A minus that is read as one. @param {number} celsius */
export const shownDegrees = (celsius) => `${Math.round(inDegrees(celsius) * 10) / 10}`.replace("-", "−");

/** Whether nothing has been covered or uncovered here for so long that this frost is a season's first. */
function isFirst() {
  const since = toText(toMs(now.value) - SEASON_DAYS * DAY_MS);
  // A lot's own cover that came off with its place's stays on its row: only what still lies over it counts.
  const acts = [...places(), ...lots.value.values()].flatMap((row) => [row.covered?.at, row.cover?.at, row.bared_at]);
  return !coveredPlaces().length && acts.every((at) => !((at ?? "") > since));
}

/** The figure, or what is missing. */
export function Figure() {
  const night = tonight();
  const times = tonightTimes();
  const isSet = now.value >= times.sunset_at;
  const sunset = isSet ? t("frost.set", { time: clock(times.sunset_at) }) : t(times.sun === "placed" ? "frost.sunset" : times.sun === "about" ? "frost.sunset_about" : "frost.sunset_taken", { time: clock(times.sunset_at) });
  if (!night) {
    const last = lastFigure();
    return html`<section class="frost-figure"><p class="large">${t("frost.no_figure")}</p>
      ${last && html`<p>${t("frost.last_figure", { value: shownDegrees(last.value), degrees: degrees(), when: when(last.at) })}</p>`}<p>${sunset}</p></section>`;
  }
  const low = inDegrees(night.low_c) <= 0 ? "frost.low_below" : "frost.low";
  return html`<section class="frost-figure"><p class="figure">${t("frost.tonight")} <strong>${shownDegrees(night.low_c)} ${degrees()}</strong></p>
    <p><strong>${t(low, { age: age(night.told_at) })}</strong></p>
    ${isOldForecast(night.told_at) && html`<p class="caution">${t("frost.stale")}</p>`}
    ${night.low_c <= frostLimit() && isFirst() && html`<p class="caution">${t("frost.first")}</p>`}
    <p>${t("frost.range", { low: shownDegrees(night.range_low_c), high: shownDegrees(night.range_high_c), degrees: degrees() })}</p>
    <p>${sunset}</p></section>`;
}

/** Who recorded a cover, where anybody is known. */
export function byWhom({ by, by_said: said }) {
  const who = whoWords(by, said);
  return who ? t("frost.by", { who }) : t("frost.somebody");
}

/** "11 Sep": the morning to which the night of a date goes. */
const morningOf = (day) => date(nextDay(day));

/** Type a low for tonight or tomorrow night. @param {{onDone: () => void}} props */
export function FigureForm({ onDone }) {
  const [typed, setTyped] = useState("");
  const [below, setBelow] = useState(false);
  const first = nightDay();
  const [night, setNight] = useState(first);
  const [error, setError] = useState("");
  useEffect(() => formOpened(), []);
  const nights = /** @type {[string, string][]} */ ([[first, t("frost.this_night", { morning: morningOf(first) })], [nextDay(first), t("frost.next_night", { morning: morningOf(nextDay(first)) })]]);
  const text = typed && below ? `−${typed}` : typed;
  const save = async () => {
    const value = toCelsius(text);
    const wrong = typed === "" || !(value >= LOW_C && value <= HIGH_C);
    setError(wrong ? t("error.number", { field: t("frost.low_name"), low: inDegrees(LOW_C), high: inDegrees(HIGH_C) }) : "");
    if (wrong) return;
    const data = { quantity_kind: "forecast_low_c", value, for_night_of: night };
    const kept = await record("read", null, data).catch(tellTrouble);
    if (!kept) return;
    offerUndo([kept], { id: null, label: t("frost.low_of", { morning: morningOf(night) }) }, [`${shownDegrees(value)} ${degrees()}`]);
    onDone();
  };
  return html`<section class="figure-form"><h2>${t("frost.type")}</h2>
    <${Choice} name=${t("frost.which_night")} answers=${nights} value=${night} onChoose=${(day) => day && setNight(day)} />
    <${Keypad} label=${t("frost.low_name")} value=${text} unit=${degrees()} onInput=${(next) => setTyped(next.replace("−", ""))} />
    <button type="button" class=${below ? "answer chosen" : "answer"} aria-pressed=${below} onClick=${() => setBelow(!below)}>${t("frost.below_nought")}</button>
    ${error && html`<p class="error" role="alert">${error}</p>`}
    <div class="two"><button type="button" class="act" onClick=${onDone}>${t("act.cancel")}</button>
      <button type="button" class="act main-act" onClick=${save}><strong>${t("act.save")}</strong></button></div></section>`;
}
