// @ts-check
/**
 * The walk: twin of `domain/walk.py`. Places in order, what stands in each, what is to be seen
 * today, the worst first: one rule for the round and for the list on paper.
 * @module
 */
import { localDate, toMs } from "./instants.js";

export const WEIGHT = { due: 1, late: 2, alarm: 3 };
/** Lots that stand nowhere on record are walked last. */
export const LOOSE = "-";
const NO_ORDER = 10 ** 9;

/** Whether a lot is still to be looked after: neither closed nor at nought. */
export const isLive = (lot) => lot.closed_at === null && lot.quantity !== 0;

const compared = (a, b) => (a < b ? -1 : a > b ? 1 : 0);
const byWalkingOrder = (a, b) => (a.order ?? NO_ORDER) - (b.order ?? NO_ORDER)
  || compared(a.name || "", b.name || "") || compared(a.id, b.id);

/**
 * `[place, live lots in it]` in walking order; loose lots come last.
 * @param {any[]} places
 * @param {Iterable<any>} lots
 * @returns {[any, any[]][]}
 */
export function path(places, lots) {
  const ordered = [...places].sort(byWalkingOrder);
  const byPlace = new Map(ordered.map((place) => [place.id, /** @type {any[]} */ ([])]));
  const loose = [];
  for (const lot of lots) if (isLive(lot)) (byPlace.get(lot.place || LOOSE) ?? loose).push(lot);
  const found = ordered.map((place) => /** @type {[any, any[]]} */ ([place, byPlace.get(place.id)]));
  return loose.length ? [...found, [{ id: LOOSE, name: null, daily: false }, loose]] : found;
}

/** The findings that nobody has left until later. @param {any[]} findings */
export const notLeft = (findings) => findings.filter((finding) => finding.state !== "shelved");

/**
 * Whether a lot is on the walk of a local day.
 * @param {any} place where it stands; one that is `daily` is walked whole
 * @param {any} lot
 * @param {any[]} found its findings that nobody has left until later
 * @param {{noticed: boolean, day: string, offsets: any}} about `noticed`: something of it is told before its time
 */
export function isToSee(place, lot, found, { noticed, day, offsets }) {
  const seenToday = Boolean(lot.seen_at) && localDate(toMs(lot.seen_at), offsets) === day;
  if (seenToday && !found.some((finding) => finding.level === "alarm")) return false;
  return place.daily === true || found.length > 0 || noticed;
}

/**
 * Lots with the worst first, then by code.
 * @param {any[]} lots
 * @param {(lot: any) => any[]} foundOf a lot's open findings
 */
export function inOrder(lots, foundOf) {
  // Weighed once each: a sort asks for every one of them many times.
  const weights = new Map(lots.map((lot) => [lot, weight(foundOf(lot))]));
  return [...lots].sort((a, b) => weights.get(b) - weights.get(a) || compared(a.label, b.label) || compared(a.id, b.id));
}

/** The rank of the highest level among findings, 0 for none. @param {any[]} findings */
export const weight = (findings) => Math.max(0, ...findings.map((finding) => WEIGHT[finding.level]));
