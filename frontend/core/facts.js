// @ts-check
/**
 * Facts: twin of `domain/facts.py`. What the watches may look at, worked out of a subject's
 * state. No clock in any of them.
 * @module
 */
import { chamberFacts } from "./chambers.js";
import { DAY_MS, HOUR_MS, later, toMs, toText } from "./instants.js";
import { besideFacts } from "./neighbours.js";
import { secondSpring } from "./outdoors.js";
import { promiseFacts } from "./promises.js";
import { limits } from "./protocols.js";
import { runStart } from "./rule_terms.js";
import { dipWith, solutionCode } from "./solutions.js";
import { lastSpell, openSpell } from "./spells.js";
import { secondSpringFacts, windowWith } from "./springs.js";
import { tenderness } from "./tender.js";
import { NO_STOCK, nurseryWeather, placeWeather } from "./weather_facts.js";
import { entryFacts, holdFacts } from "./treatments.js";
import { isLive } from "./walk.js";

const SOW_AT_SPROUTED_PERCENT = 10;
const SEED_UNITS = ["seeds", "g", null];
const SOLUTION_OFFERED_DAYS = 3;
const MUST_NOT_DRY = ["recalcitrant", "intermediate"];

/**
 * The facts of a lot; `crop` is its protocol's row and may be unknown, `solution` that of the bucket
 * of its last dip, `spreading` [lot, since] of the lots of its place in which mould is spreading,
 * `home` the nursery's row, for its seasons.
 */
export function lotFacts(lot, crop, place = null, solution = null, spreading = [], home = null) {
  const second = home ? secondSpring(lot, crop, home, home.offsets) : null;
  const window = windowWith(lot, crop, second);
  const seed = SEED_UNITS.includes(lot.unit);
  /** @type {Record<string, any>} */
  const spells = {};
  for (const kind of ["soak", "sanitise", "drained", "warm", "cold"]) spells[kind] = spellFacts(lot, kind, crop);
  return {
    kind: "lot",
    id: lot.id,
    label: lot.label,
    crop: lot.crop,
    crop_name: crop ? crop.botanical : lot.crop,
    place: lot.place,
    place_name: place ? place.name : lot.place,
    live: isLive(lot),
    closed: lot.closed_at !== null,
    after_closing: { at: null, ...lot.after_closing, closed_at: lot.closed_at },
    stage: lot.stage,
    stage_since: lot.stage_since,
    unit: lot.unit,
    quantity: lot.quantity,
    container_l: lot.container_l,
    phase: phase(lot),
    before_emergence: seed && lot.first_emerged_at === null,
    ...spells,
    dip: dipWith(lastSpell(lot, "sanitise"), solution),
    seen_at: lot.seen_at,
    look: { at: lot.last_look ? lot.last_look.at : null },
    last: lot.last,
    series: lot.series,
    moisture_runs: moistureRuns(lot),
    last_watered_at: lot.last_watered_at,
    sown_at: lot.sown ? lot.sown.at : null,
    window,
    second_spring: secondSpringFacts(second, window),
    emerged: emergenceFacts(lot),
    emergence_closed_at: lot.emergence_closed_at,
    held_until: lot.held_over ? lot.held_over.until : null,
    held_without_end: lot.held_over !== null && lot.held_over.until === null && !second,
    potted_at: lot.potted_at,
    beside: besideFacts(lot, spreading),
    hold: holdFacts(lot, place, home?.offsets ?? []),
    promise: promiseFacts(lot),
    sales: { last_at: later(...lot.sales.map((sale) => sale.at)) },
    conflict: conflictFacts(lot),
    tender: tenderness(lot, crop, phase(lot)),
    crop_facts: cropFacts(crop),
    answers: lot.answers,
  };
}

/** How the lot is looked after: bench, bag, flats, emerging, seedlings or pots. */
export function phase(lot) {
  if (lot.stage === "potted") return "pots";
  if (lot.stage === "seedlings" || lot.stage === "emerging") return lot.stage;
  if (lot.sown && SEED_UNITS.includes(lot.unit)) return lot.first_emerged_at ? "emerging" : "flats";
  return lot.stage === "warm" || lot.stage === "cold" ? "bag" : "bench";
}

function spellFacts(lot, kind, crop) {
  const spell = openSpell(lot, kind);
  if (!spell) return { open: false };
  const { kind: _kind, ended_at: _ended, ...rest } = spell;
  return { open: true, outdoors: spell.where === "outdoors", ...rest, ...limits(kind, spell.nth, crop) };
}

function moistureRuns(lot) {
  const last = lot.last.moisture;
  const span = (least) => {
    const start = runStart({ series: lot.series }, { run_of: "moisture", at_least: least });
    return start ? (toMs(last.at) - toMs(start)) / HOUR_MS : null;
  };
  return { wet_hours: span(4), dripping_hours: span(5) };
}

function emergenceFacts(lot) {
  if (!lot.emerged) return { count: null, at: null };
  const rise = lot.last_rise_at;
  const quiet = rise ? (toMs(lot.emerged.at) - toMs(rise)) / DAY_MS : null;
  return { ...lot.emerged, last_rise_at: rise, quiet_days: quiet };
}

function conflictFacts(lot) {
  const conflict = lot.conflict;
  if (!conflict) return { since: null };
  const percent = conflict.of ? (100 * conflict.over) / conflict.of : null;
  return { ...conflict, percent, all_of_it: !conflict.of };
}

export function cropFacts(crop) {
  const row = crop ?? {};
  const own = row.sow_at_sprouted_percent ?? null;
  const figure = own !== null && typeof own === "object" ? own.value : own;
  return {
    dormancy: row.dormancy ?? null,
    double: row.dormancy === "double",
    must_not_dry: MUST_NOT_DRY.includes(row.storage_class),
    sow_at_sprouted_percent: figure ?? SOW_AT_SPROUTED_PERCENT,
  };
}

/**
 * {live_lots, oldest_seen_at, newest_seen_at} of the live lots among those in one place, and
 * newest_visit_at, which lots that are closed or were taken out (`leftAt`) count for too.
 */
export function standing(lots, leftAt = null) {
  const seen = lots.filter((lot) => isLive(lot) && lot.seen_at).map((lot) => lot.seen_at).sort();
  return {
    live_lots: seen.length,
    oldest_seen_at: seen[0] ?? null,
    newest_seen_at: seen.at(-1) ?? null,
    newest_visit_at: later(leftAt, ...lots.map((lot) => lot.seen_at)),
  };
}

/** When a lot was last taken out of each place. @param {Iterable<any>} lots @returns {Record<string, string>} */
export function leavings(lots) {
  /** @type {Record<string, string>} */
  const found = {};
  for (const lot of lots) {
    for (const { place, at } of lot.left) if (at > (found[place] ?? "")) found[place] = at;
  }
  return found;
}

/** The facts of a place; `lots` is the `standing` of those that stand in it, `stock` what frost asks of them. */
export function placeFacts(place, lots, stock = NO_STOCK) {
  return {
    kind: "place",
    id: place.id,
    place: place.id,
    place_name: place.name ?? null,
    daily: place.daily === true,
    live_lots: lots.live_lots,
    closed_at: place.closed_at ?? null,
    chamber: placeChamber(place),
    seen_at: later(lots.oldest_seen_at, place.closed_at),
    ...placeWeather(place, stock),
    enter_after: place.enter_after ?? null,
    entry: entryFacts(place, lots.newest_visit_at),
    answers: place.answers ?? {},
  };
}

function placeChamber(place) {
  if (place.kind !== "chamber" || !place.chamber_state) return null;
  return chamberFacts(place.chamber_state, place.chamber);
}

/** The facts of the nursery as a whole: when anybody was anywhere last. */
export function nurseryFacts(nursery, lots, stock = NO_STOCK) {
  return {
    kind: "nursery",
    id: nursery.id,
    place_name: nursery.name ?? null,
    live_lots: lots.live_lots,
    seen_at: later(lots.newest_seen_at, nursery.closed_at),
    ...nurseryWeather(nursery, stock),
    unbacked_since: nursery.last_backup_at ?? nursery.opened_at ?? null,
    answers: nursery.answers ?? {},
  };
}

/** The facts of a mixed solution: when, whether it is still offered, and until when. */
export function solutionFacts(solution) {
  const mixedAt = solution.mixed_at ?? null;
  return {
    kind: "solution",
    id: solution.id,
    label: solutionCode(solution.id),
    ppm: solution.ppm ?? null,
    mixed_at: mixedAt,
    offered: mixedAt !== null && (solution.discarded_at ?? null) === null,
    offered_until: mixedAt ? toText(toMs(mixedAt) + SOLUTION_OFFERED_DAYS * DAY_MS) : null,
    answers: solution.answers ?? {},
  };
}

/** A phone that nobody has named, in a sentence. */
const NAMELESS = "Phone without a name";

/** The facts of a paired phone: its last sync, and what of its record is amiss. */
export function phoneFacts(phone) {
  const amiss = [phone.gap_since, phone.refused_since].filter(Boolean).sort();
  return {
    kind: "phone",
    id: phone.id,
    label: phone.name || NAMELESS,
    paired: phone.silent_ok !== true && !["cut_off_at", "moved_to", "left_behind_at"].some((ended) => phone[ended]),
    last_sync_at: phone.last_sync_at ?? null,
    works_on: phone.works?.length ? phone.works : null,
    amiss_since: amiss[0] ?? null,
    answers: phone.answers ?? {},
  };
}
