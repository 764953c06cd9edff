// @ts-check
/**
 * The questions that matter, one at a time and always in the same region: a lot that rings, or that
 * had spots, offers nothing to save until they are answered. Nothing is preset.
 * @module
 */
import { answersTo, Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { isSeed, questions, saidOf, sentence } from "../ui/lot_words.js";
import { answer, draft } from "./walking.js";

/** One question with its answers. @param {{lot: any, field: string}} props */
export function Question({ lot, field }) {
  const [name, answers] = answersTo(field, isSeed(lot));
  return html`<${Choice} key=${field} name=${name} answers=${answers} value=${draft.value[field]} big=${true}
    onChoose=${(value) => answer(field, value)} />`;
}

/** What has been answered so far; a touch asks it again. @param {{lot: any}} props */
export function Answered({ lot }) {
  const said = questions(lot).filter((field) => draft.value[field] !== undefined);
  if (!said.length) return null;
  return html`<section class="answered-so-far"><h3>${t("walk.you_said")}</h3>
    <div class="answers">${said.map((field) => html`<button type="button" key=${field} class="answer" onClick=${() => answer(field, undefined)}>
      <strong>${sentence(saidOf({ [field]: draft.value[field] }, lot)[0])}</strong><small>${t("walk.change")}</small></button>`)}</div>
  </section>`;
}
