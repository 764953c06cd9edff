// @ts-check
/**
 * Who has it? Asked once, where nobody is named on this phone. A shared phone remembers the answer for
 * this round; another while the app is open.
 * @module
 */
import { signal } from "../vendor/signals.js";
import { mustAsk, people, saidToRecord, shared } from "../store/house.js";
import { nameRecorder, readRecorder, recorder } from "../store/preferences.js";
import { html, t } from "../ui/html.js";
import { tellTrouble } from "./walking.js";

/** Who said so last: a person's id, null for nobody, undefined before anybody was asked. */
const said = signal(/** @type {string | null | undefined} */ (undefined));
const takesOn = ({ role }) => role !== "viewer";

/**
 * For whom "I have it" is recorded: undefined leaves it to who is named on this phone.
 * @param {boolean} over it is taken over from somebody, so who said so last may be just that one
 * @returns {Promise<{ask: boolean, by: string | null | undefined}>}
 */
export async function whoHas(over = false) {
  if (shared.value) return { ask: mustAsk.value, by: undefined };
  await readRecorder();
  if (recorder.value || !people().some(takesOn)) return { ask: false, by: undefined };
  return { ask: said.value === undefined || over, by: said.value };
}

/** Whether a finding is with whoever holds this phone, as far as that is known; it may be. */
export function isMine({ state, acknowledged_by: by }) {
  const me = shared.value ? saidToRecord.value : recorder.value;
  return state === "acknowledged" && (!me || by === me);
}

/** Whether it may be with somebody else than whoever holds this phone. */
export function isOthers({ state, acknowledged_by: by }) {
  const me = shared.value ? saidToRecord.value : recorder.value;
  return state === "acknowledged" && (!me || by !== me);
}

/** Whether nobody is known who could give a finding back in their own name. */
export function nobodyNamed() {
  return !(shared.value ? saidToRecord.value : recorder.value);
}

/** @param {{legend?: string, onSay: (person: string | null | undefined) => void, onLeave: () => void}} props */
export function WhoHas({ legend = t("alerts.who"), onSay, onLeave }) {
  const say = (person) => () => {
    if (shared.value) return void nameRecorder(person).then(() => onSay(undefined), tellTrouble);
    said.value = person;
    return onSay(person);
  };
  const listed = people().filter(takesOn).sort((one, other) => one.name.localeCompare(other.name));
  return html`<fieldset class="choice who-has"><legend>${legend}</legend>
    <div class="answers">${listed.map((person) => html`<button type="button" key=${person.id} class="answer" onClick=${say(person.id)}>${person.name}</button>`)}</div>
    <div class="row"><button type="button" class="act" onClick=${onLeave}>${t("act.cancel")}</button>
      <button type="button" class="act" onClick=${say(null)}>${t("alerts.who_nobody")}</button></div></fieldset>`;
}
