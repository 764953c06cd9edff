// @ts-check
/**
 * Evaluating the watches on the phone. A subject whose row, crop and rules are the same as last
 * time, and whose next deadline has not come, keeps what was found: a tap costs one lot.
 * @module
 */
import { answered } from "../core/answers.js";
import { leavings, lotFacts, nurseryFacts, placeFacts, solutionFacts, standing } from "../core/facts.js";
import { toMs } from "../core/instants.js";
import { spreadingSince } from "../core/neighbours.js";
import { lastSpell } from "../core/spells.js";
import { evaluate } from "../core/watches.js";
import { weatherOf } from "./weather.js";

/** @typedef {Map<string, Map<string, any>>} RowsByKind */

/** What was found last time, by `kind:id`. @type {Map<string, any>} */
let kept = new Map();

/**
 * @param {RowsByKind} rows
 * @param {Map<string, any>} lots
 * @param {string} now canonical text
 * @returns {{findings: Map<string, any[]>, listed: Map<string, any[]>, notices: Map<string, any[]>}}
 *   by `kind:id`; notices by lot id
 */
export function watchAll(rows, lots, now) {
  const home = [...(rows.get("nursery")?.values() ?? [])][0];
  if (!home) return { findings: new Map(), listed: new Map(), notices: new Map() };
  const rules = rows.get("watch") ?? new Map();
  const house = {
    now,
    rules: [...rules.values()].sort((a, b) => (a.id < b.id ? -1 : 1)),
    site: { offsets: home.offsets, working_days: home.working_days, hemisphere: home.hemisphere, season_starts: home.season_starts },
    spreading: spreadingByPlace(lots),
    depends: [rules, home],
    seen: new Map(),
  };
  for (const lot of lots.values()) watchLot(house, lot, rows, home);
  watchPlaces(house, rows, lots, home);
  kept = house.seen;
  return collect(kept, rows, house);
}

function watchLot(house, lot, rows, home) {
  const crop = rows.get("protocol")?.get(lot.crop) ?? null;
  const place = rows.get("place")?.get(lot.place) ?? null;
  const dip = lastSpell(lot, "sanitise");
  const bucket = rows.get("solution")?.get(dip?.solution) ?? null;
  const beside = house.spreading.get(lot.place) ?? [];
  // As text, so that only a change of what spreads has the lots beside it worked out again.
  look(house, `lot:${lot.id}`, [lot, crop, place, bucket, beside.join()], () => lotFacts(lot, crop, place, bucket, beside, home));
}

/** [lot, since] of the lots in which mould is spreading, by place. */
function spreadingByPlace(lots) {
  const found = new Map();
  for (const lot of lots.values()) {
    const since = lot.series.fungus ? spreadingSince(lot) : null;
    if (since) found.set(lot.place, [...(found.get(lot.place) ?? []), [lot.id, since]]);
  }
  return found;
}

function watchPlaces(house, rows, lots, home) {
  const byPlace = new Map();
  const weather = weatherOf(rows, lots, house.site.offsets);
  const left = leavings(lots.values());
  for (const lot of lots.values()) {
    if (!lot.place) continue;
    if (!byPlace.has(lot.place)) byPlace.set(lot.place, []);
    byPlace.get(lot.place).push(lot);
  }
  for (const place of rows.get("place")?.values() ?? []) {
    const here = standing(byPlace.get(place.id) ?? [], left[place.id]);
    const stock = weather.inPlace(place);
    look(house, `place:${place.id}`, [place, ...Object.values(here), stock.key], () => placeFacts(place, here, stock));
  }
  for (const solution of rows.get("solution")?.values() ?? []) {
    look(house, `solution:${solution.id}`, [solution], () => solutionFacts(solution));
  }
  const whole = standing([...lots.values()]);
  const everywhere = weather.everywhere(home, house.now, byPlace);
  const felt = [...Object.values(whole), everywhere.key, ...Object.values(everywhere.places)];
  look(house, `nursery:${home.id}`, felt, () => nurseryFacts(home, whole, everywhere));
}

/** Evaluate one subject, or keep what was found while nothing that it rests on has changed. */
function look(house, key, parts, facts) {
  const depends = [...house.depends, ...parts];
  const before = kept.get(key);
  const same = before?.depends.length === depends.length && depends.every((part, index) => part === before.depends[index]);
  const early = same && before.at <= house.now && (before.next_deadline === null || house.now < before.next_deadline);
  const found = early ? before : { ...evaluate(house.rules, key.split(":", 1)[0], facts(), house.now, house.site), depends, at: house.now };
  house.seen.set(key, found);
}

function collect(seen, rows, house) {
  const findings = new Map();
  const listed = new Map();
  const notices = new Map();
  for (const [key, found] of seen) {
    const [rings, entries] = [found.findings.filter((one) => one.rings), found.findings.filter((one) => !one.rings)];
    if (rings.length) findings.set(key, rings);
    if (entries.length) listed.set(key, entries);
    if (key.startsWith("lot:") && found.notices.length) notices.set(key.slice(4), found.notices);
  }
  // Of other phones only the server knows.
  for (const alert of rows.get("alert")?.values() ?? []) {
    if (alert.subject.kind !== "phone") continue;
    const key = `phone:${alert.subject.id}`;
    const told = withAnswers(alert, rows, house);
    if (told) findings.set(key, [...(findings.get(key) ?? []), told]);
  }
  return { findings, listed, notices };
}

/** The server's alert with the answers that this phone knows of, unsent ones too; null where it was put off. */
function withAnswers(alert, rows, { now, site }) {
  const answers = rows.get(alert.subject.kind)?.get(alert.subject.id)?.answers;
  if (!answers?.[alert.watch]) return alert;
  const rule = rows.get("watch")?.get(alert.watch) ?? { id: alert.watch };
  const [state] = answered(rule, { answers }, { since: toMs(alert.since) }, toMs(now), site);
  return state && { ...alert, ...state };
}
