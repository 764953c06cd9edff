// @ts-check
/** A look in full: the questions that matter first, and everything else one tap further. @module */
import { useState } from "../vendor/preact-hooks.js";
import { answersTo, Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { isSeed, leadsTo, questions, saidOf } from "../ui/lot_words.js";
import { Field } from "../ui/number.js";

const NAMES = { fungus: "ask.mould", sprouted_percent: "ask.roots", moisture: "ask.moisture", health: "ask.health" };

/**
 * @param {{lot: any, must: boolean, undoBar: any, onSave: (said: any, also: any[]) => void,
 *   onSkip: () => void, onCancel: (() => void) | null, onBack: (() => void) | null}} props
 */
export function LookForm({ lot, must, undoBar, onSave, onSkip, onCancel, onBack }) {
  const [said, setSaid] = useState(/** @type {Record<string, any>} */ ({}));
  const [watered, setWatered] = useState(false);
  const [note, setNote] = useState("");
  const [temp, setTemp] = useState("");
  const set = (field) => (value) => setSaid({ ...said, [field]: value });
  const asked = questions(lot);
  const missing = must ? asked.find((field) => said[field] === undefined) : undefined;
  const celsius = temp === "" ? undefined : Number(temp.replace(",", "."));
  const wrong = celsius !== undefined && !(celsius >= -60 && celsius <= 60);
  const words = [...saidOf({ ...said, temp_c: celsius }, lot), ...(watered ? [t("say.watered")] : [])].join(", ");
  const save = () => onSave({ ...said, temp_c: celsius, note: note || undefined }, watered ? [["watered", {}]] : []);
  const nameOf = (field) => (field === "fungus" && !isSeed(lot) ? t("ask.damping") : t(NAMES[field]));
  const rest = lot.stage === "potted" || lot.stage === "seedlings" ? ["root_fill"] : [];
  return html`<form class="look" onSubmit=${(event) => event.preventDefault()}>
    ${[...asked, ...rest].map((field) => {
      const [name, answers] = answersTo(field, isSeed(lot));
      return html`<${Choice} key=${field} name=${name} answers=${answers} value=${said[field]}
        onChoose=${set(field)} big=${asked.includes(field)} />`;
    })}
    <fieldset class="choice"><legend>${t("ask.also")}</legend><div class="answers">
      <button type="button" class=${watered ? "answer chosen" : "answer"} aria-pressed=${watered} onClick=${() => setWatered(!watered)}>${t("also.watered")}</button>
      <button type="button" class=${said.turned ? "answer chosen" : "answer"} aria-pressed=${Boolean(said.turned)} onClick=${() => set("turned")(said.turned ? undefined : true)}>${t("also.turned")}</button>
      <button type="button" class=${said.picked_out ? "answer chosen" : "answer"} aria-pressed=${Boolean(said.picked_out)} onClick=${() => set("picked_out")((said.picked_out ?? 0) + 1)}>${t("also.picked")} ${said.picked_out ?? ""}</button>
    </div></fieldset>
    <div class="pair-fields">
      <${Field} label=${`${t("ask.temp")} °C`} value=${temp} inputmode="decimal" onInput=${setTemp}
        error=${wrong ? t("error.number", { field: t("ask.temp"), low: -60, high: 60 }) : ""} />
      <${Field} label=${t("ask.note")} value=${note} onInput=${setNote} />
    </div>
    <div class="row">
      ${onBack && html`<button type="button" class="act round-act" onClick=${onBack}>${t("walk.previous")}</button>`}
      ${onCancel && html`<button type="button" class="act round-act" onClick=${onCancel}>${t("act.cancel")}</button>`}
      <button type="button" class="act round-act" onClick=${onSkip}>${t("walk.skip")}</button>
    </div>
    <div class="look-foot">
      ${undoBar}
      <button type="button" class="act main-act round-act" disabled=${Boolean(missing) || wrong} onClick=${save}>
        <strong>${missing ? t("walk.answer_first", { what: nameOf(missing) }) : words ? t("save.button", { what: words }) : t("save.nothing")}</strong>
        <span>${missing ? words : leadsTo(said, lot)}</span></button>
    </div>
  </form>`;
}
