// @ts-check
/** Leaving an alert until later: never without an end, never without a reason. @module */
import { useEffect, useRef, useState } from "../vendor/preact-hooks.js";
import { leftAtMost } from "../core/answers.js";
import { HOUR_MS, localDate, localInstant, localTime, nextDay, toMs, toText } from "../core/instants.js";
import { now, nursery } from "../store/house.js";
import { recordAll } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { aimOf } from "../ui/alert_words.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { useInView } from "../ui/in_view.js";
import { Field } from "../ui/number.js";
import { offerUndo, tellTrouble } from "./walking.js";
import { when } from "../ui/local.js";

// From this hour on "this evening" is too near to be an answer of its own. Ours.
const EVENING_FROM = "15:30";
const EVENING = "17:30";
const MORNING = "07:00";
const SOON_HOURS = 2;
const WHYS = ["ordered", "waiting", "weather", "planned"];

/** @param {{findings: any[], what: string, onDone: () => void}} props `what` they say, in one sentence */
export function Leave({ findings, what, onDone }) {
  const [choice, setChoice] = useState(/** @type {string | undefined} */ (undefined));
  const [day, setDay] = useState("");
  const [why, setWhy] = useState("");
  const [wrong, setWrong] = useState(/** @type {{words: string} | null} */ (null));
  const way = useInView(wrong);
  const here = useRef(/** @type {HTMLElement | null} */ (null));
  useEffect(() => {
    here.current?.scrollIntoView({ block: "start" });
    return formOpened();
  }, []);
  const offsets = nursery()?.offsets ?? [];
  const [today, hour] = [localDate(toMs(now.value), offsets), localTime(toMs(now.value), offsets)];
  const at = (date, time) => toText(localInstant(date, time, offsets));
  const tomorrow = nextDay(today);
  const most = mostOf(findings);
  const free = {
    soon: toText(toMs(now.value) + SOON_HOURS * HOUR_MS),
    ...(hour < EVENING_FROM ? { evening: at(today, EVENING) } : {}),
    morning: at(tomorrow, MORNING),
    date: day >= tomorrow ? at(day, MORNING) : undefined,
  };
  // What is most urgent is offered no end beyond the time to respond; the record holds to that too.
  const ends = most === null ? free
    : { ...Object.fromEntries(Object.entries(free).filter(([, end]) => end && end < most)), most };
  const until = choice && ends[choice];
  const save = async () => {
    const missing = !why.trim() ? "error.why" : !until ? "error.until" : "";
    setWrong(missing ? { words: t(missing) } : null);
    if (missing) return;
    const drafts = findings.map(aimOf).map(({ lot, data }) => ({ kind: "shelved", lot, data: { ...data, until, why: why.trim() } }));
    await recordAll(drafts).then((events) => {
      offerUndo(events, { label: t("act.shelved") }, [when(until)]);
      onDone();
    }, tellTrouble);
  };
  return html`<div class="leave" ref=${here}>
    <p><strong>${what}</strong></p>
    ${most !== null && html`<p class="caution">${mostWords(findings, most)}</p>`}
    <${Choice} name=${t("alerts.until")} answers=${Object.keys(ends).map((key) => [key, t(`alerts.until.${key}`)])} value=${choice} onChoose=${setChoice} />
    ${choice === "date" && html`<${Field} label=${t("alerts.until.which")} type="date" value=${day} onInput=${setDay} />`}
    <${Choice} name=${t("alerts.why")} answers=${WHYS.map((word) => [t(`why.${word}`), t(`why.${word}`)])} value=${why} onChoose=${(word) => setWhy(word ?? "")} />
    <${Field} label=${t("alerts.why_own")} value=${why} onInput=${setWhy} />
    ${wrong && html`<p class="error" role="alert">${wrong.words}</p>`}
    <div class="row" ref=${way}><button type="button" class="act" onClick=${onDone}>${t("act.cancel")}</button>
      <button type="button" class="act main-act" onClick=${save}><strong>${t("alerts.leave_now")}</strong>${until && html`<span>${when(until)}</span>`}</button></div></div>`;
}

/** Until when these may be left at most, or null where nothing bounds it. */
function mostOf(findings) {
  const bounds = findings.map(({ priority, rises_at: rises }) => leftAtMost(priority, rises ? [toMs(rises)] : [], toMs(now.value)));
  const known = bounds.filter((bound) => bound !== null);
  return known.length ? toText(Math.min(...known)) : null;
}

function mostWords(findings, most) {
  const [first] = findings.filter((finding) => finding.rises_at === most);
  const key = !first ? "alerts.most_worst" : first.watch === "frost-tonight" ? "alerts.most_frost" : "alerts.most_worse";
  return t(key, { when: when(most) });
}
