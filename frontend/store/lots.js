// @ts-check
/**
 * Lots on the phone: the events that no row holds yet laid over the rows they are about. Only
 * those lots are folded again. Pure.
 * @module
 */
import { foldOrder, rootId, targetId } from "../core/corrections.js";
import { newLot, startFrom } from "../core/lot.js";
import { overlay } from "../core/overlay.js";

/**
 * @param {Map<string, any>} stored the server's lot rows by id
 * @param {any[]} events own events that the rows may not hold yet
 * @returns {{lots: Map<string, any>, unconfirmed: Set<string>}} `unconfirmed` are the ids of
 *   events too old for what the phone holds of their lots
 */
export function overlayLots(stored, events) {
  for (const row of stored.values()) complete(row);
  const lots = new Map(stored);
  /** @type {Set<string>} */
  const unconfirmed = new Set();
  const about = eventsByLot(events);
  for (const id of parentsFirst([...about.keys()], about)) {
    const known = stored.get(id);
    const row = baseOf(known) ?? newRow(id, about, stored);
    const over = overlay(row, about.get(id) ?? []);
    for (const event of over.unconfirmed) unconfirmed.add(event);
    if (over.lot) lots.set(id, { ...known, ...over.lot });
    else lots.delete(id);
  }
  return { lots, unconfirmed };
}

/** What the server's row says a lot's fold begins with: `{checkpoint, checkpoint_at, tail}`, or null. */
export function baseOf(row) {
  const base = row?.base ? JSON.parse(row.base) : row?.checkpoint ? row : null;
  return base && { ...base, checkpoint: { ...newLot(row.id), ...base.checkpoint } };
}

/** Rows that lack nothing, or no more. @type {WeakSet<any>} */
const whole = new WeakSet();

/**
 * Give a row that an older server folded what a lot has got since, as if nothing was said of it:
 * the phone may be offline when its app is renewed, and only the server has the whole log. It sends
 * every row that it folds anew.
 */
function complete(row) {
  if (whole.has(row)) return;
  whole.add(row);
  for (const [name, nothing] of Object.entries(newLot(row.id))) row[name] ??= nothing;
}

/** @returns {Map<string, any[]>} */
function eventsByLot(events) {
  const byId = new Map(events.map((event) => [event.id, event]));
  const about = new Map();
  for (const event of events) {
    const root = targetId(event) ? byId.get(rootId(event, byId) ?? "") : null;
    const ids = new Set([...subjects(event), ...(root ? subjects(root) : [])]);
    for (const id of ids) about.set(id, [...(about.get(id) ?? []), event]);
  }
  return about;
}

/** The lots that an event is about: its own, those it was split from, the one it was potted into. */
function subjects(event) {
  const into = event.kind === "potted_on" ? event.data.into : null;
  return [event.lot, into, ...parentsOf(event)].filter(Boolean);
}

function parentsOf(event) {
  if (event.kind !== "lot_started") return [];
  return event.data.parents?.length ? event.data.parents : event.data.parent ? [event.data.parent] : [];
}

function startOf(id, about) {
  return (about.get(id) ?? []).find((event) => event.kind === "lot_started" && event.lot === id);
}

/** A child begins with what its parents were, so they come first. */
function parentsFirst(ids, about) {
  const ordered = [];
  const seen = new Set();
  const visit = (id) => {
    if (seen.has(id)) return;
    seen.add(id);
    const start = startOf(id, about);
    if (start) parentsOf(start).forEach(visit);
    if (about.has(id)) ordered.push(id);
  };
  ids.forEach(visit);
  return ordered;
}

/** A row for a lot that the server does not know yet; it inherits from its parents. */
function newRow(id, about, stored, depth = 0) {
  const start = startOf(id, about);
  const parents = start && depth < 30 ? parentsOf(start).filter((parent) => parent !== id) : [];
  const states = parents.map((parent) => asItWas(parent, start, about, stored, depth));
  return { checkpoint: newLot(id, startFrom(states)), checkpoint_at: null, tail: [] };
}

/** A parent as it was when the child began. */
function asItWas(id, start, about, stored, depth) {
  const known = stored.get(id);
  const row = baseOf(known) ?? newRow(id, about, stored, depth + 1);
  const before = (event) => targetId(event) || foldOrder(event, start) < 0;
  const events = (about.get(id) ?? []).filter(before);
  return overlay({ ...row, tail: row.tail.filter(before) }, events).lot;
}
