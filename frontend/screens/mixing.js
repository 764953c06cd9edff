// @ts-check
/** Mixing a bucket for sanitising: the label, what is wanted, and a jug drawn to scale. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { shown } from "../core/amounts.js";
import { uuid7 } from "../core/ids.js";
import { nowText } from "../store/clock.js";
import { cautionsRead, readCautions, readLastBottle, keepLastBottle } from "../store/preferences.js";
import { may } from "../store/may.js";
import { record } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { html, t } from "../ui/html.js";
import { Jug } from "../ui/jug.js";
import { today } from "../ui/local.js";
import { Page } from "../ui/page.js";
import { say, unitWords } from "../ui/sentence.js";
import { CautionList } from "./cautions.js";
import { AGES_DAYS, AgeQuestion, isStrong, LabelQuestion, VolumeQuestion, WantedQuestion, WhyQuestion } from "./mixing_questions.js";
import { answer, labelWords, ownUnit, reckon, usualMix, volumeWords, wantedWords } from "./mixing_draft.js";
import { tellTrouble } from "./walking.js";

const QUESTIONS = { label: LabelQuestion, age: AgeQuestion, wanted: WantedQuestion, volume: VolumeQuestion, why: WhyQuestion };

export function Mixing() {
  const [draft, setDraft] = useState(usualMix);
  const [asking, setAsking] = useState("label");
  const [bottle, setBottle] = useState(/** @type {any} */ (null));
  useEffect(() => formOpened(), []);
  useEffect(() => {
    readLastBottle().then(setBottle, tellTrouble);
  }, []);
  useEffect(() => scrollTo(0, 0), [asking]);
  if (cautionsRead.value !== today()) return html`<${FirstOfTheDay} />`;
  const found = reckon(draft);
  const take = (changes) => {
    const next = answer(draft, changes);
    setDraft(next);
    setAsking("");
  };
  const Question = QUESTIONS[asking];
  if (Question) {
    return html`<${Question} draft=${draft} bottle=${bottle} found=${found} onTake=${take}
      onLeave=${() => (draft.product_unit ? setAsking("") : history.back())} />`;
  }
  // Nothing so strong is read off and poured before somebody has said why.
  const unsaid = Boolean(found.mixed?.asks_why && !draft.why);
  const strong = isStrong(found.mixed);
  const save = async () => {
    if (unsaid) {
      setAsking("why");
      return;
    }
    const solution = uuid7();
    await record("solution_mixed", null, toRecord(solution, draft, found.mixed)).then(() => {
      keepLastBottle(draft, nowText()).catch(tellTrouble);
      location.replace(`#/tag/${solution}`);
    }, tellTrouble);
  };
  const notes = (level) => found.mixed?.warnings.filter((one) => one.level === level)
    .map((one) => html`<p key=${one.key} class=${level === "warn" ? "caution" : "quiet"}>${say(one)}</p>`);
  const foot = may("solution_mixed") && html`<button type="button" class="act main-act" disabled=${!found.mixed} onClick=${save}>
    <strong>${t(unsaid ? `mix.why_first.${strong ? "strong" : "much"}` : "mix.mixed")}</strong><span>${t(unsaid ? "mix.why_then" : "mix.good_for")}</span></button>`;
  return html`<${Page} name="mixing" title=${t("mix.title")} back="#/bench" foot=${foot}>
    <p class="caution grave">${t("mix.caution")} <a href="#/cautions/bleach">${t("mix.all_cautions")}</a></p>
    ${notes("warn")}
    ${unsaid ? html`<p class="large">${t("mix.why_hidden")}</p>` : found.mixed ? html`<${Pour} mixed=${found.mixed} unit=${draft.volume_unit} />` : html`<p class="error" role="alert">${found.readings ? t("mix.two_ways", { n: draft.wanted }) : found.says}</p>`}
    <div class="said-row">${["label", "age", "wanted", "volume"].map((name) => html`<${Said} key=${name} name=${name} draft=${draft} onAsk=${setAsking} />`)}</div>
    ${found.readings && html`<${Readings} readings=${found.readings} onTake=${take} />`}
    ${notes("note")}
    ${found.mixed && !unsaid && html`<${Steps} steps=${found.mixed.steps} />`}
  </${Page}>`;
}

/** The two volumes as the largest figures, water first. */
function Pour({ mixed, unit }) {
  const also = (name) => {
    const own = ownUnit(unit, mixed[`${name}_ml`]);
    return own && html`<small>${shown(mixed.in_units[own][name], 3)} ${unitWords(own)}</small>`;
  };
  return html`<section class="pour"><${Jug} ...${mixed} /><dl>
    <dt>${t("mix.first")}</dt><dd><strong>${figure(mixed.water_ml)}</strong> ${t("mix.water")} ${also("water")}</dd>
    <dt>${t("mix.then")}</dt><dd><strong>${figure(mixed.product_ml)}</strong> ${t("mix.from_bottle")} ${also("product")}</dd>
    <dt>${t("mix.gives", { volume: volumeWords(mixed.total_ml) })}</dt>
    <dd><b>${shown(mixed.ppm, 4)} ppm</b> ${t("mix.chlorine")}<br />${t("mix.share", { percent: shown(mixed.percent_by_volume, 3) })}</dd>
  </dl></section>`;
}

// What is poured from a measuring jug: whole millilitres, below 100 a tenth of one.
const figure = (ml) => `${shown(ml < 100 ? Math.round(ml * 10) / 10 : Math.round(ml), 7)} mL`;

/** What was said, and the way to say it otherwise. */
function Said({ name, draft, onAsk }) {
  const words = { label: labelWords, age: ageWords, wanted: wantedWords, volume: (one) => volumeWords(one) }[name](draft);
  return html`<button type="button" class="act said-box" onClick=${() => onAsk(name)}>
    <small>${t(name === "volume" ? `mix.${draft.method}` : `mix.said_${name}`)}</small><strong>${words}</strong></button>`;
}

function ageWords(draft) {
  const { bottle_age_days: days } = draft;
  if (days === null) return t("mix.age_unknown");
  return AGES_DAYS.includes(days) ? t(`mix.age_${days}`) : t("mix.age_days", { n: days });
}

/** Both readings of a bare ratio, to choose between. */
function Readings({ readings, onTake }) {
  return html`<section><h2>${t("mix.which_reading")}</h2>${readings.map((read) => html`<button type="button" key=${read.wanted_unit} class="act"
    disabled=${"refused" in read} onClick=${() => onTake({ wanted: read.wanted, wanted_unit: read.wanted_unit })}>
    <strong>${wantedWords(read)}</strong><small>${"refused" in read ? say(read.refused) : t("mix.reading", { product: figure(read.product_ml), water: figure(read.water_ml), ppm: shown(read.ppm, 4) })}</small></button>`)}</section>`;
}

function Steps({ steps }) {
  return html`<section><h2>${t("mix.steps")}</h2><ol class="steps">${steps.map((step) => html`<li key=${step}>${t(`mix.step.${step}`)}</li>`)}</ol></section>`;
}

/** Before the first mixing of a day the cautions are read. */
function FirstOfTheDay() {
  const foot = html`<button type="button" class="act main-act" onClick=${() => readCautions(today())}>
    <strong>${t("mix.read")}</strong><span>${t("mix.read_then")}</span></button>`;
  return html`<${Page} name="mixing" title=${t("mix.before")} back="#/bench" foot=${foot}><${CautionList} hazards=${["bleach"]} /></${Page}>`;
}

function toRecord(solution, draft, mixed) {
  const { product_strength, product_unit, wanted, wanted_unit, method, bottle_age_days, why } = draft;
  const round = (ml) => Math.round(ml * 10) / 10;
  return {
    solution, product_strength, product_unit, wanted, wanted_unit, method,
    bottle_age_days: bottle_age_days ?? undefined, why: why || undefined,
    volume_ml: round(mixed.total_ml), product_ml: round(mixed.product_ml), water_ml: round(mixed.water_ml),
    ppm: Math.round(mixed.ppm), percent_by_volume: Math.round(mixed.percent_by_volume * 100) / 100,
  };
}
