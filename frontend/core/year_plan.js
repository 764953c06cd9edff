// @ts-check
/**
 * A protocol laid over the year: twin of `domain/year_plan.py`, where the three ways are told.
 * No clock; dates are local, each a range [earliest, latest].
 * @module
 */
import { outdoorSeasons, SEASON_FOR } from "./outdoors.js";
import { nthStep, steps, target } from "./protocols.js";
import { addDays, nextSpan, seasonDates } from "./seasons.js";

export const WAYS = ["spring", "straight", "outdoors"];
const SOW_IN = "early to mid spring";
const CLEANING = ["extract", "dry"];
const CLEANING_DAYS_MAX = 7;
const HOURS_OF_A_DAY = 24;
const WITHOUT_MAXIMUM = 1.5;
const WINDOW_OF_TARGET = [0.5, 1.5];

const halfUp = (number) => Math.floor(number + 0.5);
const sum = (days, n) => days.reduce((total, one) => total + one[n], 0);
const later = (a, b) => (a > b ? a : b);
const isSpell = (step) => step.kind in SEASON_FOR;
const oneDay = (day) => (day ? { from: day, to: day } : null);
const stepBar = (step, starts, ends) => ({ kind: step.kind, step: step.step ?? null, starts, ends, optional: Boolean(step.optional) });
const bar = (kind, from, to) => ({ kind, step: null, starts: [from, to], ends: [from, to], optional: false });

/** [least, most] whole days that a step may take; nought where nothing is known. */
export function lasts(step) {
  const aim = target(step);
  if (CLEANING.includes(step.kind)) return aim === null ? [0, CLEANING_DAYS_MAX] : [halfUp(aim), halfUp(aim)];
  let least = step.min ?? aim;
  let most = step.max ?? aim;
  if (most === null && least !== null) most = least * WITHOUT_MAXIMUM;
  if (["soak", "scarify"].includes(step.kind)) {
    const share = step.kind === "scarify" || (step.target_hours ?? null) !== null ? HOURS_OF_A_DAY : 1;
    [least, most] = [least, most].map((one) => (one === null ? null : one / share));
  }
  const shortest = least === null || step.optional ? 0 : halfUp(least);
  return [shortest, Math.max(shortest, halfUp(most ?? 0))];
}

/** [least, most] days from sowing to seedlings, or null where nobody read them. */
export function emergenceDays(crop) {
  const step = nthStep("germinate", 1, crop);
  const aim = target(step);
  let [least, most] = [step?.min ?? null, step?.max ?? null];
  if (least === null || most === null) {
    if (aim === null) return null;
    [least, most] = WINDOW_OF_TARGET.map((share) => aim * share);
  }
  return [halfUp(least), halfUp(most)];
}

/** {way, bars, silent} of a crop from its collecting or its sowing on, or null: see the twin. */
export function planCrop(crop, start, place) {
  const way = start.way || "spring";
  const sown = oneDay(start.sown_on);
  const ahead = steps(crop).filter((step) => !["sow", "germinate"].includes(step.kind) && !(way === "outdoors" && isSpell(step)));
  const collected = collectedIn(crop, start, place, sum(ahead.map(lasts), 0));
  if (!collected && !sown) return null;
  const bars = collected ? [bar("collect", collected.from, collected.to)] : [];
  bars.push(...treatment(ahead, collected, sown, way === "spring" ? place : null));
  if (way === "outdoors") return outdoors(crop, bars, place);
  const found = emergenceDays(crop);
  if (found) {
    const [earliest, latest] = bars[bars.length - 1].starts;
    bars.push({
      kind: "germinate",
      step: nthStep("germinate", 1, crop).step ?? null,
      starts: [addDays(earliest, found[0]), addDays(latest, found[0])],
      ends: [addDays(earliest, found[1]), addDays(latest, found[1])],
      optional: false,
    });
  }
  return { way, bars, silent: [] };
}

/** The bars of steps done one after the other, the first begun within `starts`. */
export function chain(ahead, starts) {
  const bars = [];
  let [earliest, latest] = starts;
  for (const step of ahead) {
    const [least, most] = lasts(step);
    const ends = [addDays(earliest, least), addDays(latest, most)];
    bars.push(stepBar(step, [earliest, latest], ends));
    [earliest, latest] = ends;
  }
  return bars;
}

/** The bars of the steps and of the sowing; `place` where spring is waited for. */
function treatment(ahead, collected, sown, place) {
  const days = ahead.map(lasts);
  const [least, most] = [sum(days, 0), sum(days, 1)];
  const first = !collected && sown
    ? [addDays(sown.from, -most), addDays(sown.from, -least)] : [collected.from, collected.to];
  const waits = ahead.some((step) => isSpell(step) && !step.optional);
  const ready = addDays(first[0], least);
  const window = sown ?? (place && waits ? nextSpan(SOW_IN, ready, place) : null);
  if (!window) {
    const bars = chain(ahead, first);
    const [earliest, latest] = bars.length ? bars[bars.length - 1].ends : first;
    return [...bars, bar("sow", earliest, latest)];
  }
  const sow = [later(window.from, ready), later(window.to, ready)];
  return [...timed(ahead, days, first, sow), bar("sow", sow[0], sow[1])];
}

/** The steps so that the last one ends at sowing; clean seed waits dry until then. */
function timed(ahead, days, first, sow) {
  const bars = [];
  const treated = ahead.findIndex((step) => !CLEANING.includes(step.kind));
  const cleaned = treated < 0 ? ahead.length : treated;
  ahead.forEach((step, n) => {
    const soonest = addDays(first[0], sum(days.slice(0, n), 0));
    if (n < cleaned) {
      const latest = addDays(first[1], sum(days.slice(0, n), 1));
      bars.push(stepBar(step, [soonest, latest], [addDays(soonest, days[n][0]), addDays(latest, days[n][1])]));
      return;
    }
    const begins = later(soonest, addDays(sow[0], -sum(days.slice(n), 1)));
    const starts = [begins, later(begins, addDays(sow[1], -sum(days.slice(n), 0)))];
    if (n > cleaned) bars[bars.length - 1].ends = starts;
    bars.push(stepBar(step, starts, sow));
  });
  return bars;
}

/** Add what the seasons do to seed sown within the last bar, at its earliest and its latest. */
function outdoors(crop, bars, place) {
  const wanted = steps(crop).filter((step) => isSpell(step) && !step.optional);
  const kinds = wanted.map((step) => step.kind);
  const [first, last] = bars[bars.length - 1].starts.map((day) => outdoorSeasons(kinds, day, place));
  if (!first || !last) return null;
  wanted.forEach((step, n) => {
    const [one, other] = [first.spells[n], last.spells[n]];
    bars.push(stepBar(step, [one.from, other.from], [one.to, other.to]));
  });
  if (first.shows && last.shows) {
    const [starts, ends] = [[first.shows.from, last.shows.from], [first.shows.to, last.shows.to]];
    bars.push({ kind: "germinate", step: null, starts, ends, optional: false });
  }
  return { way: "outdoors", bars, silent: last.silent };
}

/** When it is collected: as said, in its season, or in the last season before sowing. */
function collectedIn(crop, start, place, least) {
  if (start.collected_on) return oneDay(start.collected_on);
  const words = crop.harvest_season;
  if ((start.collect_year ?? null) !== null) return seasonDates(words, start.collect_year, place);
  if (!start.sown_on) return null;
  const by = addDays(start.sown_on, -least);
  const year = Number(by.slice(0, 4));
  const spans = [seasonDates(words, year, place), seasonDates(words, year - 1, place)];
  const found = spans.find((span) => span && span.from <= by);
  return found ? { from: found.from, to: found.to < by ? found.to : by } : null;
}
