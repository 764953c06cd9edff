// @ts-check
/**
 * Deriving on the phone: unsent events laid over the rows, and the watches evaluated, so that a
 * look clears what it should at once and without a network.
 * @module
 */
import { effective } from "../core/corrections.js";
import { lotFacts, nurseryFacts, placeFacts, standing } from "../core/facts.js";
import { later } from "../core/instants.js";
import { newLot, startFrom } from "../core/lot.js";
import { overlay } from "../core/overlay.js";
import { evaluate } from "../core/watches.js";
import {
  all, findings, lots, notices, now, nursery, one, pending, rows, unconfirmed,
} from "./house.js";

const ROW_KINDS = {
  place_changed: "place", person_changed: "person", protocol_changed: "protocol",
  watch_changed: "watch", nursery_changed: "nursery",
};
const ANSWERS = ["acknowledged", "shelved", "deferred", "decided"];

/** Work everything out again from rows, unsent events and the time. */
export function derive() {
  const changed = pending.value;
  overlayRows(changed);
  const derived = overlayLots(changed);
  lots.value = derived;
  watch(derived);
}

/** Lay unsent events over the lots they are about. */
function overlayLots(changed) {
  const derived = new Map(rows.value.get("lot") ?? []);
  const waiting = new Set();
  for (const id of touched(changed)) {
    const events = changed.filter((event) => isAbout(event, id));
    const row = rowOf(id, changed, derived);
    const { lot, unconfirmed: old } = overlay(row, events);
    for (const event of old) waiting.add(event);
    if (lot) derived.set(id, { ...row, ...lot });
    else derived.delete(id);
  }
  unconfirmed.value = waiting;
  return derived;
}

function touched(changed) {
  const ids = new Set();
  for (const event of changed) {
    if (event.lot) ids.add(event.lot);
    for (const parent of parentsOf(event)) ids.add(parent);
    if (event.data.into) ids.add(event.data.into);
  }
  // Parents first: a child begins with what its parents were.
  return [...ids].sort((a, b) => depth(a, changed) - depth(b, changed));
}

function depth(id, changed, seen = new Set()) {
  if (seen.has(id)) return 0;
  seen.add(id);
  const start = changed.find((event) => event.kind === "lot_started" && event.lot === id);
  return start ? 1 + Math.max(0, ...parentsOf(start).map((parent) => depth(parent, changed, seen))) : 0;
}

function parentsOf(event) {
  if (event.kind !== "lot_started") return [];
  return event.data.parents?.length ? event.data.parents : event.data.parent ? [event.data.parent] : [];
}

function isAbout(event, id) {
  return event.lot === id || event.data.into === id || parentsOf(event).includes(id);
}

/** The stored row of a lot, or a new one that inherits from its parents. */
function rowOf(id, changed, derived) {
  const row = one("lot", id);
  if (row?.checkpoint) return row;
  const start = changed.find((event) => event.kind === "lot_started" && event.lot === id);
  const parents = start ? parentsOf(start).map((parent) => derived.get(parent)) : [];
  return { checkpoint: newLot(id, startFrom(parents)), checkpoint_at: null, tail: [] };
}

/** Lay unsent changes of places, rules and so on over their rows. */
function overlayRows(changed) {
  const relevant = effective(changed).filter((event) => ROW_KINDS[event.kind] || aimsAtPlace(event));
  if (!relevant.length) return;
  const byKind = new Map([...rows.value].map(([kind, held]) => [kind, new Map(held)]));
  const put = (kind, id, data) => {
    if (!byKind.has(kind)) byKind.set(kind, new Map());
    byKind.get(kind).set(id, { ...(byKind.get(kind).get(id) ?? {}), ...data });
  };
  for (const event of relevant) {
    if (ROW_KINDS[event.kind]) put(ROW_KINDS[event.kind], event.data.id, event.data);
    else overlayPlace(event, byKind, put);
  }
  rows.value = byKind;
}

function aimsAtPlace(event) {
  return event.kind === "round_closed" || (ANSWERS.includes(event.kind) && !event.lot) || event.kind === "read";
}

function overlayPlace(event, byKind, put) {
  const { data } = event;
  const whole = ["round_closed", "read"].includes(event.kind) && !data.place;
  const kind = whole || data.nursery ? "nursery" : data.phone ? "phone" : "place";
  const id = data.place ?? data.phone ?? [...(byKind.get("nursery")?.keys() ?? [])][0];
  const row = byKind.get(kind)?.get(id);
  if (!row) return;
  if (event.kind === "round_closed") {
    put(kind, id, { closed_at: later(row.closed_at, event.at), closed_skipped: data.skipped ?? [] });
  } else if (event.kind === "read") {
    const reading = { value: data.value, at: event.at, for_night_of: data.for_night_of ?? null };
    put(kind, id, { last_read: { ...(row.last_read ?? {}), [data.quantity_kind]: reading } });
  } else {
    const how = event.kind === "decided" ? "deferred" : event.kind;
    const answer = { at: event.at, by: event.by, until: data.until ?? null, why: data.why ?? null };
    const before = row.answers ?? {};
    put(kind, id, { answers: { ...before, [data.watch]: { ...before[data.watch], [how]: answer } } });
  }
}

/** Evaluate every watch on every lot and place now. */
function watch(derived) {
  const home = nursery();
  if (!home) return;
  const site = { offsets: home.offsets, working_days: home.working_days };
  const rules = all("watch").sort((a, b) => (a.id < b.id ? -1 : 1));
  const found = new Map();
  const told = new Map();
  const byPlace = new Map();
  for (const lot of derived.values()) {
    if (lot.place) byPlace.set(lot.place, [...(byPlace.get(lot.place) ?? []), lot]);
    const known = lotFacts(lot, one("protocol", lot.crop), one("place", lot.place));
    const here = evaluate(rules, "lot", known, now.value, site);
    if (here.findings.length) found.set(`lot:${lot.id}`, here.findings);
    if (here.notices.length) told.set(lot.id, here.notices);
  }
  for (const place of all("place")) {
    const known = placeFacts(place, standing(byPlace.get(place.id) ?? []));
    const here = evaluate(rules, "place", known, now.value, site).findings;
    if (here.length) found.set(`place:${place.id}`, here);
  }
  const known = nurseryFacts(home, standing([...derived.values()]));
  const here = evaluate(rules, "nursery", known, now.value, site).findings;
  if (here.length) found.set(`nursery:${home.id}`, here);
  for (const alert of all("alert")) {
    // Of other phones only the server knows.
    if (alert.subject.kind !== "phone") continue;
    const key = `phone:${alert.subject.id}`;
    found.set(key, [...(found.get(key) ?? []), alert]);
  }
  findings.value = found;
  notices.value = told;
}
