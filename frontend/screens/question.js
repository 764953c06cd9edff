// @ts-check
/**
 * The questions that matter, one at a time and always in the same region: a lot that rings, or that
 * had spots, offers nothing to save until they are answered. Nothing is preset.
 * @module
 */
import { answersTo, Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { isSeed, questions, saidOf, sentence } from "../ui/lot_words.js";
import { UndoBar } from "./place_done.js";
import { answer, draft } from "./walking.js";

// So many answers stand in one row, and leave the region's second one free.
const IN_A_ROW = 3;

/**
 * One question with its answers. What was just saved stands below them where that is empty, so that
 * it hides nothing of the lot; else above them, so that no answer moves when it goes.
 * @param {{lot: any, field: string}} props
 */
export function Question({ lot, field }) {
  const [name, answers] = answersTo(field, isSeed(lot));
  const choice = html`<${Choice} key=${field} name=${name} answers=${answers} value=${draft.value[field]} big=${true}
    onChoose=${(value) => answer(field, value)} />`;
  if (answers.length > IN_A_ROW) return html`<${UndoBar} />${choice}`;
  return html`<div class="asked">${choice}<${UndoBar} /></div>`;
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
