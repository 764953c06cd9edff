// @ts-check
/** Typing in from paper: which lots in which order, the times they were seen at, and what was saved. @module */
import { signal } from "../vendor/signals.js";
import { localInstant, offsetMinutes, toText, MINUTE_MS } from "../core/instants.js";
import { lots, now, nursery, places } from "../store/house.js";
import { recordAll, undo } from "../store/record.js";
import { isLive } from "../ui/to_see.js";
import { date } from "../ui/local.js";
import { t } from "../ui/html.js";
import { tellTrouble } from "./walking.js";

/** `{ids, at, day, time, by, link, done, skipped}`, or null before it has begun. */
export const typing = signal(/** @type {any} */ (null));
/** What was saved last, while it can be taken back: `{events, at, label}`. */
export const lastTyped = signal(/** @type {any} */ (null));
export const busy = signal(false);

/** Every live lot in walking order, for a paper that this phone did not make. */
export function allInOrder() {
  const order = new Map(places().map((place, index) => [place.id, index]));
  const rank = (lot) => order.get(lot.place) ?? order.size;
  return [...lots.value.values()].filter(isLive)
    .sort((a, b) => rank(a) - rank(b) || (a.label < b.label ? -1 : 1)).map((lot) => lot.id);
}

/**
 * What is wrong with a date and time typed by hand, in a sentence, or "".
 * @param {string} day @param {string} time
 */
export function wrongTime(day, time) {
  if (!/^\d{4}-\d\d-\d\d$/.test(day) || !/^\d\d:\d\d$/.test(time)) return t("typed.no_time");
  const offsets = nursery()?.offsets ?? [];
  const late = toText(localInstant(day, time, offsets)) > now.value;
  return late ? t("typed.future", { date: date(day), time, now: siteText(Date.parse(now.value)).slice(11, 16) }) : "";
}

/** An instant with the nursery's own UTC offset, as an event carries it. @param {number} ms */
export function siteText(ms) {
  const minutes = offsetMinutes(ms, nursery()?.offsets ?? []);
  const two = (number) => String(Math.floor(Math.abs(number))).padStart(2, "0");
  return `${toText(ms + minutes * MINUTE_MS).slice(0, 23)}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
}

/** @param {{ids: string[], day: string, time: string, by: string | null, link: string | null}} chosen `link`: of the sheet that was scanned */
export function begin(chosen) {
  typing.value = { ...chosen, at: 0, done: [], skipped: [] };
  lastTyped.value = null;
}

/** Go on, or back, without a record. @param {number} by */
export function step(by) {
  const { ids, at, done, skipped } = typing.value;
  const passed = by > 0 && !done.includes(ids[at]) ? [...new Set([...skipped, ids[at]])] : skipped;
  typing.value = { ...typing.value, at: Math.max(0, at + by), skipped: passed };
}

/** The time at which the lot that is shown, and those after it, were seen. @param {string} time */
export function setTime(time) {
  typing.value = { ...typing.value, time };
}

/**
 * Save what the paper says of a lot, all or none of it, with its true time; then on to the next.
 * @param {any} lot @param {[string, Record<string, any>][]} said
 */
export async function save(lot, said) {
  if (busy.value) return;
  busy.value = true;
  const { day, time, by, at, done, skipped } = typing.value;
  const observedAt = siteText(localInstant(day, time, nursery()?.offsets ?? []));
  try {
    const more = { observedAt, typed: true, ...(by ? { by } : {}) };
    const events = await recordAll(said.map(([kind, data]) => ({ kind, lot: lot.id, data, more })));
    lastTyped.value = { events, at, label: lot.label };
    typing.value = { ...typing.value, at: at + 1, done: [...new Set([...done, lot.id])], skipped: skipped.filter((id) => id !== lot.id) };
  } catch (error) {
    tellTrouble(error);
  } finally {
    busy.value = false;
  }
}

/** Take back what was saved last, and return to its lot. */
export async function takeBack() {
  const { events, at } = lastTyped.value;
  lastTyped.value = null;
  try {
    for (const event of events) await undo(event);
    typing.value = { ...typing.value, at, done: typing.value.done.filter((id) => id !== events[0].lot) };
  } catch (error) {
    tellTrouble(error);
  }
}
