// @ts-check
/** Alerts, the gravest first: taken on, or left until a time for a reason. @module */
import { useState } from "../vendor/preact-hooks.js";
import { findings, lots, now, nursery, one } from "../store/house.js";
import { localInstant, localDate, nextDay, toMs, toText, DAY_MS } from "../core/instants.js";
import { record } from "../store/record.js";
import { Flag } from "../ui/flag.js";
import { html, t } from "../ui/html.js";
import { Field } from "../ui/number.js";
import { Page, Ways } from "../ui/page.js";
import { when } from "../ui/when.js";

const LEVELS = ["alarm", "late", "due"];

export function Alerts() {
  const all = [...findings.value.values()].flat().filter((one) => !one.hidden_by);
  const shown = all.sort((a, b) => a.priority - b.priority || (a.since < b.since ? -1 : 1));
  return html`<${Page} name="alerts" title=${t("alerts.title")} foot=${html`<${Ways} here="alerts" />`}>
    ${shown.length === 0 && html`<p class="quiet">${t("alerts.none")}</p>`}
    ${LEVELS.map((level) => {
      const here = shown.filter((one) => one.level === level);
      return here.length > 0 && html`<section key=${level}><h2 class=${`level level-${level}`}><${Flag} level=${level} />${t("level.count", { n: here.length, level: t(`level.${level}`) })}</h2>
        ${here.map((one) => html`<${One} key=${`${one.watch}${one.subject.id}`} finding=${one} />`)}</section>`;
    })}
  </${Page}>`;
}

function One({ finding }) {
  const [leaving, setLeaving] = useState(false);
  const { subject } = finding;
  const lot = subject.kind === "lot" ? lots.value.get(subject.id) : null;
  const aim = { watch: finding.watch, ...(lot ? {} : { [subject.kind]: subject.id }) };
  const have = () => record("acknowledged", lot?.id ?? null, aim);
  const place = lot?.place ? one("place", lot.place)?.name : null;
  return html`<article class="alert">
    <p>${finding.says}${place && ` · ${place}`}<br /><small>${t("alerts.since", { when: when(finding.since) })}</small></p>
    <p class="next">${finding.next_action}.</p>
    ${finding.state === "acknowledged" && html`<p class="answered">${t("alerts.taken", { when: when(finding.acknowledged_at) })}</p>`}
    ${finding.state === "shelved" && html`<p class="answered">${t("alerts.left", { when: when(finding.shelved_until), why: finding.shelved_why ?? "" })}</p>`}
    ${leaving ? html`<${Leave} lot=${lot} aim=${aim} onDone=${() => setLeaving(false)} />` : html`<div class="row">
      ${lot && html`<a class="act" href=${`#/lot/${lot.id}`}>${t("alerts.open_lot")}</a>`}
      ${finding.state === "open" && html`<button type="button" class="act" onClick=${have}>${t("alerts.have")}</button>`}
      ${finding.state !== "shelved" && html`<button type="button" class="act" onClick=${() => setLeaving(true)}>${t("alerts.leave")}</button>`}
    </div>`}
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
      setError(t("error.needed", { field: t("alerts.why") }));
      return;
    }
    await record("shelved", lot?.id ?? null, { ...aim, until: morning(days), why });
    onDone();
  };
  return html`<div class="leave"><${Field} label=${t("alerts.why")} value=${why} onInput=${setWhy} error=${error} />
    <div class="row">${[1, 2, 7].map((days) => html`<button type="button" class="act" onClick=${() => leave(days)}>
      ${days === 1 ? t("alerts.tomorrow") : t("alerts.days", { n: days })}</button>`)}
      <button type="button" class="act" onClick=${onDone}>${t("act.cancel")}</button></div></div>`;
}
