// @ts-check
/** What is back to normal: fetched when asked for, since a phone keeps only what stands. @module */
import { useState } from "../vendor/preact-hooks.js";
import { person } from "../store/house.js";
import { alertsPast } from "../store/server.js";
import { wayTo } from "../ui/alert_words.js";
import { html, t } from "../ui/html.js";
import { whoWords } from "../ui/who_words.js";
import { when } from "../ui/local.js";

const DAYS = 7;

export function Past() {
  const [past, setPast] = useState(/** @type {any} */ (null));
  const [missing, setMissing] = useState(false);
  const fetch = () => alertsPast(DAYS).then((found) => {
    setPast(found);
    setMissing(false);
  }, (error) => {
    console.info("past alerts:", error.message);
    setMissing(true);
  });
  return html`<section><h2>${t("alerts.past", { n: DAYS })}</h2>
    ${missing && html`<p class="quiet">${t("alerts.past_offline")}</p>`}
    ${past ? html`${past.alerts.length === 0 && html`<p>${t("alerts.past_none")}</p>`}
      <ol class="looks">${past.alerts.map((alert) => html`<${Over} key=${alert.id} alert=${alert} />`)}</ol>
      ${past.more && html`<p class="quiet">${t("alerts.past_more")}</p>`}`
      : html`<button type="button" class="act" onClick=${fetch}>${t("alerts.past_show")}</button>`}
  </section>`;
}

/** One that is over, with what became of it: raised, taken on, left, cleared. */
function Over({ alert }) {
  const goes = wayTo(alert);
  return html`<li>${goes ? html`<a class="alert-words" href=${goes}><strong>${alert.says}</strong></a>` : html`<p><strong>${alert.says}</strong></p>`}
    <ol class="steps-past">${alert.history.map((step, index) => html`<li key=${index}><small>${when(step.at)}</small> ${wordsOf(step, levelBefore(alert.history, index))}</li>`)}</ol></li>`;
}

/** The level that stood before a step. */
const levelBefore = (history, index) => history.slice(0, index).findLast((step) => step.level)?.level;

function wordsOf({ what, by, by_said: said, level, to }, before) {
  const who = whoWords(by, said);
  if (what === "raised") return t("past.raised", { level: t(`level.${level}`) });
  if (what === "handed_on") return t("past.handed_on", { who: person(to) ?? t("reminders.a_phone") });
  if (level && level === before) return t("past.pressing");
  if (level) return t("past.rose", { level: t(`level.${level}`) });
  return t(who ? `past.${what}_by` : `past.${what}`, { who });
}
