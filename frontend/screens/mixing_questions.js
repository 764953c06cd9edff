// @ts-check
/** The questions of a mixing, one on a screen: what the label says, its age, what is wanted, how much. @module */
import { ASKS_WHY_PPM } from "../core/mixing_warnings.js";
import { useState } from "../vendor/preact-hooks.js";
import { nowText } from "../store/clock.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Keypad } from "../ui/keypad.js";
import { isUs } from "../ui/local.js";
import { Field } from "../ui/number.js";
import { Page } from "../ui/page.js";
import { say, unitWords } from "../ui/sentence.js";
import { agedBottle, labelWords, volumeWords } from "./mixing_draft.js";

// Strengths that stand on bottles, to be tapped rather than typed. Common practice, no source.
const STRENGTHS = {
  g_per_l_available_chlorine: [40, 42, 50, 125],
  percent_available_chlorine: [4, 5, 5.25, 12.5],
  percent_sodium_hypochlorite_w_w: [5.25, 6, 8.25, 12.5],
  ppm_available_chlorine: [40_000, 50_000],
};
export const AGES_DAYS = [30, 90, 180, 365];
const WANTED = {
  percent_by_volume: [10, 15, 20], ppm: [5000, 6000, 8000], percent_available_chlorine: [0.5, 0.6, 1],
  part_in_n: [7, 10, 20], part_to_n: [6, 9, 10], ratio: [6, 10],
};

/** @typedef {{draft: any, bottle?: any, found?: any, onTake: (changes: any) => void, onLeave: () => void}} Asked */

/** A question's frame: its words, a way back without an answer. */
function Question({ title, onLeave, foot, children }) {
  return html`<${Page} name="question" title=${title} foot=${html`${foot}<button type="button" class="act" onClick=${onLeave}>${t("act.cancel")}</button>`}>${children}</${Page}>`;
}

/** A unit among several; once chosen it alone is shown, so that the figures come to the thumb. */
function Units({ name, units, value, onChoose }) {
  const [open, setOpen] = useState(!value);
  const choose = (unit) => {
    if (unit) onChoose(unit);
    setOpen(false);
  };
  if (open || !value) return html`<${Choice} name=${name} answers=${units} value=${value || undefined} onChoose=${choose} />`;
  return html`<button type="button" class="act said-box" onClick=${() => setOpen(true)}>
    <small>${name} · ${t("walk.change")}</small><strong>${units.find(([key]) => key === value)?.[1]}</strong></button>`;
}

/** Answers in figures, and a keypad for any other. */
function Figures({ name, figures, unit, onTake }) {
  const [typed, setTyped] = useState(/** @type {string | null} */ (null));
  if (typed === null) {
    const answers = /** @type {[any, string][]} */ ([...figures.map((n) => [n, `${n.toLocaleString("en-AU")} ${unit}`]), ["other", t("mix.other")]]);
    return html`<${Choice} name=${name} answers=${answers} value=${undefined} onChoose=${(n) => (n === "other" ? setTyped("") : onTake(n))} />`;
  }
  return html`<section><h2>${name}</h2><${Keypad} label=${name} value=${typed} unit=${unit} onInput=${setTyped} />
    <button type="button" class="act main-act" disabled=${!(Number(typed) > 0)} onClick=${() => onTake(Number(typed))}><strong>${t("mix.take")}</strong></button></section>`;
}

/** What the bottle's label says; where it cannot be read, what to do instead. @param {Asked} props */
export function LabelQuestion({ bottle, onTake, onLeave }) {
  const [unit, setUnit] = useState("");
  const units = /** @type {[string, string][]} */ (Object.keys(STRENGTHS).map((one) => [one, t(`mix.unit.${one}`)]));
  const same = bottle && agedBottle(bottle, nowText());
  const take = (product_strength) => onTake({ product_strength, product_unit: unit, bottle_age_days: null });
  return html`<${Question} title=${t("mix.what_label")} onLeave=${onLeave}>
    ${!unit && html`<p>${t("mix.read_label")}</p>`}
    <${Units} name=${t("mix.label_gives")} units=${[...units, ["unknown", t("mix.cannot_read")]]} value=${unit} onChoose=${setUnit} />
    ${!unit && bottle && html`<section><h2>${t("mix.same_bottle")}</h2><button type="button" class="act" onClick=${() => onTake(same)}><strong>${labelWords(same)}</strong>
      <small>${same.bottle_age_days === null ? t("mix.same_age_unknown") : t("mix.same_age", { n: same.bottle_age_days })}</small></button></section>`}
    ${unit === "unknown" && html`<section class="refused" role="alert"><h2>${t("mix.not_guessed")}</h2><ul class="plain">
      ${["look", "strip", "fresh"].map((way) => html`<li key=${way}>${t(`mix.instead.${way}`)}</li>`)}</ul></section>`}
    ${STRENGTHS[unit] && html`<${Figures} key=${unit} name=${t("mix.how_strong")} figures=${STRENGTHS[unit]} unit=${t(`mix.sign.${unit}`)} onTake=${take} />`}
  </${Question}>`;
}

/** How old the bottle is. @param {Asked} props */
export function AgeQuestion({ onTake, onLeave }) {
  const answers = /** @type {[any, string][]} */ ([...AGES_DAYS.map((days) => [days, t(`mix.age_${days}`)]), [null, t("mix.age_unknown")]]);
  return html`<${Question} title=${t("mix.said_age")} onLeave=${onLeave}><p>${t("mix.age_why")}</p>
    <${Choice} name=${t("mix.how_old")} answers=${answers} value=${undefined} onChoose=${(days) => onTake({ bottle_age_days: days })} /></${Question}>`;
}

/** What strength is wanted, and in which way it is said. @param {Asked} props */
export function WantedQuestion({ draft, onTake, onLeave }) {
  const [unit, setUnit] = useState(draft.wanted_unit);
  const units = /** @type {[string, string][]} */ (Object.keys(WANTED).map((one) => [one, t(`mix.want.${one}`)]));
  return html`<${Question} title=${t("mix.said_wanted")} onLeave=${onLeave}>
    <${Units} name=${t("mix.said_in")} units=${units} value=${unit} onChoose=${setUnit} />
    <${Figures} key=${unit} name=${t("mix.how_strong")} figures=${WANTED[unit]} unit=${t(`mix.sign.${unit}`)} onTake=${(wanted) => onTake({ wanted, wanted_unit: unit })} />
  </${Question}>`;
}

/** How much, and whether that is the finished volume or water already drawn. @param {Asked} props */
export function VolumeQuestion({ draft, onTake, onLeave }) {
  const [method, setMethod] = useState(draft.method);
  const [unit, setUnit] = useState(draft.volume_unit);
  const units = isUs() ? ["us_gal", "us_cup", "us_fl_oz", "l"] : ["l", "ml", "us_gal", "imp_gal"];
  const figures = { l: [1, 2, 4, 5, 10], ml: [250, 500, 750], us_gal: [0.5, 1, 2, 5], us_cup: [2, 4, 8], us_fl_oz: [16, 32, 64], imp_gal: [0.5, 1, 2] }[unit];
  return html`<${Question} title=${t("mix.how_much")} onLeave=${onLeave}>
    <${Choice} name=${t("mix.volume_is")} answers=${["make_up_to", "add_to"].map((one) => [one, t(`mix.choose_${one}`)])} value=${method} onChoose=${(one) => one && setMethod(one)} />
    <${Units} name=${t("mix.measured_in")} units=${units.map((one) => [one, unitWords(one)])} value=${unit} onChoose=${setUnit} />
    <${Figures} key=${unit} name=${t("mix.how_much")} figures=${figures} unit=${unitWords(unit)} onTake=${(volume) => onTake({ volume, volume_unit: unit, method })} />
  </${Question}>`;
}

/** Whether it is the strength that asks for a reason; else it is how much. @param {any} mixed */
export const isStrong = (mixed) => mixed?.ppm > ASKS_WHY_PPM;

/** Why so strong, or so much: asked above the usual strengths, and above what a bench mixes in one go. @param {Asked} props */
export function WhyQuestion({ draft, found, onTake, onLeave }) {
  const [why, setWhy] = useState("");
  const strong = isStrong(found.mixed);
  const title = t(`mix.why.${strong ? "strong" : "much"}`);
  const foot = html`<button type="button" class="act main-act" disabled=${!why.trim()} onClick=${() => onTake({ why: why.trim() })}><strong>${t("mix.why_take")}</strong></button>`;
  return html`<${Question} title=${title} onLeave=${onLeave} foot=${foot}>
    ${found.mixed?.warnings.filter((one) => one.key === "above_usual").map((one) => html`<p class="caution grave">${say(one)}</p>`)}
    ${!strong && html`<p class="caution grave">${t("mix.really", { volume: volumeWords(draft) })}</p>`}
    <${Choice} name=${title} answers=${(strong ? ["recipe", "trial"] : ["tank", "buckets"]).map((one) => [t(`mix.why_${one}`), t(`mix.why_${one}`)])} value=${why || undefined} onChoose=${(one) => setWhy(one ?? "")} />
    <${Field} label=${t("mix.why_other")} value=${why} onInput=${setWhy} />
  </${Question}>`;
}
