// @ts-check
/** The seasonal lists: what is to be decided some time, and never rings. @module */
import { listed, one } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { subjectName, wayTo } from "../ui/alert_words.js";
import { when } from "../ui/local.js";
import { Page, Ways } from "../ui/page.js";

/** Every entry that nobody has left until later, the longest standing first. */
function entries() {
  return [...listed.value.values()].flat().filter((entry) => entry.state !== "shelved").sort((a, b) => (a.since < b.since ? -1 : 1));
}

/** The lists, by what they are about. */
export function Season() {
  const all = entries();
  const watches = [...new Set(all.map((entry) => entry.watch))].sort();
  return html`<${Page} name="season" title=${t("season.title")} back="#/alerts" foot=${html`<${Ways} here="alerts" />`}>
    <p>${t("season.why")}</p>
    ${!all.length && html`<p class="large">${t("season.none")}</p>`}
    ${watches.map((watch) => html`<${List} key=${watch} watch=${watch} here=${all.filter((entry) => entry.watch === watch)} />`)}
  </${Page}>`;
}

function List({ watch, here }) {
  return html`<section><h2>${t(`watch.${watch}`)}</h2><ul class="cards">${here.map((entry) => html`<li key=${entry.subject.id}>
    <a href=${wayTo(entry) ?? "#/alerts"}><strong>${subjectName(entry)}</strong> <span>${one("place", entry.place)?.name ?? ""}</span>
      <small>${rest(entry)}, ${t("alerts.since", { when: when(entry.since) })}. ${entry.next_action}.</small></a></li>`)}</ul></section>`;
}

/** What it says, without the name in front. */
const rest = (entry) => entry.says.split(": ").slice(1).join(": ") || entry.says;
