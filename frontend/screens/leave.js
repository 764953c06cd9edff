// @ts-check
/** Leaving an alert until later: never without an end, never without a reason. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { localInstant, localDate, nextDay, toMs, toText, DAY_MS } from "../core/instants.js";
import { now, nursery } from "../store/house.js";
import { recordAll } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { aimOf } from "../ui/alert_words.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Field } from "../ui/number.js";
import { offerUndo, tellTrouble } from "./walking.js";
import { when } from "../ui/local.js";

const DAYS = [1, 2, 3, 7, 14];
const WHYS = ["ordered", "waiting", "weather", "planned"];

/** @param {{findings: any[], onDone: () => void}} props */
export function Leave({ findings, onDone }) {
  const [days, setDays] = useState(/** @type {number | undefined} */ (undefined));
  const [why, setWhy] = useState("");
  const [error, setError] = useState("");
  useEffect(() => formOpened(), []);
  const offsets = nursery()?.offsets ?? [];
  const morning = (ahead) => toText(localInstant(nextDay(localDate(toMs(now.value) + (ahead - 1) * DAY_MS, offsets)), "07:00", offsets));
  const save = async () => {
    const missing = !why.trim() ? "error.why" : days === undefined ? "error.until" : "";
    setError(missing && t(missing));
    if (missing) return;
    const until = morning(days);
    const drafts = findings.map(aimOf).map(({ lot, data }) => ({ kind: "shelved", lot, data: { ...data, until, why: why.trim() } }));
    await recordAll(drafts).then((events) => {
      offerUndo(events, { label: t("act.shelved") }, [when(until)]);
      onDone();
    }, tellTrouble);
  };
  return html`<div class="leave">
    <${Choice} name=${t("alerts.why")} answers=${WHYS.map((word) => [t(`why.${word}`), t(`why.${word}`)])} value=${why} onChoose=${(word) => setWhy(word ?? "")} />
    <${Field} label=${t("alerts.why_own")} value=${why} onInput=${setWhy} />
    <${Choice} name=${t("alerts.until")} answers=${DAYS.map((n) => [n, n === 1 ? t("alerts.tomorrow") : t("alerts.days", { n })])} value=${days} onChoose=${setDays} />
    ${error && html`<p class="error" role="alert">${error}</p>`}
    <div class="row"><button type="button" class="act" onClick=${onDone}>${t("act.cancel")}</button>
      <button type="button" class="act main-act" onClick=${save}><strong>${t("alerts.leave_now")}</strong>${days !== undefined && html`<span>${when(morning(days))}</span>`}</button></div></div>`;
}
