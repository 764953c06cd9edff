// @ts-check
/**
 * The turn of the year as watches reckon it: twin of `domain/winters.py`.
 * @module
 */
import { localDate, localInstant } from "./instants.js";

const MIDWINTER = { south: "06-21", north: "12-21" };
const GROWTH = { south: ["09-01", "05-01"], north: ["03-01", "11-01"] };
const LAST_YEAR = 9998;
const TURNS_MAX = 100;

const dated = (year, monthDay) => `${String(year).padStart(4, "0")}-${monthDay}`;

/** The first date after a civil date that has this month and day. */
export function nextOn(day, monthDay) {
  const year = Number(day.slice(0, 4)) + (`${day.slice(0, 4)}-${monthDay}` > day ? 0 : 1);
  return year <= LAST_YEAR ? dated(year, monthDay) : null;
}

/** The local midnight that begins the nth midwinter day after the day of an instant, or null. */
export function nthMidwinter(startMs, nth, offsets, hemisphere) {
  const first = nextOn(localDate(startMs, offsets), MIDWINTER[hemisphere]);
  const year = first === null ? LAST_YEAR + 1 : Number(first.slice(0, 4)) + nth - 1;
  return year > LAST_YEAR ? null : localInstant(dated(year, MIDWINTER[hemisphere]), "00:00", offsets);
}

/** When `lengthMs` of the growing months have passed; the months of rest count nought. */
export function afterGrowingTime(startMs, lengthMs, offsets, hemisphere) {
  const [begins, rests] = GROWTH[hemisphere];
  let [at, left] = [startMs, lengthMs];
  for (let turns = 0; turns < TURNS_MAX; turns += 1) {
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
