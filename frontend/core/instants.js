// @ts-check
/**
 * Instants and local days: twin of `domain/instants.py`. An instant is whole milliseconds since
 * 1970, or canonical text such as `2026-05-01T08:00:00.000Z` whose order is time order.
 * @module
 */
export const MINUTE_MS = 60_000;
export const HOUR_MS = 60 * MINUTE_MS;
export const DAY_MS = 24 * HOUR_MS;
// What canonical text can say: the years 0001 to 9999.
export const FIRST_MS = -62_135_596_800_000;
export const LAST_MS = 253_402_300_799_999;
const WORKING_DAYS_MAX = 800;
const RFC3339 =
  /^(\d{4})-(\d\d)-(\d\d)[Tt](\d\d):(\d\d):(\d\d)(?:\.(\d+))?(?:[Zz]|([+-])(\d\d):(\d\d))$/;

/** The text is not an RFC 3339 date and time with its UTC offset. */
export class BadInstant extends Error {}

/**
 * The milliseconds since 1970 of an RFC 3339 time with offset.
 * @param {unknown} text
 * @throws {BadInstant} no offset, hour 24, a day that does not exist, or any other spelling; or
 *   outside the years 0001 to 9999 in UTC
 */
export function parseInstant(text) {
  const match = typeof text === "string" ? RFC3339.exec(text) : null;
  if (!match) throw new BadInstant(`not an RFC 3339 time with offset: ${text}`);
  const [year, month, day, hour, minute, second] = match.slice(1, 7).map(Number);
  const [fraction, sign, offHour, offMinute] = match.slice(7);
  const leap = second === 60;
  const offset = sign ? Number(offHour) * 60 + Number(offMinute) : 0;
  if (offset > 23 * 60 + 59 || (sign && Number(offMinute) > 59)) throw new BadInstant(`no such offset: ${text}`);
  const moment = new Date(0);
  moment.setUTCFullYear(year, month - 1, day);
  moment.setUTCHours(hour, minute, leap ? 59 : second);
  const same = moment.getUTCFullYear() === year && moment.getUTCMonth() === month - 1
    && moment.getUTCDate() === day && moment.getUTCHours() === hour
    && moment.getUTCMinutes() === minute && (leap || moment.getUTCSeconds() === second);
  if (!same || year < 1) throw new BadInstant(`no such time: ${text}`);
  let ms = moment.getTime() - offset * MINUTE_MS * (sign === "-" ? -1 : 1);
  if (leap) {
    if (((ms % DAY_MS) + DAY_MS) % DAY_MS !== DAY_MS - 1000) {
      throw new BadInstant(`a leap second falls on 23:59:60 UTC only: ${text}`);
    }
    ms += 1000;
  } else {
    ms += Number(`${fraction ?? ""}000`.slice(0, 3));
  }
  if (ms !== withinYears(ms)) throw new BadInstant(`outside the years 0001 to 9999 in UTC: ${text}`);
  return ms;
}

/** Canonical text of an instant. @param {number} ms */
export function toText(ms) {
  return new Date(ms).toISOString();
}

/** The milliseconds of canonical text (for our own records only). @param {string} text */
export function toMs(text) {
  return Date.parse(text);
}

/** The latest of the instants that are there. @param {...(string | null | undefined)} instants */
export function later(...instants) {
  let latest = null;
  for (const instant of instants) if (instant && (latest === null || instant > latest)) latest = instant;
  return latest;
}

/** The instant, or the first or last one that canonical text can say. @param {number} ms */
export function withinYears(ms) {
  return Math.min(Math.max(ms, FIRST_MS), LAST_MS);
}

/** Minutes east of UTC at an instant; before the table begins, its first row. */
export function offsetMinutes(ms, offsets) {
  if (!offsets.length) return 0;
  const text = toText(withinYears(ms));
  let minutes = offsets[0][1];
  for (const [from, value] of offsets) {
    if (from > text) break;
    minutes = value;
  }
  return minutes;
}

/** The site's civil date at an instant, as `YYYY-MM-DD`. */
export function localDate(ms, offsets) {
  return toText(withinYears(ms + offsetMinutes(ms, offsets) * MINUTE_MS)).slice(0, 10);
}

/** The site's wall-clock time at an instant, as `HH:MM`. */
export function localTime(ms, offsets) {
  return toText(withinYears(ms + offsetMinutes(ms, offsets) * MINUTE_MS)).slice(11, 16);
}

/** The instant of a local wall-clock time: the first of two; in a gap with the offset before it. */
export function localInstant(day, clock, offsets) {
  const naive = toMs(`${day}T${clock}:00.000Z`);
  const before = offsetMinutes(naive - DAY_MS, offsets);
  const after = offsetMinutes(naive + DAY_MS, offsets);
  for (const minutes of [before, after]) {
    if (offsetMinutes(naive - minutes * MINUTE_MS, offsets) === minutes) return naive - minutes * MINUTE_MS;
  }
  return naive - before * MINUTE_MS;
}

/** The civil date after `day`. @param {string} day */
export function nextDay(day) {
  return toText(toMs(`${day}T00:00:00.000Z`) + DAY_MS).slice(0, 10);
}

/** The civil date before `day`; the first that canonical text can say has none. @param {string} day */
export const dayBefore = (day) => toText(withinYears(toMs(`${day}T00:00:00.000Z`) - DAY_MS)).slice(0, 10);

/** 1 (Monday) to 7 (Sunday). @param {string} day */
export function weekday(day) {
  return new Date(`${day}T00:00:00.000Z`).getUTCDay() || 7;
}

/** The first working day after `day`, or null where nobody ever works. */
export function nextWorkingDay(day, workingDays) {
  for (let tried = 0; tried < 7; tried += 1) {
    day = nextDay(day);
    if (workingDays.includes(weekday(day))) return day;
  }
  return null;
}

/** When `lengthMs` of working days have passed; other days count nought. */
export function afterWorkingTime(startMs, lengthMs, offsets, workingDays) {
  let [at, left] = [startMs, lengthMs];
  for (let tried = 0; tried < WORKING_DAYS_MAX; tried += 1) {
    const day = localDate(at, offsets);
    const end = localInstant(nextDay(day), "00:00", offsets);
    if (workingDays.includes(weekday(day))) {
      if (at + left <= end) return at + left;
      left -= end - at;
    }
    at = end;
  }
  return null;
}
