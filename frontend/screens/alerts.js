// @ts-check
/** Alerts, the gravest first: taken on, or left until a time for a reason. @module */
import { useState } from "../vendor/preact-hooks.js";
import { localInstant, localDate, nextDay, toMs, toText, DAY_MS } from "../core/instants.js";
import { findings, lots, now, nursery, one, person } from "../store/house.js";
import { record } from "../store/record.js";
import { html, t } from "../ui/html.js";
import { Field } from "../ui/number.js";
import { tellTrouble } from "./walking.js";
import { Flag, Page, Ways } from "../ui/page.js";
import { when } from "../ui/local.js";

const LEVELS = ["alarm", "late", "due"];
const SHOWN_FIRST = 20;

export function Alerts() {
  const [most, setMost] = useState(SHOWN_FIRST);
  const shown = [...findings.value.values()].flat().filter((finding) => !finding.hidden_by)
    .sort((a, b) => LEVELS.indexOf(a.level) - LEVELS.indexOf(b.level) || a.priority - b.priority || (a.since < b.since ? -1 : 1));
  return html`<${Page} name="alerts" title=${t("alerts.title")} foot=${html`<${Ways} here="alerts" />`}>
    ${shown.length === 0 && html`<p class="large">${t("alerts.none")}</p>`}
    ${LEVELS.map((level) => {
      const n = shown.filter((finding) => finding.level === level).length;
      const here = shown.slice(0, most).filter((finding) => finding.level === level);
      return here.length > 0 && html`<section key=${level}><h2 class=${`level level-${level}`}><${Flag} level=${level} />${t("level.count", { n, level: t(`level.${level}`) })}</h2>
        ${here.map((finding) => html`<${One} key=${`${finding.watch}${finding.subject.id}`} finding=${finding} />`)}</section>`;
    })}
    ${shown.length > most && html`<button type="button" class="act" onClick=${() => setMost(most + SHOWN_FIRST)}>${t("alerts.more", { n: shown.length - most })}</button>`}
  </${Page}>`;
}

function One({ finding }) {
  const [leaving, setLeaving] = useState(false);
  const { subject } = finding;
  const lot = subject.kind === "lot" ? lots.value.get(subject.id) : null;
  const aim = { watch: finding.watch, ...(lot ? {} : { [subject.kind]: subject.id }) };
  const have = () => record("acknowledged", lot?.id ?? null, aim).catch(tellTrouble);
  const place = lot?.place ? one("place", lot.place)?.name : null;
  const words = html`<strong>${finding.says}.</strong> <small>${[place, t("alerts.since", { when: when(finding.since) })].filter(Boolean).join(", ")}</small>`;
  const waysTo = { place: (id) => `#/walk/${encodeURIComponent(id)}`, solution: (id) => `#/tag/${id}` };
  const goes = lot ? `#/lot/${lot.id}` : waysTo[subject.kind]?.(subject.id) ?? null;
  return html`<article class="alert">
    ${goes ? html`<a class="alert-words" href=${goes}>${words}</a>` : html`<p>${words}</p>`}
    <p>${finding.next_action}.</p>
    ${finding.state === "acknowledged" && html`<p class="answered">${t("alerts.taken", { who: person(finding.acknowledged_by) ?? t("alerts.someone"), when: when(finding.acknowledged_at) })}</p>`}
    ${finding.state === "shelved" && html`<p class="answered">${t("alerts.left", { when: when(finding.shelved_until), why: finding.shelved_why ?? "" })}</p>`}
    ${leaving ? html`<${Leave} lot=${lot} aim=${aim} onDone=${() => setLeaving(false)} />` : finding.state !== "shelved" && html`<div class="row">
      ${finding.state === "open" && html`<button type="button" class="act" onClick=${have}>${t("alerts.have")}</button>`}
      <button type="button" class="act" onClick=${() => setLeaving(true)}>${t("alerts.leave")}</button></div>`}
  </article>`;
}

/** Until when, and why. */
function Leave({ lot, aim, onDone }) {
  const [why, setWhy] = useState("");
  const [error, setError] = useState("");
  const offsets = nursery()?.offsets ?? [];
  const morning = (days) => {
    const day = nextDay(localDate(toMs(now.value) + (days - 1) * DAY_MS, offsets));
    return toText(localInstant(day, "07:00", offsets));
  };
  const leave = async (days) => {
    if (!why.trim()) {
      setError(t("error.why"));
      return;
    }
    await record("shelved", lot?.id ?? null, { ...aim, until: morning(days), why: why.trim() }).then(onDone, tellTrouble);
  };
  return html`<div class="leave"><${Field} label=${t("alerts.why")} value=${why} onInput=${setWhy} error=${error} />
    <div class="row">${[1, 2, 7].map((days) => html`<button type="button" key=${days} class="act" onClick=${() => leave(days)}>
      ${days === 1 ? t("alerts.tomorrow") : t("alerts.days", { n: days })}</button>`)}
      <button type="button" class="act" onClick=${onDone}>${t("act.cancel")}</button></div></div>`;
}
