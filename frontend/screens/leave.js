// @ts-check
/** Leaving an alert until later: never without an end, never without a reason. @module */
import { useEffect, useRef, useState } from "../vendor/preact-hooks.js";
import { HOUR_MS, localDate, localInstant, localTime, nextDay, toMs, toText } from "../core/instants.js";
import { now, nursery } from "../store/house.js";
import { recordAll } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { aimOf } from "../ui/alert_words.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Field } from "../ui/number.js";
import { offerUndo, tellTrouble } from "./walking.js";
import { when } from "../ui/local.js";

// From this hour on "this evening" is too near to be an answer of its own. Ours.
const EVENING_FROM = "15:30";
const EVENING = "17:30";
const MORNING = "07:00";
const SOON_HOURS = 2;
const WHYS = ["ordered", "waiting", "weather", "planned"];

/** @param {{findings: any[], onDone: () => void}} props */
export function Leave({ findings, onDone }) {
  const [choice, setChoice] = useState(/** @type {string | undefined} */ (undefined));
  const [day, setDay] = useState("");
  const [why, setWhy] = useState("");
  const [error, setError] = useState("");
  const here = useRef(/** @type {HTMLElement | null} */ (null));
  useEffect(() => {
    here.current?.scrollIntoView({ block: "start" });
    return formOpened();
  }, []);
  const offsets = nursery()?.offsets ?? [];
  const [today, hour] = [localDate(toMs(now.value), offsets), localTime(toMs(now.value), offsets)];
  const at = (date, time) => toText(localInstant(date, time, offsets));
  const tomorrow = nextDay(today);
  const ends = {
    soon: toText(toMs(now.value) + SOON_HOURS * HOUR_MS),
    ...(hour < EVENING_FROM ? { evening: at(today, EVENING) } : {}),
    morning: at(tomorrow, MORNING),
    date: day >= tomorrow ? at(day, MORNING) : undefined,
  };
  const until = choice && ends[choice];
  const save = async () => {
    const missing = !why.trim() ? "error.why" : !until ? "error.until" : "";
    setError(missing && t(missing));
    if (missing) return;
    const drafts = findings.map(aimOf).map(({ lot, data }) => ({ kind: "shelved", lot, data: { ...data, until, why: why.trim() } }));
    await recordAll(drafts).then((events) => {
      offerUndo(events, { label: t("act.shelved") }, [when(until)]);
      onDone();
    }, tellTrouble);
  };
  return html`<div class="leave" ref=${here}>
    <${Choice} name=${t("alerts.until")} answers=${Object.keys(ends).map((key) => [key, t(`alerts.until.${key}`)])} value=${choice} onChoose=${setChoice} />
    ${choice === "date" && html`<${Field} label=${t("alerts.until.which")} type="date" value=${day} onInput=${setDay} />`}
    <${Choice} name=${t("alerts.why")} answers=${WHYS.map((word) => [t(`why.${word}`), t(`why.${word}`)])} value=${why} onChoose=${(word) => setWhy(word ?? "")} />
    <${Field} label=${t("alerts.why_own")} value=${why} onInput=${setWhy} />
    ${error && html`<p class="error" role="alert">${error}</p>`}
    <div class="row"><button type="button" class="act" onClick=${onDone}>${t("act.cancel")}</button>
      <button type="button" class="act main-act" onClick=${save}><strong>${t("alerts.leave_now")}</strong>${until && html`<span>${when(until)}</span>`}</button></div></div>`;
}
