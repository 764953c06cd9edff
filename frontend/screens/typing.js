// @ts-check
/** Typing in from paper: its lots and boxes in order, the times of them, and what was saved. @module */
import { signal } from "../vendor/signals.js";
import { localInstant, offsetMinutes, toText, MINUTE_MS } from "../core/instants.js";
import { lots, now, nursery, places } from "../store/house.js";
import { recordAll, undo } from "../store/record.js";
import { isLive, LOOSE } from "../ui/to_see.js";
import { date } from "../ui/local.js";
import { t } from "../ui/html.js";
import { tellTrouble } from "./walking.js";

/**
 * `{ids, boxes, at, day, time, by, link, paper, ticked, done, skipped}`, or null before it has begun:
 * the lots come first, then the boxes; `paper` is when the list was made, `ticked` the last time of each act.
 */
export const typing = signal(/** @type {any} */ (null));
/** What was saved last, while it can be taken back: `{events, at, label}`. */
export const lastTyped = signal(/** @type {any} */ (null));
export const busy = signal(false);

/** Every live lot in walking order, for a paper that this phone did not make. @param {string[] | null} [walked] of these places only */
export function allInOrder(walked = null) {
  const order = new Map(places().map((place, index) => [place.id, index]));
  const rank = (lot) => order.get(lot.place) ?? order.size;
  const isAsked = (lot) => walked === null || walked.includes(order.has(lot.place) ? lot.place : LOOSE);
  return [...lots.value.values()].filter((lot) => isLive(lot) && isAsked(lot))
    .sort((a, b) => rank(a) - rank(b) || (a.label < b.label ? -1 : 1)).map((lot) => lot.id);
}

/** Whether a day and a time have been typed whole. @param {string} day @param {string} time */
export const isMoment = (day, time) => /^\d{4}-\d\d-\d\d$/.test(day) && /^\d\d:\d\d$/.test(time);

/**
 * What is wrong with a date and time typed by hand, in a sentence, or "".
 * @param {string} day @param {string} time
 */
export function wrongTime(day, time) {
  if (!isMoment(day, time)) return t("typed.no_time");
  const late = instantOf(day, time) > now.value;
  return late ? t("typed.future", { date: date(day), time, now: siteText(Date.parse(now.value)).slice(11, 16) }) : "";
}

/** The instant of a day and time of the nursery. @param {string} day @param {string} time */
export const instantOf = (day, time) => toText(localInstant(day, time, nursery()?.offsets ?? []));

/** An instant with the nursery's own UTC offset, as an event carries it. @param {number} ms */
export function siteText(ms) {
  const minutes = offsetMinutes(ms, nursery()?.offsets ?? []);
  const two = (number) => String(Math.floor(Math.abs(number))).padStart(2, "0");
  return `${toText(ms + minutes * MINUTE_MS).slice(0, 23)}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
}

/** What is asked about now: a lot's id, a box of the paper, or null past the last. @param {any} of `typing` */
export const keyAt = ({ ids, boxes, at }) => (at < ids.length ? ids[at] : boxes[at - ids.length] && boxKey(boxes[at - ids.length]));
/** @param {{act: string, id: string}} box */
const boxKey = ({ act, id }) => `${act}:${id}`;

/**
 * @param {{ids: string[], boxes: any[], day: string, time: string, by: string | null, link: string | null,
 *   paper: {day: string, time: string, low_c: number | null}}} chosen `link`: of the sheet that was scanned
 */
export function begin(chosen) {
  typing.value = { ...chosen, at: 0, ticked: {}, done: [], skipped: [] };
  lastTyped.value = null;
}

/** Go on, or back, without a record. @param {number} by */
export function step(by) {
  const { at, done, skipped } = typing.value;
  const key = keyAt(typing.value);
  const passed = by > 0 && !done.includes(key) ? [...new Set([...skipped, key])] : skipped;
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
export function save(lot, said) {
  const { day, time } = typing.value;
  return saveAt(said.map(([kind, data]) => ({ kind, lot: lot.id, data })), lot.label, day, time);
}

/**
 * The same of a ticked box; its time is proposed for the next one of its act. A draft may have a day and a time of its own: `on`, `at`.
 * @param {{act: string}} box @param {any[]} drafts @param {string} label @param {string} day @param {string} time
 */
export async function saveBox(box, drafts, label, day, time) {
  await saveAt(drafts, label, day, time);
  if (lastTyped.value) typing.value = { ...typing.value, ticked: { ...typing.value.ticked, [box.act]: { day, time } } };
}

async function saveAt(drafts, label, day, time) {
  if (busy.value) return;
  busy.value = true;
  const { by, at, done, skipped } = typing.value;
  const key = keyAt(typing.value);
  const more = (on, at) => ({ observedAt: siteText(Date.parse(instantOf(on, at))), typed: true, ...(by ? { by } : {}) });
  try {
    const events = await recordAll(drafts.map(({ on = day, at: own = time, ...draft }) => ({ ...draft, more: more(on, own) })));
    lastTyped.value = { events, at, key, label };
    typing.value = { ...typing.value, at: at + 1, done: [...new Set([...done, key])], skipped: skipped.filter((one) => one !== key) };
  } catch (error) {
    tellTrouble(error);
  } finally {
    busy.value = false;
  }
}

/** Take back what was saved last, and return to its question. */
export async function takeBack() {
  const { events, at, key } = lastTyped.value;
  lastTyped.value = null;
  try {
    for (const event of events) await undo(event);
    typing.value = { ...typing.value, at, done: typing.value.done.filter((one) => one !== key) };
  } catch (error) {
    tellTrouble(error);
  }
}
