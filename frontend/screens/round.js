// @ts-check
/** The round: places in walking order, what waits in each, the worst thing in one sentence. @module */
import { all, bornEmpty, contact, groups, listed, looksOn, mustAsk, mustMove, nameMove, night, now, nursery, person, places, ready, risks, saidToRecord, session, shared, tenderOut, trayCount } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { allShown, allTaken, stops } from "../ui/to_see.js";
import { Flag, Flags, levelCount, Page, Tick, Ways } from "../ui/page.js";
import { age, clock, dayOf, inDegrees, isOldForecast, today, when } from "../ui/local.js";

const LEVELS = ["alarm", "late", "due"];
const WEEKDAYS = "Sunday Monday Tuesday Wednesday Thursday Friday Saturday".split(" ");

/** The morning's screen. */
export function Round() {
  if (!ready.value) return html`<${Page} title=${t("app.name")} name="round"><p class="quiet">${t("app.starting")}</p></${Page}>`;
  const path = stops();
  const foot = html`<${AtRisk} />${looksOn() ? null : path.length ? html`<${Walk} path=${path} />` : html`<${First} />`}<${Ways} here="round" />`;
  return html`<${Page} name="round" title=${WEEKDAYS[new Date(today()).getUTCDay()]} foot=${foot}>
    ${session.value?.demo && html`<p class="demo">${t("app.demo")}</p>`}
    ${mustMove() && html`<a class="left" href="#/move">${t("move.way", nameMove.value)}</a>`}
    <${Weather} />
    <${Recording} />
    ${trayCount.value > 0 && html`<a class="act" href="#/unsent"><strong>${t("saved.tray", { n: trayCount.value })}</strong></a>`}
    ${path.length ? html`<${Worst} path=${path} /><${Frost} /><${Counts} /><${Left} /><ol class="path">${path.map((stop, index) => html`<${Stop}
      key=${stop.place.id} stop=${stop} number=${index + 1} />`)}</ol><${Season} />` : html`<${Nothing} />`}
  </${Page}>`;
}

/** That this phone is let in no more, or its records are at risk: the gravest in a line, what to do one touch away. */
function AtRisk() {
  if (contact.value.state === "signed-out") return html`<a class="left" href="#/unsent">${t("round.cut_off")}</a>`;
  const [worst] = risks.value.filter(({ kind, waits }) => kind !== "evictable" || waits);
  if (!worst) return null;
  return html`<a class="left" href="#/unsent">${t(worst.waits ? "risk.evictable_waits" : `risk.${worst.kind}`, { ...worst, when: worst.since ? when(worst.since) : "" })}</a>`;
}

const degreesShown = (celsius) => `${Math.round(inDegrees(celsius) * 10) / 10}`.replace("-", "−");

/** Last night's low and tonight's, with the age of a figure, or that there is none; nothing where nothing is asked. */
function Weather() {
  const read = [...places(), nursery()].map((row) => row?.last_read ?? {});
  const lows = read.map((one) => one.temp_min_c).filter((one) => one && dayOf(one.at) === today());
  const low = lows.sort((a, b) => a.value - b.value)[0];
  // By the sun, as the frost page and the watch go; it comes once worked out.
  const tonight = night.value?.figure;
  const missing = !tonight && night.value && tenderOut.value > 0;
  if (!low && !tonight && !missing) return null;
  return html`<a class="weather" href="#/frost">
    ${low && html`<span>${t("round.last_night", { value: "" })}<strong>${degreesShown(low.value)}°</strong></span>`}
    ${tonight && html`<span>${t("round.tonight", { value: "" })}<strong>${degreesShown(tonight.value)}°</strong>${" "} <small>${t(isOldForecast(tonight.at) ? "round.age_old" : "round.age", { age: age(tonight.at) })}</small></span>`}
    ${missing && html`<span>${noFigure()}</span>`}
  </a>`;
}

/** That nobody knows tonight's low, with the last figure of a night before and its age. */
function noFigure() {
  const { last } = night.value;
  return last ? t("round.no_figure_last", { value: `${degreesShown(last.value)}°`, age: age(last.at) }) : t("round.no_figure");
}

/** On a shared phone: who records this round, as was said, and the way to say it is somebody else. */
function Recording() {
  if (!shared.value || mustAsk.value || saidToRecord.value === undefined) return null;
  const who = person(saidToRecord.value);
  return html`<a class="recording" href="#/who"><span>${who ? t("who.records", { who }) : t("who.nobody_records")}</span><u>${t("who.change")}</u></a>`;
}

/** The worst thing, in one sentence. */
function Worst({ path }) {
  const shown = allShown();
  if (!shown.length) {
    const n = path.reduce((sum, stop) => sum + stop.toSee.length, 0);
    return html`<p class="worst well">${n ? t("round.all_well", { n }) : t("round.rest")}</p>`;
  }
  const [worst] = shown;
  const [name, ...rest] = worst.says.split(": ");
  const words = rest.length ? html`<strong>${name}:</strong> ${rest.join(": ")}` : html`<strong>${name}</strong>`;
  return html`<a class="worst" href=${worst.lot ? `#/lot/${worst.lot}` : isFrost(worst) ? "#/frost" : "#/alerts"}>
    <${Flag} level=${worst.level} />
    <p>${words}.</p>
  </a>`;
}

/** Frost and covers have a list of their own: one touch away while something stands. */
function Frost() {
  const found = [...allShown(), ...allTaken()].filter(isFrost);
  const first = found.find(({ watch }) => watch !== "cover-left-on") ?? found[0];
  if (!first || first === allShown()[0]) return null;
  const who = person(first.acknowledged_by) ?? t("alerts.nobody_named");
  const said = first.state === "open" ? first.says : t("round.had", { what: first.says, who });
  return html`<a class="worst" href="#/frost"><${Flag} level=${first.level} /><p>${said}.</p></a>`;
}

const isFrost = ({ watch }) => watch.startsWith("frost-") || watch === "cover-left-on";

/** How many entries of each level stand, and the way to them; they come once the phone has worked them out. */
function Counts() {
  const open = (groups.value ?? []).filter((one) => one.state !== "shelved");
  if (!allShown().length && !open.length) return null;
  const counts = LEVELS.map((level) => [level, open.filter((one) => one.level === level).length]).filter(([, n]) => n);
  const said = counts.map(([level, n]) => levelCount(level, n)).join(", ");
  return html`<a class="act counts" href="#/alerts" aria-label=${said ? t("round.all_of", { counts: said }) : t("round.all")}>
    ${counts.length ? html`<${Flags} findings=${open} />` : t("round.all")}</a>`;
}

/** How many lots the seasonal lists name; they never ring. */
function Season() {
  const n = listed.value.size;
  return n > 0 && html`<a class="act" href="#/season"><strong>${t("season.n", { n })}</strong><small>${t("season.never_rings")}</small></a>`;
}

/** What somebody left until later: it must not be forgotten, so it is said here, with its end and its reason. */
function Left() {
  const left = (groups.value ?? []).filter((one) => one.state === "shelved").map((one) => ({ ...one.findings[0], more: one.findings.length - 1 }));
  if (!left.length) return null;
  const [first] = left.sort((a, b) => (a.shelved_until < b.shelved_until ? -1 : 1));
  const what = first.more ? t("round.and_more", { what: first.says, n: first.more }) : first.says;
  const one = { when: when(first.shelved_until), what, why: first.shelved_why ?? "" };
  return html`<a class="left" href="#/alerts">${left.length === 1 ? t("round.left_one", one) : t("round.left_many", { n: left.length, when: one.when })}</a>`;
}

function Stop({ stop, number }) {
  const { place, toSee, shown, closed } = stop;
  const done = closed && !toSee.length;
  return html`<li class=${done ? "stop done" : "stop"}>
    <a href=${`#/walk/${encodeURIComponent(place.id)}`}>
      <span class="peg">${done ? html`<${Tick} />` : number}</span>
      <span class="stop-words"><strong>${place.name}</strong>
        ${shown.length ? html`<${Flags} findings=${shown} />` : html`<small>${under(stop)}</small>`}
        ${place.enter_after > now.value && html`<strong class="level-alarm">${t("place.closed_until", { when: when(place.enter_after) })}</strong>`}</span>
      ${toSee.length > 0 && html`<span class="stop-count"><b>${toSee.length}</b> ${t("round.to_see")}</span>`}
    </a></li>`;
}

function under({ lots, toSee, closed, place }) {
  const skipped = place.closed_skipped?.length;
  if (closed) return t(skipped ? "round.skipped" : "round.closed", { time: clock(closed), n: skipped });
  if (!lots.length) return t("round.nothing_here");
  return toSee.length ? t("level.none") : t("round.seen");
}

function Walk({ path }) {
  const first = path.find((stop) => stop.toSee.length) ?? path.find((stop) => stop.lots.length);
  if (!first) return null;
  const n = path.reduce((sum, stop) => sum + stop.toSee.length, 0);
  const under_ = n ? t("round.from", { place: first.place.name, n }) : t("round.walk_again");
  return html`<a class="act main-act" href=${`#/walk/${encodeURIComponent(first.place.id)}`}>
    <strong>${t("round.walk")}</strong><span>${under_}</span></a>`;
}

/** What to do first in an empty nursery. */
function Nothing() {
  if (bornEmpty.value && !all("nursery").length) return html`<p class="large">${t("round.not_here_yet")}</p>`;
  return html`<section class="empty"><h2>${t("round.empty_title")}</h2><p>${t("round.empty")}</p>
    ${!nursery()?.name && session.value?.role === "owner" && html`<a class="act" href="#/nursery"><strong>${t("round.name_nursery")}</strong><small>${t("settings.nursery_what")}</small></a>`}
    ${!looksOn() && html`<a class="act" href="#/add"><strong>${t("round.add_lot")}</strong></a>`}</section>`;
}

/** The first act of all, where the walk's button will be. */
const First = () => nursery() && html`<a class="act main-act" href="#/places"><strong>${t("round.add_place")}</strong></a>`;
