// @ts-check
/**
 * A lot is the fold of its events: twin of `domain/lot.py`. Pure, and the same whatever order
 * they arrived in. `ACTS` is the one table of what each event kind does.
 * @module
 */
import { withAnswer } from "./answers.js";
import { saidBy } from "./attribution.js";
import { effective } from "./corrections.js";
import { count } from "./counts.js";
import { later } from "./instants.js";
import { look, noteTest, unknown, watered } from "./looks.js";
import { coverSaid } from "./rows.js";
import * as spells from "./spells.js";
import * as stock from "./stock.js";
import { endedAt, withNote } from "./treatments.js";

const NOTES_MAX = 40;
const LEFT_MAX = 8;
const INHERITED = [
  "spells", "last_look", "looks", "last", "series", "seen_at", "sown", "acid_at", "rinsed_at",
  "held_over", "last_watered_at",
];
const SEEN = new Set(
  ("lot_started seed_cleaned soak_started water_changed aerated soak_ended sanitise_started"
    + " sanitise_ended warm_started warm_ended cold_started cold_ended watered tested sown looked"
    + " counted potted_on lost moved covered uncovered scarified rinsed_neutral emergence_closed"
    + " stocktaken graded photographed").split(" "),
);
const AFTER_CLOSING = new Set([...SEEN, "sold", "treated"].filter((kind) => !["lot_started", "photographed"].includes(kind)));
const TESTED = ["ph", "ec_ms_cm"];
const NUMBERS_NEEDED = {
  counted: ["emerged", "out_of"],
  lost: ["quantity", "out_of"],
  potted_on: ["quantity", "container_l"],
  stocktaken: ["quantity"],
  sold: ["quantity"],
};
const KNOWN_ELSEWHERE = new Set(
  ("solution_mixed solution_discarded round_closed priced place_changed person_changed"
    + " protocol_changed watch_changed nursery_changed amended voided").split(" "),
);

/** The state of a lot of which nothing is known yet, but what its parents left it. */
export function newLot(lotId, inherited = null) {
  return {
    id: lotId, crop: null, label: null, place: null, placed_at: null,
    parents: [], children: [],
    quantity: null, unit: null, container_l: null, provenance: null,
    started_at: null, closed_at: null, closed_why: null, closed_event: null,
    after_closing: null, left: [],
    stage: "seed", stage_since: null, spells: [],
    last_look: null, looks: [], last: {}, series: {}, seen_at: null,
    last_watered_at: null, covered_at: null, cover: null, bared_at: null,
    cleaned_at: null, sown: null,
    counts: [], flats: {}, emerged: null, first_emerged_at: null, last_rise_at: null,
    emergence_closed_at: null, held_over: null, potted_at: null,
    losses: [], lost_seedlings: 0, discrepancies: [], conflict: null,
    split_off: {}, potted_into: [], acid_at: null, rinsed_at: null,
    tests: [], treatments: [], promises: [], grades: [], sales: [],
    answers: {}, events_count: 0, not_understood: 0,
    ...structuredClone(inherited ?? {}),
  };
}

/** What a lot inherits: a split on day 30 is still day 30. @param {any[]} parents */
export function startFrom(parents) {
  const known = parents.filter(Boolean);
  if (!known.length) return {};
  const key = (parent) => `${parent.seen_at ?? ""} ${parent.id}`;
  const heir = known.reduce((best, parent) => (key(parent) < key(best) ? parent : best));
  /** @type {Record<string, any>} */
  const inherited = {};
  for (const name of INHERITED) inherited[name] = structuredClone(heir[name]);
  for (const spell of inherited.spells) {
    if (spell.ended_at !== null) continue;
    const starts = known.map((parent) => spells.openSpell(parent, spell.kind)?.started_at);
    spell.started_at = starts.filter(Boolean).sort()[0];
  }
  return inherited;
}

/**
 * The lot that a log says there is, or null while nothing has started it.
 * @param {string} lotId
 * @param {any[]} events in any order
 */
export function fold(lotId, events, inherited = null) {
  const lot = run(newLot(lotId, inherited), startedFirst(lotId, effective(events)));
  return lot.started_at ? lot : null;
}

/** The events with the lot's own start in front, whatever a wrong clock says. */
export function startedFirst(lotId, events) {
  const index = events.findIndex((event) => event.kind === "lot_started" && event.lot === lotId);
  return index > 0 ? [events[index], ...events.slice(0, index), ...events.slice(index + 1)] : events;
}

/** Apply effective events in order; the state is changed in place and returned. */
export function run(lot, events) {
  for (const event of events) apply(lot, event);
  [lot.stage, lot.stage_since] = stageOf(lot);
  return lot;
}

/** Apply one event to the state. */
export function apply(lot, event) {
  if (event.data === null || typeof event.data !== "object" || Array.isArray(event.data)) event = { ...event, data: {} };
  lot.events_count += 1;
  if (event.lot !== lot.id) {
    fromAnotherLot(lot, event);
    return;
  }
  const act = ACTS[event.kind];
  if (!act) {
    lot.not_understood += KNOWN_ELSEWHERE.has(event.kind) ? 0 : 1;
    return;
  }
  if (!readable(event)) {
    stock.disagree(lot, "cannot_read", event);
    return;
  }
  if (SEEN.has(event.kind)) lot.seen_at = later(lot.seen_at, event.at);
  if (lot.closed_at && AFTER_CLOSING.has(event.kind)) {
    lot.after_closing = { at: event.at, event: event.id, kind: event.kind };
  }
  act(lot, event);
}

/** Whether the numbers that this kind needs are there, as numbers. */
export function readable(event) {
  const needed = NUMBERS_NEEDED[event.kind] ?? [];
  return needed.every((name) => typeof event.data?.[name] === "number");
}

/** The lot's stage and since when. */
export function stageOf(lot) {
  if (lot.closed_at) return ["closed", lot.closed_at];
  if (lot.unit === "plants" || lot.container_l) return ["potted", lot.potted_at ?? lot.started_at];
  const first = lot.first_emerged_at;
  const running = lot.spells.findLast((spell) => spell.ended_at === null);
  if (running && (first === null || running.started_at >= first)) return [running.kind, running.started_at];
  if (lot.unit === "seedlings" || lot.emergence_closed_at) {
    return ["seedlings", lot.emergence_closed_at ?? lot.started_at];
  }
  if (first) return ["emerging", first];
  if (lot.sown) return ["sown", lot.sown.at];
  return ["seed", lot.cleaned_at ?? lot.started_at];
}

function fromAnotherLot(lot, event) {
  if (!readable(event)) return;
  if (event.kind === "lot_started") {
    stock.splitOff(lot, event);
  } else if (event.kind === "potted_on" && event.data?.into === lot.id) {
    lot.quantity ??= event.data.quantity;
    lot.container_l ||= event.data.container_l;
    lot.unit = "plants";
    spells.closeAll(lot, event);
  }
}

function started(lot, event) {
  if (lot.started_at) {
    stock.disagree(lot, "started_twice", event);
    return;
  }
  const data = event.data;
  lot.started_at = event.at;
  lot.bared_at = event.at;
  lot.placed_at = event.at;
  lot.parents = data.parents?.length ? [...data.parents] : data.parent ? [data.parent] : [];
  for (const name of ["crop", "label", "place", "quantity", "container_l", "provenance"]) {
    lot[name] = data[name] ?? null;
  }
  lot.unit = data.unit || (data.container_l ? "plants" : "seeds");
  if (["seedlings", "plants"].includes(lot.unit)) spells.closeAll(lot, event);
}

function spellStarted(lot, event) {
  const refusal = event.kind === "sanitise_started" ? spells.dipRefusal(lot) : null;
  if (refusal) stock.disagree(lot, refusal, event, lot.acid_at);
  if (!spells.start(lot, event)) stock.disagree(lot, "already_running", event);
}

function spellEnded(lot, event) {
  if (!spells.end(lot, event)) stock.disagree(lot, "was_not_running", event);
}

function sown(lot, event) {
  spells.sow(lot, event);
  lot.sown = { at: event.at };
  for (const name of ["flats", "per_flat", "depth_mm", "spacing_mm", "medium"]) {
    lot.sown[name] = event.data?.[name] ?? null;
  }
}

function counted(lot, event) {
  const before = lot.emerged ? lot.emerged.count : 0;
  if (count(lot, event)) stock.disagree(lot, "count_fell", event, before, lot.emerged.count);
}

function wateredNow(lot, event) {
  lot.last_watered_at = event.at;
  watered(lot, event);
}

function pottedOn(lot, event) {
  stock.potOn(lot, event);
  if (event.data.into) return;
  spells.closeAll(lot, event);
  unknown(lot, "root_fill", event.at);
}

/** Note a test of the lot's own water; other readings are of its place. */
function readOf(lot, event) {
  const { quantity_kind: kind, value } = event.data;
  if (TESTED.includes(kind) && typeof value === "number") noteTest(lot, kind, value, event.at);
}

function treated(lot, event) {
  // Whoever sprayed has been there as of its end, whenever it was written down.
  lot.seen_at = later(lot.seen_at, endedAt(event));
  lot.treatments = withNote(lot.treatments, noteOf(event));
}

function emergenceClosed(lot, event) {
  lot.emergence_closed_at = event.at;
  stock.toSeedlings(lot);
}

function closed(lot, event) {
  lot.closed_at = event.at;
  lot.closed_why = event.data?.why ?? null;
  // Whoever closes it again knows what was recorded in between.
  lot.closed_event = event.id;
  lot.after_closing = null;
}

function scarified(lot, event) {
  if (event.data?.method !== "acid") return;
  lot.acid_at = event.at;
  lot.rinsed_at = null;
}

function heldOver(lot, event) {
  lot.held_over = { at: event.at, until: event.data?.until ?? null, why: event.data?.why ?? null };
}

/** Note who answered which watch, and how; what it does is for the watches to say. */
function answered(lot, event) {
  const data = event.data ?? {};
  if (typeof data.watch !== "string") return;
  const how = event.kind === "decided" ? "deferred" : event.kind;
  /** @type {Record<string, any>} */
  const answer = { at: event.at, ...saidBy(event) };
  if (!["acknowledged", "given_back"].includes(how)) Object.assign(answer, { until: data.until ?? null, why: data.why ?? null });
  lot.answers[data.watch] = withAnswer(lot.answers[data.watch] ?? {}, how, answer);
}

function covered(lot, event) {
  lot.cover = coverSaid(event, lot.cover);
  lot.covered_at = lot.cover?.at ?? null;
}

function uncovered(lot, event) {
  lot.covered_at = null;
  lot.cover = null;
  lot.bared_at = event.at;
}

/** Where it stands now, and where somebody took it from; a cover stays where it was. */
function moved(lot, event) {
  const place = event.data?.place ?? null;
  if (place === lot.place) return;
  if (lot.place) lot.left = [...lot.left, { place: lot.place, at: event.at }].slice(-LEFT_MAX);
  lot.place = place;
  lot.placed_at = event.at;
  uncovered(lot, event);
}

const setAt = (field) => (lot, event) => {
  lot[field] = event.at;
};
const noteOf = (event) => ({ at: event.at, event: event.id, ...(event.data ?? {}) });
const keep = (field) => (lot, event) => {
  lot[field] = [...lot[field], noteOf(event)].slice(-NOTES_MAX);
};

function sold(lot, event) {
  keep("sales")(lot, event);
  stock.take(lot, event.data.quantity, event);
}

const every = (kinds, act) => Object.fromEntries(Object.keys(kinds).map((kind) => [kind, act]));
const beenThere = () => {};

const ACTS = {
  lot_started: started,
  lot_closed: closed,
  seed_cleaned: setAt("cleaned_at"),
  ...every(spells.STARTS, spellStarted),
  ...every(spells.ENDS, spellEnded),
  water_changed: spells.waterMoved,
  aerated: spells.waterMoved,
  watered: wateredNow,
  tested: keep("tests"),
  sown,
  looked: look,
  counted,
  potted_on: pottedOn,
  lost: stock.lose,
  moved,
  read: readOf,
  covered,
  uncovered,
  scarified,
  rinsed_neutral: setAt("rinsed_at"),
  emergence_closed: emergenceClosed,
  held_over: heldOver,
  deferred: answered,
  decided: answered,
  acknowledged: answered,
  shelved: answered,
  given_back: answered,
  stocktaken: stock.takeStock,
  graded: keep("grades"),
  promised: keep("promises"),
  treated,
  sold,
  photographed: beenThere,
  noted: beenThere,
};
