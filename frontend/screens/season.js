// @ts-check
/** The seasonal lists: what is to be decided some time, and never rings. @module */
import { listed, lots, one } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { subjectName, wayTo } from "../ui/alert_words.js";
import { sentence } from "../ui/lot_words.js";
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
    ${!all.length && html`<p class="large">${t("season.empty")}</p>`}
    ${watches.map((watch) => html`<${List} key=${watch} watch=${watch} here=${all.filter((entry) => entry.watch === watch)} />`)}
  </${Page}>`;
}

function List({ watch, here }) {
  return html`<section><h2>${t(`watch.${watch}`)}</h2><ul class="cards">${here.map((entry) => html`<li key=${entry.subject.id}>
    <a href=${wayTo(entry) ?? "#/alerts"}><span class="code">${subjectName(entry)}</span> <strong>${nameOf(entry)}</strong>
      <small>${one("place", entry.place)?.name ?? ""}</small>
      <span class="season-says">${sentence(rest(entry))}.</span> <strong class="season-act">${entry.next_action}.</strong></a></li>`)}</ul></section>`;
}

/** The kind, where it is a lot. */
const nameOf = ({ subject }) => {
  const lot = subject.kind === "lot" && lots.value.get(subject.id);
  return lot ? one("protocol", lot.crop)?.botanical ?? lot.crop : "";
};

/** What it says, without the name in front. */
const rest = (entry) => entry.says.split(": ").slice(1).join(": ") || entry.says;
