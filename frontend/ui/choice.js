// @ts-check
/** A question with a few answers side by side; nothing is preset. @module */
import { html, t } from "./html.js";

/**
 * @param {{name: string, answers: [any, string][], value: any, onChoose: (value: any) => void,
 *   big?: boolean, names?: boolean}} props a second tap on an answer takes it back; `names`: people typed them,
 *   at any length
 */
export function Choice({ name, answers, value, onChoose, big = false, names = false }) {
  const choose = (answer) => onChoose(answer === value ? undefined : answer);
  return html`<fieldset class=${big ? "choice big" : names ? "choice names" : "choice"}>
    <legend>${name}</legend>
    <div class="answers" data-count=${answers.length}>${answers.map(([answer, words]) => html`<button type="button"
      class=${answer === value ? "answer chosen" : "answer"} aria-pressed=${answer === value}
      onClick=${() => choose(answer)}>${words}</button>`)}</div>
  </fieldset>`;
}

/** One thing that was done, or not. @param {{words: string, on: boolean, onToggle: (on: boolean) => void}} props */
export function Toggle({ words, on, onToggle }) {
  return html`<button type="button" class=${on ? "answer chosen" : "answer"} aria-pressed=${on} onClick=${() => onToggle(!on)}>${words}</button>`;
}

const ROOTS = [0, 1, 10, 25, 50];

/** The answers to the questions of a look. @returns {[string, [any, string][]]} */
export function answersTo(field, seed) {
  const list = (values, key) => /** @type {[any, string][]} */ (values.map((value) => [value, t(`${key}.${value}`)]));
  if (field === "moisture") return [t("ask.moisture"), list([1, 2, 3, 4, 5], "moisture")];
  if (field === "fungus") return [t(seed ? "ask.mould" : "ask.damping"), list(["none", "spots", "spreading"], "fungus")];
  if (field === "sprouted_percent") return [t("ask.roots"), list(ROOTS, "roots")];
  if (field === "health") return [t("ask.health"), list([1, 2, 3, 4, 5], "health")];
  return [t("ask.root_fill"), list([1, 2, 3, 4, 5], "root_fill")];
}
