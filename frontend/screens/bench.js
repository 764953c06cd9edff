// @ts-check
/** The bench: every running soak, dip, drain, warm or cold spell, its time, and the way on. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { solutionState } from "../core/solutions.js";
import { nowText } from "../store/clock.js";
import { all, places } from "../store/house.js";
import { mayOpen } from "../store/may.js";
import { recordAll } from "../store/record.js";
import { calendarFile, watchTimes } from "./bench_calls.js";
import { denied, on, toggle, WAYS } from "../ui/attention.js";
import { benchRows, nextTime, SHORT } from "../ui/bench_rows.js";
import { BenchItem } from "./bench_item.js";
import { html, t } from "../ui/html.js";
import { Page, Ways } from "../ui/page.js";
import { UndoBar } from "./place_done.js";
import { offerUndo, tellTrouble } from "./walking.js";
import { degrees, inDegrees, when } from "../ui/local.js";

const SECOND_MS = 1000;

export function Bench() {
  const [now, setNow] = useState(nowText);
  // Only the picture is renewed each second: every time on it comes from what was recorded.
  useEffect(() => {
    watchTimes();
    const timer = setInterval(() => setNow(nowText()), SECOND_MS);
    return () => clearInterval(timer);
  }, []);
  const rows = benchRows();
  const short = rows.filter((row) => SHORT.includes(row.kind));
  const long = rows.filter((row) => !SHORT.includes(row.kind));
  const foot = html`<${UndoBar} /><div class="two">${mayOpen("start") && html`<a class="act main-act" href="#/start">${t("bench.start")}</a>`}
    <a class="act" href="#/mixing">${t("bench.mix")}</a></div><${Ways} here="bench" />`;
  return html`<${Page} name="bench" title=${t("bench.title")} foot=${foot}>
    ${!rows.length && html`<section class="empty"><h2>${t("bench.empty")}</h2><p>${t("bench.empty_how")}</p></section>`}
    <ul class="bench">${short.map((row) => html`<${BenchItem} key=${row.event} row=${row} now=${now} onGo=${go} />`)}</ul>
    <${Buckets} now=${now} />
    ${long.length > 0 && html`<section><h2>${t("bench.long")}</h2><ul class="bench">${long.map((row) => html`<${BenchItem} key=${row.event} row=${row} now=${now} onGo=${go} />`)}</ul></section>`}
    <${Chambers} />
    <${Calls} rows=${rows} now=${now} />
  </${Page}>`;
}

/** Go on to the next step, every record of it or none. */
async function go(lot, kinds, data = {}) {
  const drafts = kinds.map((kind) => ({ kind, lot: lot.id, data: data[kind] ?? {} }));
  await recordAll(drafts).then((events) => offerUndo(events, lot, kinds.map((kind) => t(`act.${kind}`))), tellTrouble);
}

/** The mixed buckets: what is in them, and how old. */
function Buckets({ now }) {
  const open = all("solution").filter((one) => one.mixed_at && !one.discarded_at).sort((a, b) => (a.mixed_at < b.mixed_at ? 1 : -1));
  if (!open.length) return null;
  return html`<section><h2>${t("bench.buckets")}</h2><ul class="cards">${open.slice(0, 6).map((bucket) => html`<li key=${bucket.id}><a href=${`#/tag/${bucket.id}`}>
      <strong>${t("bench.bucket", { ppm: bucket.ppm ?? "?" })}</strong><small>${t("bench.mixed", { when: when(bucket.mixed_at) })}</small>
      ${isOld(bucket, now) && html`<small class="error">${t("tag.old")}</small>`}</a></li>`)}</ul></section>`;
}

/** The fridges and propagators, each with its last temperature. */
function Chambers() {
  const found = places().filter((place) => place.kind === "chamber");
  if (!found.length) return null;
  return html`<section><h2>${t("fridge.title")}</h2><ul class="cards">${found.map((place) => html`<li key=${place.id}><a href=${`#/fridge/${encodeURIComponent(place.id)}`}>
    <strong>${place.name}</strong><small>${readWords(place.last_read?.temp_c)}</small></a></li>`)}</ul></section>`;
}

const readWords = (read) => (read ? `${inDegrees(read.value)} ${degrees()}, ${t("fridge.now", { when: when(read.at) })}` : t("fridge.never"));

const isOld = (bucket, now) => solutionState(bucket, now) === "old";

/** What this page can do to be noticed, what it cannot, and the calendar that can. */
function Calls({ rows, now }) {
  const timed = rows.filter((row) => nextTime(row, now));
  const button = (way) => html`<button type="button" key=${way} class=${on.value.includes(way) ? "answer chosen" : "answer"} aria-pressed=${on.value.includes(way)} onClick=${() => toggle(way)}>${t(`bench.${way}`)}</button>`;
  return html`<section><h2>${t("bench.noticed")}</h2>
    <div class="answers" data-count="4">${WAYS.map(button)}</div>
    ${denied.value.map((way) => html`<p key=${way} role="status">${t(`bench.no_${way}`)}</p>`)}
    <p class="quiet">${t("bench.cannot")}</p>
    <button type="button" class="act" disabled=${!timed.length} onClick=${() => calendarFile(timed, now)}><strong>${t("bench.calendar")}</strong><small>${t("bench.calendar_n", { n: timed.length })}</small></button>
    <a class="act" href="#/calendar"><strong>${t("calendar.title")}</strong><small>${t("calendar.always")}</small></a>
    <a class="act" href="#/reminders"><strong>${t("bench.reminders")}</strong><small>${t("bench.reminders_what")}</small></a></section>`;
}
