// @ts-check
/** What frost can hurt: twin of `domain/tender.py`, where the rules and their grades stand. @module */
import { DAY_MS, later, toMs, toText, withinYears } from "./instants.js";
import { isNumber } from "./rule_terms.js";

/** @typedef {Record<string, any>} Data */

const KINDS = ["tender", "half_hardy", "hardy"];
export const FOREVER = "9999-12-31T23:59:59.999Z";
const FIRST_LEAVES_DAYS = 56;
const NEW_FLUSH_DAYS = 42;
const YOUNG_BELOW_L = 3;
const FROST_FREE = ["chamber", "shelf"];
const COLDER_BY_C = 2;
const NAMES_MAX = 3;
/** The place of lots that are in none: the last of the walk. */
export const NOWHERE = "";

/**
 * {kind, known, until, why} of a lot; `until` is when it ceases to be tender, null where it is not.
 * @param {Data} lot @param {Data | null} crop @param {string} phase
 */
export function tenderness(lot, crop, phase) {
  const [kind, hardyFromL] = kindOf(crop);
  if (["bench", "bag", "flats"].includes(phase)) return { kind, known: true, until: null, why: "below_ground" };
  const reasons = [...growing(lot, phase), ...ofKind(lot, kind, hardyFromL)];
  const before = ([until, why], [other, because]) => (until > other || (until === other && why > because) ? -1 : 1);
  const [until, why] = reasons.sort(before)[0] ?? [null, kind ?? "unknown"];
  return { kind, known: kind !== null || until === FOREVER, until, why };
}

/** A crop's own tenderness, or null, and from how many litres on it is hardy. @returns {[string | null, number]} */
export function kindOf(crop) {
  const given = crop?.tenderness ?? null;
  const row = given !== null && typeof given === "object" && !Array.isArray(given) ? given : { value: given };
  const litres = row.hardy_from_l;
  return [KINDS.includes(row.value) ? row.value : null, isNumber(litres) ? litres : YOUNG_BELOW_L];
}

/** @returns {[string, string][]} */
function growing(lot, phase) {
  /** @type {[string, string][]} */
  const found = [];
  if (phase === "emerging") found.push([FOREVER, "emerging"]);
  if (phase === "seedlings") {
    const up = lot.last_rise_at || lot.first_emerged_at || lot.started_at;
    found.push([daysAfter(up, FIRST_LEAVES_DAYS), "first_leaves"]);
  }
  const flush = lot.last.new_flush;
  if (flush && flush.value === true) found.push([daysAfter(flush.at, NEW_FLUSH_DAYS), "new_flush"]);
  return found;
}

/** @returns {[string, string][]} */
function ofKind(lot, kind, hardyFromL) {
  if (kind === "tender") return [[FOREVER, "tender"]];
  const young = !isNumber(lot.container_l) || lot.container_l < hardyFromL;
  return kind === "half_hardy" && young ? [[FOREVER, "half_hardy"]] : [];
}

const daysAfter = (at, days) => toText(withinYears(toMs(at) + days * DAY_MS));

/** What frost and heat ask of a live lot: {until, why, known, cover, bared_at, small}, or null. */
export function weatherEntry(lot, crop, phase) {
  const { until, why, known } = tenderness(lot, crop, phase);
  const young = isNumber(lot.container_l) && lot.container_l < YOUNG_BELOW_L;
  const cover = lot.cover ?? null;
  const small = phase === "seedlings" || (phase === "pots" && young);
  return until || !known || cover || small ? { until, why, known, cover, bared_at: lot.bared_at ?? null, small } : null;
}

/** The cover that is over a lot, its own or its place's, the later of the two; or null. @returns {Data | null} */
export function coverOf(entry, place) {
  const [one, other] = coversOf(entry, place);
  return other && other.at > one.at ? other : one ?? null;
}

/** The covers over a lot: its own, its place's, both or none. @returns {Data[]} */
function coversOf(entry, place) {
  const own = entry.cover && entry.cover.at >= (place.bared_at || "") ? entry.cover : null;
  const laid = place.covered && place.covered.at >= (entry.bared_at || "") ? place.covered : null;
  return [own, laid].filter((cover) => cover !== null);
}

/** Whether frost can get at a place. */
export function isOpen(place) {
  return !(typeof place.frost_free === "boolean" ? place.frost_free : FROST_FREE.includes(place.kind));
}

/**
 * What frost would find at an instant: {lots, unknown_lots, thin_lots, opened_at, thin_at, place_ids, names}.
 * @param {Data[]} entries @param {Record<string, Data>} places @param {string} at @param {number | null} low
 */
export function openStock(entries, places, at, low) {
  const found = { lots: 0, unknown_lots: 0, thin_lots: 0 };
  const where = new Set();
  /** @type {Span[]} */
  const spans = [];
  let thin_at = null;
  for (const entry of entries) {
    const place = places[entry.place || ""] ?? {};
    if (!isOpen(place)) continue;
    const cover = coverOf(entry, place);
    if ((entry.until || "") > at) {
      spans.push(lastOpen(entry, place));
      if (cover === null) {
        found.lots += 1;
        where.add(entry.place || "");
      } else if (isThin(cover, low)) {
        found.thin_lots += 1;
        thin_at = later(thin_at, cover.at);
      }
    } else if (!entry.known && cover === null) found.unknown_lots += 1;
  }
  const ids = walkingOrder(where, places);
  return { ...found, opened_at: openedAt(spans), thin_at, place_ids: ids, names: namesOf(ids, places) };
}

/** @typedef {[since: string, until: string | null]} Span when a lot was without a cover the last time */

/** @returns {Span} */
function lastOpen(entry, place) {
  const bared = [entry.bared_at || "", place.bared_at || ""].sort()[1];
  const begun = coversOf(entry, place).map(({ since, at }) => (since && since >= bared ? since : at));
  return [bared, begun.sort()[0] ?? null];
}

/** Since when there has been something open without a break, or null. See the twin. @param {Span[]} spans */
export function openedAt(spans) {
  let began = spans.filter(([, until]) => until === null).map(([since]) => since).sort()[0];
  if (began === undefined) return null;
  const over = spans.filter(([, until]) => until !== null).sort((a, b) => (a[1] < b[1] ? 1 : a[1] > b[1] ? -1 : 0));
  for (const [since, until] of over) {
    if (until < began) break;
    if (since < began) began = since;
  }
  return began || null;
}

/** How many lots that frost can hurt stand where it can get at them, covered or not. */
export const tenderOutdoors = ({ entries, places }, at) =>
  entries.filter(({ until, place }) => (until ?? "") > at && isOpen(places[place ?? ""] ?? {})).length;

/** {id, for_low_c} of the tender lots of a place under a cover for a milder night. */
export function thinCovers({ entries, places }, place, at, low) {
  const row = places[place] ?? {};
  const there = isOpen(row) ? entries.filter((one) => (one.place || NOWHERE) === place && (one.until ?? "") > at) : [];
  const over = there.map((one) => ({ id: one.id, cover: coverOf(one, row) }));
  return over.filter(({ cover }) => cover && isThin(cover, low)).map(({ id, cover }) => ({ id, for_low_c: cover.for_low_c }));
}

const isThin = (cover, low) => isNumber(cover.for_low_c) && low !== null && low < cover.for_low_c - COLDER_BY_C;

/** Ids of places in the order in which they are walked. @param {Iterable<string>} ids @returns {string[]} */
export function walkingOrder(ids, places) {
  const step = (id) => [id === NOWHERE ? 1 : 0, isNumber(places[id]?.order) ? places[id].order : 1e9, String(places[id]?.name || ""), id];
  const compare = (one, other) => (one < other ? -1 : one > other ? 1 : 0);
  return [...ids].map(step).sort((a, b) => compare(a[0], b[0]) || compare(a[1], b[1]) || compare(a[2], b[2]) || compare(a[3], b[3]))
    .map((found) => found[3]);
}

/** The names of the first few places, and how many more there are. @param {string[]} ids */
export function namesOf(ids, places) {
  const named = ids.slice(0, NAMES_MAX).map((id) => (id === NOWHERE ? "without a place" : String(places[id]?.name || "?")));
  const more = ids.length - named.length;
  return named.join(", ") + (more ? ` + ${more}` : "");
}
