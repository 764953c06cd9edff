// @ts-check
/**
 * Who has it? Asked once, where nobody is named on this phone. A shared phone remembers the answer for
 * this round; another while the app is open.
 * @module
 */
import { signal } from "../vendor/signals.js";
import { mustAsk, people, shared } from "../store/house.js";
import { nameRecorder, readRecorder, recorder } from "../store/preferences.js";
import { html, t } from "../ui/html.js";
import { tellTrouble } from "./walking.js";

/** Who said so last: a person's id, null for nobody, undefined before anybody was asked. */
const said = signal(/** @type {string | null | undefined} */ (undefined));
const takesOn = ({ role }) => role !== "viewer";

/**
 * For whom "I have it" is recorded: undefined leaves it to who is named on this phone.
 * @returns {Promise<{ask: boolean, by: string | null | undefined}>}
 */
export async function whoHas() {
  if (shared.value) return { ask: mustAsk.value, by: undefined };
  await readRecorder();
  if (recorder.value || !people().some(takesOn)) return { ask: false, by: undefined };
  return { ask: said.value === undefined, by: said.value };
}

/** @param {{onSay: (person: string | null | undefined) => void, onLeave: () => void}} props */
export function WhoHas({ onSay, onLeave }) {
  const say = (person) => () => {
    if (shared.value) return void nameRecorder(person).then(() => onSay(undefined), tellTrouble);
    said.value = person;
    return onSay(person);
  };
  const listed = people().filter(takesOn).sort((one, other) => one.name.localeCompare(other.name));
  return html`<fieldset class="choice who-has"><legend>${t("alerts.who")}</legend>
    <div class="answers">${listed.map((person) => html`<button type="button" key=${person.id} class="answer" onClick=${say(person.id)}>${person.name}</button>`)}</div>
    <div class="row"><button type="button" class="act" onClick=${onLeave}>${t("act.cancel")}</button>
      <button type="button" class="act" onClick=${say(null)}>${t("alerts.who_nobody")}</button></div></fieldset>`;
}
