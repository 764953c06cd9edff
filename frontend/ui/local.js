// @ts-check
/** Moments and temperatures as the nursery reads them: in its own time and units. @module */
import { localDate, localTime, nextDay, toMs, DAY_MS, HOUR_MS, MINUTE_MS } from "../core/instants.js";
import { now, nursery } from "../store/house.js";
import { t } from "./html.js";

const offsets = () => nursery()?.offsets ?? [];
const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

/** The site's date today. */
export const today = () => localDate(toMs(now.value), offsets());

/** The site's date at an instant. */
export const dayOf = (instant) => localDate(toMs(instant), offsets());

/** "today 07:52", "yesterday 15:10", "tomorrow 09:00" or "3 Jun 07:52". @param {string | null} instant */
export function when(instant) {
  if (!instant) return "?";
  const [day, time] = [dayOf(instant), clock(instant)];
  if (day === today()) return t("time.today", { time });
  if (day === localDate(toMs(now.value) - DAY_MS, offsets())) return t("time.yesterday", { time });
  if (day === nextDay(today())) return t("time.tomorrow", { time });
  return `${date(day)} ${time}`;
}

/** "3 Jun" of a date, with the year where it is another. @param {string} day */
export function date(day) {
  const [year, month, number] = day.split("-");
  const same = year === today().slice(0, 4);
  return `${Number(number)} ${MONTHS[Number(month) - 1]}${same ? "" : ` ${year}`}`;
}

/** "07:52". @param {string} instant */
export const clock = (instant) => localTime(toMs(instant), offsets());

/** "15 h", how long ago. @param {string} instant */
export function age(instant) {
  const ms = toMs(now.value) - toMs(instant);
  if (ms < HOUR_MS) return t("age.minutes", { n: Math.max(0, Math.floor(ms / MINUTE_MS)) });
  if (ms < 2 * DAY_MS) return t("age.hours", { n: Math.floor(ms / HOUR_MS) });
  return t("age.days", { n: Math.floor(ms / DAY_MS) });
}

// A forecast is made anew each day: after that it says little of the night to come. Ours.
const FORECAST_OLD_MS = DAY_MS;
/** Whether a forecast's figure is too old to be shown as if it were fresh. @param {string} instant */
export const isOldForecast = (instant) => toMs(now.value) - toMs(instant) >= FORECAST_OLD_MS;

/** Whether the nursery reckons in US units. */
export const isUs = () => nursery()?.units === "us";
const rounded = (value) => Math.round(value * 10) / 10;

/** "°C" or "°F". */
export const degrees = () => (isUs() ? "°F" : "°C");

/** A temperature's figure in the nursery's own unit. @param {number} celsius */
export const inDegrees = (celsius) => (isUs() ? rounded(celsius * 1.8 + 32) : celsius);

/**
 * Degrees Celsius of what was typed in the nursery's own unit; NaN where it is no number.
 * @param {string} typed
 */
export function toCelsius(typed) {
  const value = Number(typed.trim().replace(",", ".").replace("−", "-"));
  return isUs() ? rounded((value - 32) / 1.8) : value;
}
