// @ts-check
/**
 * Season words into dates for a hemisphere, a latitude and a height: twin of `domain/seasons.py`,
 * where the rule and its sources stand. No clock; a span's last day belongs to it.
 * @module
 */
import { DAY_MS, toMs, toText } from "./instants.js";

export const SEASONS = ["spring", "summer", "autumn", "winter"];
const PARTS = ["early", "mid", "late"];
const FIRST_MONTH = { north: 3, south: 9 };
const TROPIC_DEG = 23.44;
const DAYS_PER_DEGREE = 4;
const DAYS_PER_METRE = 4 / 121.92;
const BASE_LATITUDE_DEG = 40;
const MOVED_DAYS_MAX = 28;
const FIRST_YEAR = 1000;
const LAST_YEAR = 9900;
const MOVES = [1, 1, 1, 1, 1 / 3, -1 / 3, -1, -1, -1, -1, -1 / 3, 1 / 3];
const WORDS = /^(early|mid|late)?\s*(spring|summer|autumn|winter)?$/;
const MONTH_DAY = /^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$/;

const isNumber = (value) => typeof value === "number";
const instant = (day) => toMs(`${day}T00:00:00.000Z`);
const padded = (number, width) => String(number).padStart(width, "0");

/** `north` or `south`: what the owner said, else the side of the latitude, else south. */
export function hemisphereOf(place) {
  if (place.hemisphere === "north" || place.hemisphere === "south") return place.hemisphere;
  return isNumber(place.latitude_deg) && place.latitude_deg > 0 ? "north" : "south";
}

/** {rule, moved_days}: `own`, `none` (the tropics), `moved` or `months`. */
export function seasonRule(place) {
  if (ownStarts(place)) return { rule: "own", moved_days: 0 };
  const [latitude, height] = [place.latitude_deg, place.elevation_m];
  if (!isNumber(latitude)) return { rule: "months", moved_days: 0 };
  if (Math.abs(latitude) < TROPIC_DEG) return { rule: "none", moved_days: 0 };
  if (!isNumber(height)) return { rule: "months", moved_days: 0 };
  const whole = (Math.abs(latitude) - BASE_LATITUDE_DEG) * DAYS_PER_DEGREE + height * DAYS_PER_METRE;
  const moved = Math.max(-MOVED_DAYS_MAX, Math.min(MOVED_DAYS_MAX, halfUp(whole)));
  return { rule: moved ? "moved" : "months", moved_days: moved };
}

/** The owner's first days of spring to winter as `MM-DD`, or null unless all can be read. */
export function ownStarts(place) {
  const said = place.season_starts;
  if (said === null || typeof said !== "object") return null;
  const starts = SEASONS.map((season) => said[season]);
  if (!starts.every((one) => typeof one === "string" && MONTH_DAY.test(one) && isDay(`2001-${one}`))) return null;
  const falls = starts.filter((one, n) => starts[(n + 1) % 4] <= one).length;
  return falls === 1 ? starts : null;
}

/** The first and last third of the year that season words name, from early spring, 0; or null. */
export function readWords(words) {
  const ends = typeof words === "string" ? words.toLowerCase().split(" to ") : [];
  if (ends.length < 1 || ends.length > 2) return null;
  const found = ends.map((end) => WORDS.exec(end.trim()));
  if (!found.every(Boolean)) return null;
  const [, firstPart, begins] = /** @type {RegExpExecArray} */ (found[0]);
  const [, lastPart, last] = /** @type {RegExpExecArray} */ (found.at(-1));
  const first = begins || last;
  if (!first || !last) return null;
  const start = SEASONS.indexOf(first) * 3 + (firstPart ? PARTS.indexOf(firstPart) : 0);
  const end = SEASONS.indexOf(last) * 3 + (lastPart ? PARTS.indexOf(lastPart) : 2);
  return [start, end >= start ? end : end + 12];
}

/** {from, to} of the span that begins in this calendar year; null where there is none. */
export function seasonDates(words, year, place) {
  const thirds = readWords(words);
  if (!thirds || !foreseen(year, place)) return null;
  const spans = [year - 1, year, year + 1].map((cycle) => spanOf(thirds, cycle, place));
  return spans.find((span) => span.from.slice(0, 4) === padded(year, 4)) ?? null;
}

/** The first span of these words that is not over on this day. */
export function nextSpan(words, day, place) {
  const thirds = readWords(words);
  const year = Number(day.slice(0, 4));
  if (!thirds || !foreseen(year, place)) return null;
  for (let cycle = year - 2; cycle < year + 3; cycle += 1) {
    const span = spanOf(thirds, cycle, place);
    if (span.to >= day) return span;
  }
  return null;
}

/** The date so many days later. */
export function addDays(day, days) {
  return toText(instant(day) + days * DAY_MS).slice(0, 10);
}

function foreseen(year, place) {
  return FIRST_YEAR <= year && year <= LAST_YEAR && seasonRule(place).rule !== "none";
}

function spanOf([first, last], cycle, place) {
  return { from: startOf(first, cycle, place), to: addDays(startOf(last + 1, cycle, place), -1) };
}

/** The first day of a third; `cycle` is the year in which spring begins. */
function startOf(third, cycle, place) {
  const [year, within] = [cycle + Math.floor(third / 12), third % 12];
  const own = ownStarts(place);
  if (own) return ownStart(own, within, year);
  const month = FIRST_MONTH[hemisphereOf(place)] + within - 1;
  const day = `${padded(year + Math.floor(month / 12), 4)}-${padded((month % 12) + 1, 2)}-01`;
  return addDays(day, halfUp(seasonRule(place).moved_days * MOVES[within]));
}

function ownStart(own, third, cycle) {
  const season = Math.floor(third / 3);
  const [begins, ends] = [season, season + 1].map((n) => ownSeason(own, n, cycle));
  const length = (instant(ends) - instant(begins)) / DAY_MS;
  return addDays(begins, Math.floor((length * (third % 3)) / 3));
}

function ownSeason(own, season, cycle) {
  const day = own[season % 4];
  return `${padded(cycle + Math.floor(season / 4) + (day < own[0] ? 1 : 0), 4)}-${day}`;
}

function isDay(day) {
  const ms = instant(day);
  return Number.isFinite(ms) && toText(ms).slice(0, 10) === day;
}

const halfUp = (number) => Math.floor(number + 0.5);
