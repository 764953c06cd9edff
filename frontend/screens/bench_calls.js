// @ts-check
/** Calling from the bench: ringing at a time that has come, and a calendar file that rings later. @module */
import { calendar } from "../core/icalendar.js";
import { nowText } from "../store/clock.js";
import { one } from "../store/house.js";
import { ring, setBadge } from "../ui/attention.js";
import { benchRows, nextTime, SHORT } from "../ui/bench_rows.js";
import { t } from "../ui/html.js";
import { saveFile } from "./save_file.js";

const SECOND_MS = 1000;
/** What has been rung for on this page already, by step and time. @type {Set<string>} */
const rung = new Set();
let watching = false;

/** From the first sight of the bench on, call for every time that comes, whatever screen is open. */
export function watchTimes() {
  if (watching) return;
  watching = true;
  attend();
  setInterval(attend, SECOND_MS);
}

/** Ring for every time that has come and has not rung, and show how many have on the icon. */
function attend() {
  const now = nowText();
  const rows = benchRows().filter((row) => SHORT.includes(row.kind));
  const due = rows.flatMap((row) => [row.target_at, row.limit_at].filter((time) => time && time <= now)
    .map((time) => `${row.event}|${time}`));
  if (due.some((key) => !rung.has(key))) ring();
  for (const key of due) rung.add(key);
  setBadge(rows.filter((row) => row.target_at && row.target_at <= now).length);
}

/** Hand the phone's own calendar a file with an alarm for each row's next time (RFC 5545). */
export function calendarFile(rows, now) {
  const entries = rows.map((row) => ({
    // The same step keeps its id, so that a second file moves the entry and does not double it.
    uid: `${row.event}-${row.lot.id}@lathhouse`,
    starts_at: nextTime(row, now),
    summary: t("bench.entry", { label: row.lot.label, crop: one("protocol", row.lot.crop)?.botanical ?? row.lot.crop, what: t(`bench.kind.${row.kind}`) }),
    description: t(`bench.go.${row.next[0].join("+")}`),
    url: `${location.origin}/#/lot/${row.lot.id}`,
  }));
  saveFile("lathhouse-bench.ics", calendar("Lathhouse", entries, now), "text/calendar");
}
