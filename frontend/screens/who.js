// @ts-check
/** Who is recording? On a shared phone, at the start of each round: one touch, or nobody named. @module */
import { mustAsk, people, saidToRecord } from "../store/house.js";
import { nameRecorder } from "../store/preferences.js";
import { html, t } from "../ui/html.js";
import { Page } from "../ui/page.js";
import { tellTrouble } from "./walking.js";

const records = ({ role }) => role !== "viewer";

/**
 * @param {{back?: string, place?: string, then?: () => void}} props `place`: asked before its walk, which then
 *   goes on; `then`: what waits for the answer, to be done once it is kept
 */
export function Who({ back = "#/", place, then }) {
  const listed = people().filter(records).sort((one, other) => one.name.localeCompare(other.name));
  const say = (person) => {
    nameRecorder(person).catch(tellTrouble).then(then);
    if (!place) location.hash = back;
  };
  const now = mustAsk.value ? undefined : saidToRecord.value;
  const foot = html`<button type="button" class="act round-act" onClick=${() => say(null)}>${t("who.nobody")}</button>`;
  return html`<${Page} name="who" title=${t("who.title")} side=${place} back=${back} foot=${foot}>
    <p class="quiet">${t("who.what")}</p>
    <div class="who-list">${listed.map((person) => html`<button type="button" key=${person.id} class=${person.id === now ? "act main-act round-act" : "act round-act"}
      aria-pressed=${person.id === now} onClick=${() => say(person.id)}><strong>${person.name}</strong></button>`)}</div>
  </${Page}>`;
}
