// @ts-check
/** A lot's stage: day N of the protocol's range, what comes next, and the time line. @module */
import { HOUR_MS, toMs } from "../core/instants.js";
import { limits, nextStep, progress } from "../core/protocols.js";
import { now, one } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { sentence, stageWords, stepWords } from "../ui/lot_words.js";
import { date, dayOf, when } from "../ui/local.js";

// Nobody soaks by the day.
const HOURLY = ["soak", "sanitise", "drained"];

/** @param {{lot: any}} props */
export function LotStage({ lot }) {
  const crop = one("protocol", lot.crop);
  const here = progress(lot, crop, now.value);
  const next = ["potted", "seedlings", "closed"].includes(lot.stage) ? null : nextStep(lot, crop);
  return html`<section><h2>${sentence(stageWords(lot))}</h2>
    <p>${ran(lot, here)}${rangeOf(lot, crop)}${!HOURLY.includes(lot.stage) && here.total_days != null && here.total_days !== here.day ? `, ${t("lot.total", { n: here.total_days })}` : ""}</p>
    <p>${t("lot.stands", { place: one("place", lot.place)?.name ?? t("add.no_place") })}</p>
    ${lot.emerged && html`<p>${t("lot.emerged", { n: lot.emerged.count, m: lot.emerged.out_of })}, ${when(lot.emerged.at)}</p>`}
    ${next && html`<p>${t("lot.next_step", { step: stepWords(next) })}</p>`}
    <${TimeLine} lot=${lot} />
    ${crop && html`<a class="act" href=${`#/crop/${lot.crop}`}>${t("lot.protocol", { crop: crop.botanical })}</a>`}
  </section>`;
}

/** How long the stage has run: "day 12", or "40 h" of what is counted in hours. */
function ran(lot, here) {
  if (!HOURLY.includes(lot.stage) || !lot.stage_since) return t("lot.day", { n: here.day ?? "?" });
  return t("lot.hours", { n: Math.floor((toMs(now.value) - toMs(lot.stage_since)) / HOUR_MS) });
}

/** " of 60–90 days", of the spell that the lot is in. */
function rangeOf(lot, crop) {
  if (!["warm", "cold", "soak"].includes(lot.stage)) return "";
  const nth = lot.spells.filter((spell) => spell.kind === lot.stage).length || 1;
  const range = limits(lot.stage, nth, crop);
  if (lot.stage === "soak") return ` ${t("lot.range_hours", { n: range.target_hours, max: range.max_hours })}`;
  if (range.longest_days == null) return "";
  const { min_days: min, longest_days: max } = range;
  return ` ${min != null ? t("lot.range", { min, max }) : t("lot.range_to", { max })}`;
}

/** What it went through, one after another. */
function TimeLine({ lot }) {
  const marks = lot.spells.filter((spell) => spell.kind !== "drained")
    .map((spell) => [t(`lot.stage.${spell.kind}`), spell.started_at, spell.ended_at ?? "now"]);
  if (lot.started_at) marks.push([t("act.lot_started"), lot.started_at, null]);
  if (lot.sown) marks.push([t("lot.stage.sown"), lot.sown.at, null]);
  if (lot.first_emerged_at) marks.push([t("lot.first_up"), lot.first_emerged_at, null]);
  if (lot.potted_at) marks.push([stageWords(lot), lot.potted_at, null]);
  return html`<ol class="timeline">${marks.sort((a, b) => (a[1] < b[1] ? -1 : 1)).map(([name, from, to]) => html`<li>
    <strong>${sentence(name)}</strong> <span>${date(dayOf(from))}${to === "now" ? ` – ${t("lot.still")}` : to ? ` – ${date(dayOf(to))}` : ""}</span></li>`)}</ol>`;
}
