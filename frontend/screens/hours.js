// @ts-check
/** When the nursery works, and when nothing may ring: the owner sets it, everybody sees it. @module */
import { useState } from "../vendor/preact-hooks.js";
import { nursery } from "../store/house.js";
import { may } from "../store/may.js";
import { record } from "../store/record.js";
import { html, t } from "../ui/html.js";
import { Field } from "../ui/number.js";
import { Page } from "../ui/page.js";
import { plainNursery } from "./nursery.js";
import { tellTrouble } from "./walking.js";

// What holds until the owner has set something; the server's `working_time` has the same.
const USUAL = { work_from: "07:00", work_to: "16:00", quiet_from: "20:00", quiet_to: "06:00" };
const DAYS = [1, 2, 3, 4, 5, 6, 7];

/** The hours that hold for the nursery, set or usual. @param {any} row */
export const hoursOf = (row) => Object.fromEntries(Object.entries(USUAL).map(([name, usual]) => [name, row?.[name] || usual]));

/** "Mon–Sat, 07:00–16:00". @param {any} row */
function workInWords(row) {
  const { work_from, work_to } = hoursOf(row);
  return t("hours.is", { days: daysInWords(row?.working_days ?? []), from: work_from, to: work_to });
}

/** "work Mon–Sat, 07:00–16:00; quiet 20:00–06:00". @param {any} row */
export function hoursInWords(row) {
  const { quiet_from: from, quiet_to: to } = hoursOf(row);
  return t("hours.all", { work: workInWords(row), quiet: t("hours.span", { from, to }) });
}

/** Days that follow each other as a span, others one by one. @param {number[]} days in order */
function daysInWords(days) {
  const [first] = days;
  const last = days[days.length - 1];
  if (days.length > 2 && last - first === days.length - 1) return t("hours.span", { from: t(`day.${first}`), to: t(`day.${last}`) });
  return days.map((day) => t(`day.${day}`)).join(", ");
}

export function Hours() {
  const row = nursery();
  const owner = may("nursery_changed");
  if (!row) return html`<${Page} name="hours" title=${t("hours.title")} back="#/settings"><p class="large">${t("round.not_here_yet")}</p></${Page}>`;
  return owner ? html`<${Setting} row=${row} />` : html`<${Page} name="hours" title=${t("hours.title")} back="#/reminders"><${Told} row=${row} /></${Page}>`;
}

/** What holds, for whoever does not set it. */
function Told({ row }) {
  const { quiet_from, quiet_to } = hoursOf(row);
  return html`<section><h2>${t("hours.work")}</h2><p class="large">${workInWords(row)}</p><p>${t("hours.work_why")}</p></section>
    <section><h2>${t("hours.quiet")}</h2><p class="large">${t("hours.span", { from: quiet_from, to: quiet_to })}</p><p>${t("hours.quiet_why")}</p></section>
    <p>${t("hours.own")} ${t("hours.owner")}</p>`;
}

function Setting({ row }) {
  const [draft, setDraft] = useState(/** @type {any} */ ({}));
  const [error, setError] = useState("");
  const now = { ...row, ...hoursOf(row), ...draft };
  const set = (name) => (value) => setDraft({ ...draft, [name]: value });
  const works = (day) => {
    const days = now.working_days.includes(day) ? now.working_days.filter((one) => one !== day) : [...now.working_days, day];
    setDraft({ ...draft, working_days: days.sort() });
  };
  const save = async () => {
    const wrong = wrongIn(now);
    setError(wrong);
    if (wrong) return;
    await record("nursery_changed", null, { ...plainNursery(row), ...draft }).then(() => setDraft({}), tellTrouble);
  };
  const foot = Object.keys(draft).length > 0 && html`${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act main-act" onClick=${save}><strong>${t("settings.save")}</strong></button>`;
  const clock = (name, label) => html`<${Field} label=${label} type="time" value=${now[name]} onInput=${set(name)} />`;
  return html`<${Page} name="hours" title=${t("hours.title")} back="#/reminders" foot=${foot}>
    <section><h2>${t("hours.work")}</h2><div class="fields span">${clock("work_from", t("hours.from"))}${clock("work_to", t("hours.to"))}</div>
      <fieldset class="choice"><legend>${t("settings.working_days")}</legend><div class="answers days">${DAYS.map((day) => html`<button type="button" key=${day}
        class=${now.working_days.includes(day) ? "answer chosen" : "answer"} aria-pressed=${now.working_days.includes(day)} onClick=${() => works(day)}>${t(`day.${day}`)}</button>`)}</div></fieldset>
      <p class="quiet">${t("hours.work_why")}</p></section>
    <section><h2>${t("hours.quiet")}</h2><div class="fields span">${clock("quiet_from", t("hours.from"))}${clock("quiet_to", t("hours.to"))}</div>
      <p class="quiet">${t("hours.quiet_why")} ${t("hours.own")}</p></section>
  </${Page}>`;
}

/** What cannot be right of these hours, in words, or nothing. */
function wrongIn(now) {
  if (Object.keys(USUAL).some((name) => !now[name])) return t("error.clock");
  if (now.work_from >= now.work_to) return t("error.hours", { from: now.work_from });
  return now.working_days.length ? "" : t("error.days");
}
