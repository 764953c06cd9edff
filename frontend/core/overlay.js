// @ts-check
/**
 * Checkpoints: twin of `domain/overlay.py`. A lot without its whole log, and what the unsent
 * events make of it: `overlay(snapshot(A), B) = fold(A ∪ B)` for every B no older.
 * @module
 */
import { effective, rootId } from "./corrections.js";
import { newLot, run, startedFirst } from "./lot.js";

const TAIL_MIN = 8;
const TAIL_MAX = 40;
const CORRECTIONS = ["amended", "voided"];

/** {lot, checkpoint, checkpoint_at, tail}: the log in little. */
export function snapshot(lotId, events, inherited = null) {
  return grow(newLot(lotId, inherited), events, null);
}

/** A snapshot from an earlier checkpoint and every event since it. */
export function grow(checkpoint, events, checkpointAt) {
  const ordered = inOrder(checkpoint, events);
  const lot = run(structuredClone(checkpoint), ordered);
  const cut = cutAt(lot, ordered);
  if (cut > 0) {
    checkpointAt = ordered[cut].at;
    checkpoint = run(structuredClone(checkpoint), ordered.slice(0, cut));
    events = tailOf(events, new Set(ordered.slice(0, cut).map((event) => event.id)), checkpointAt);
  }
  return { lot: lot.started_at ? lot : null, checkpoint, checkpoint_at: checkpointAt, tail: events };
}

/** Effective events in fold order; a second start does not come first. */
function inOrder(checkpoint, events) {
  const ordered = effective(events);
  return checkpoint.started_at ? ordered : startedFirst(checkpoint.id, ordered);
}

function cutAt(lot, ordered) {
  if (!lot.started_at || ordered.length <= TAIL_MIN) return 0;
  const opened = new Set(lot.spells.filter((s) => s.ended_at === null).map((s) => s.event));
  const starts = ordered.flatMap((event, index) => (opened.has(event.id) ? [index] : []));
  const cut = Math.max(Math.min(ordered.length - TAIL_MIN, ...starts), ordered.length - TAIL_MAX);
  let newest = ordered[0].at;
  let safe = 0;
  for (let index = 1; index <= cut; index += 1) {
    if (ordered[index - 1].at > newest) newest = ordered[index - 1].at;
    if (ordered[index].at > newest) safe = index;
  }
  return safe;
}

function tailOf(events, folded, checkpointAt) {
  const byId = new Map(events.map((event) => [event.id, event]));
  const stays = (event) => {
    if (!CORRECTIONS.includes(event.kind)) return !folded.has(event.id) && event.at >= checkpointAt;
    const root = byId.get(rootId(event, byId) ?? "");
    return root === undefined || stays(root);
  };
  return events.filter(stays);
}

/** {lot, unconfirmed} of a stored row with events that the server has not folded yet. */
export function overlay(row, newEvents) {
  const unconfirmed = tooOld(row, newEvents);
  const byId = new Map([...newEvents, ...row.tail].map((event) => [event.id, event]));
  const events = [...byId.values()].filter((event) => !unconfirmed.has(event.id));
  const lot = run(structuredClone(row.checkpoint), inOrder(row.checkpoint, events));
  return { lot: lot.started_at ? lot : null, unconfirmed: [...unconfirmed].sort() };
}

/** The ids of the events that this row cannot take without the log behind it. @returns {Set<string>} */
export function tooOld(row, newEvents) {
  const known = new Set(row.tail.map((event) => event.id));
  const fresh = newEvents.filter((event) => !known.has(event.id));
  const byId = new Map([...row.tail, ...fresh].map((event) => [event.id, event]));
  return new Set(fresh.filter((e) => isTooOld(e, byId, row.checkpoint_at)).map((e) => e.id));
}

function isTooOld(event, byId, checkpointAt) {
  if (checkpointAt === null) return false;
  if (!CORRECTIONS.includes(event.kind)) return event.at < checkpointAt;
  const root = byId.get(rootId(event, byId) ?? "");
  return root === undefined || isTooOld(root, byId, checkpointAt);
}
