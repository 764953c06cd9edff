// @ts-check
/**
 * The turn of the year as watches reckon it: twin of `domain/winters.py`.
 * @module
 */
import { DAY_MS, localDate, localInstant, toMs } from "./instants.js";
import { roundHalfUp } from "./rule_terms.js";
import { addDays, ownStarts, seasonDates } from "./seasons.js";

const MIDWINTER = { south: "06-21", north: "12-21" };
const GROWTH = { south: ["09-01", "05-01"], north: ["03-01", "11-01"] };
const [SOLSTICE_DAYS, WINTER_DAYS] = [20, 92];
const PLAIN_YEAR = 2001;
const LAST_YEAR = 9998;
const TURNS_MAX = 100;

const dated = (year, monthDay) => `${String(year).padStart(4, "0")}-${monthDay}`;

/**
 * The month and day of the first day of growth, of the first day of rest, and of midwinter.
 * @param {any} place the nursery's row, or whatever names `season_starts` and `hemisphere`
 */
export function turns(place) {
  const own = ownStarts(place);
  const [rests, winter] = ["late autumn", "winter"].map((words) => (own ? seasonDates(words, PLAIN_YEAR, place) : null));
  if (own && rests && winter) {
    const [first, last] = [winter.from, winter.to].map((day) => toMs(`${day}T00:00:00.000Z`));
    const days = (last - first) / DAY_MS + 1;
    const deep = addDays(winter.from, roundHalfUp((days * SOLSTICE_DAYS) / WINTER_DAYS));
    return [own[0], rests.from.slice(5), deep.slice(5)];
  }
  const side = place.hemisphere === "north" ? "north" : "south";
  return [...GROWTH[side], MIDWINTER[side]];
}

/** The first date after a civil date that has this month and day. */
export function nextOn(day, monthDay) {
  const year = Number(day.slice(0, 4)) + (`${day.slice(0, 4)}-${monthDay}` > day ? 0 : 1);
  return year <= LAST_YEAR ? dated(year, monthDay) : null;
}

/** The local midnight that begins the nth midwinter day after the day of an instant, or null. */
export function nthMidwinter(startMs, nth, offsets, place) {
  const midwinter = turns(place)[2];
  const first = nextOn(localDate(startMs, offsets), midwinter);
  const year = first === null ? LAST_YEAR + 1 : Number(first.slice(0, 4)) + nth - 1;
  return year > LAST_YEAR ? null : localInstant(dated(year, midwinter), "00:00", offsets);
}

/** When `lengthMs` of the growing months have passed; the months of rest count nought. */
export function afterGrowingTime(startMs, lengthMs, offsets, place) {
  const [begins, rests] = turns(place);
  let [at, left] = [startMs, lengthMs];
  for (let turned = 0; turned < TURNS_MAX; turned += 1) {
    const day = localDate(at, offsets);
    const date = day.slice(5);
    const growing = begins < rests ? begins <= date && date < rests : !(rests <= date && date < begins);
    const turn = nextOn(day, growing ? rests : begins);
    if (turn === null) return null;
    const end = localInstant(turn, "00:00", offsets);
    if (growing && at + left <= end) return at + left;
    if (growing) left -= end - at;
    at = end;
  }
  return null;
}
