// @ts-check
/** More: what belongs to this phone, and the ways to everything that is set. @module */
import { useEffect } from "../vendor/preact-hooks.js";
import { contact, crops, nameMove, outboxCount, people, places, risks, rules, session, shared, trayCount } from "../store/house.js";
import { may } from "../store/may.js";
import { readRecorder, recorder, setRecorder, setShared, setTheme, theme, THEMES } from "../store/preferences.js";
import { offlineReady, takeOver, waiting } from "../store/updates.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Whose } from "../ui/only.js";
import { Page, Ways } from "../ui/page.js";
import { riskWords } from "./risks.js";
import { tellTrouble } from "./walking.js";

const SHARED = "shared";

export function Settings() {
  useEffect(() => void readRecorder(), []);
  const unsent = trayCount.value ? t("saved.tray", { n: trayCount.value }) : outboxCount.value ? t("saved.here", { n: outboxCount.value }) : t("saved.none");
  const ways = [
    ["#/unsent", t("settings.unsent"), unsent],
    ["#/frost", t("frost.title"), t("frost.what")],
    ["#/morning", t("settings.morning"), t("settings.morning_what")],
    ["#/calendar", t("calendar.title"), t("calendar.what")],
    ["#/reminders", t("reminders.title"), t("reminders.what")],
    ["#/nursery", t("settings.nursery"), t("settings.nursery_what")],
    ...(nameMove.value ? [["#/move", t("move.way", nameMove.value), t("move.way_what", nameMove.value)]] : []),
    ["#/people", t("people.title"), t(may("POST /api/v1/pairings") ? "people.what" : "people.what_seen", { n: people().length })],
    ["#/passphrase", t("signin.own"), t(session.value?.has_passphrase ? "signin.is_set" : "signin.not_set")],
    ["#/places", t("settings.places"), t("settings.n_places", { n: places().length })],
    ["#/crops", t("settings.crops"), t("settings.n_crops", { n: crops().length })],
    ["#/watches", t("settings.watches"), t("settings.n_watches", { n: rules().length })],
  ];
  return html`<${Page} name="settings" title=${t("settings.title")} foot=${html`<${Ways} here="more" />`}>
    ${waiting.value && html`<button type="button" class="act main-act" onClick=${takeOver}><strong>${t("app.switch")}</strong><span>${t("app.new_version")}</span></button>`}
    ${contact.value.time_doubted && session.value?.role === "owner" && html`<a class="left" href="#/unsent">${t("contact.time_doubted_short")}</a>`}
    ${risks.value.map((one) => html`<a key=${one.kind} class="left" href="#/unsent">${riskWords(one)}</a>`)}
    ${may("looked") ? html`<${Choice} names name=${t("settings.who")} answers=${[...people().filter(({ role }) => role !== "viewer").map((one) => [one.id, one.name]), [SHARED, t("settings.shared")]]}
      value=${shared.value ? SHARED : recorder.value ?? undefined} onChoose=${(id) => void (id === SHARED ? setShared(true) : setRecorder(id ?? null)).catch(tellTrouble)} />
    ${shared.value ? html`<p class="quiet">${t("settings.shared_what")}</p>` : !recorder.value && html`<p class="quiet">${t("settings.nobody")}</p>`}` : html`<${Whose} what="looked" />`}
    <ul class="cards">${ways.map(([href, name, what]) => html`<li key=${href}><a href=${href}><strong>${name}</strong><small>${what}</small></a></li>`)}</ul>
    <${Choice} name=${t("settings.theme")} answers=${THEMES.map((one) => [one, t(`settings.theme.${one}`)])} value=${theme.value} onChoose=${(one) => setTheme(one ?? "auto")} />
    <p class="quiet">${t(offlineReady.value ? "settings.offline" : "settings.not_offline")}</p>
  </${Page}>`;
}
