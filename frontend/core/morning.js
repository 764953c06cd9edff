// @ts-check
/**
 * The morning list: twin of `domain/morning.py`. What waits in each place today, in walking order,
 * for a sheet of paper.
 * @module
 */
import { benchRow, SHORT } from "./bench.js";
import { evening } from "./evening.js";
import { group } from "./grouping.js";
import { localDate, localTime, nextDay, toMs, weekday } from "./instants.js";
import { inOrder, isToSee, notLeft, path, WEIGHT } from "./walk.js";
import { NO_STOCK } from "./weather_facts.js";

// More than a person walks in a morning; beyond it the list says how many are left out.
const LOTS_MAX = 400;
const ALARMS_MAX = 20;
const RUNNING_MAX = 40;
const WIDE_MAX = 20;
const SHELVED_MAX = 20;
const WIDE = ["nursery", "phone", "solution"];
const COUNTED = ["cold", "sown", "emerging"];
const compared = (a, b) => (a < b ? -1 : a > b ? 1 : 0);

/**
 * @typedef {{nursery: any, places: any[], lots: any[], crops: Record<string, any>,
 *   findings: Record<string, any[]>, notices: Record<string, any[]>, stock?: any}} House findings by
 *   `kind:id`, notices by lot id, as the watches gave them; what frost asks of the lots
 */

/**
 * What is to be seen today: `{nursery, day, weekday, made_at, made, alarms, alarms_left, running,
 * running_left, wide, evening, stops, nothing_due, lots_left, shelved, shelved_left}`, each as the
 * twin says.
 * @param {House} house
 * @param {string} now canonical text
 */
export function morning(house, now) {
  const { nursery } = house;
  const day = localDate(toMs(now), nursery.offsets);
  const stops = path(house.places, house.lots).map(([place, held]) => stopOf(house, place, held, day));
  stops.forEach((stop, index) => {
    stop.number = index + 1;
  });
  const hasWork = (stop) => stop.lots.length > 0 || stop.says.length > 0;
  const walked = stops.filter(hasWork);
  const rest = stops.filter((stop) => !hasWork(stop) && stop.name);
  const left = bounded(walked);
  const shelved = shelvedIn(house);
  const alarms = alarmsOf(house);
  const running = runningIn(house);
  return {
    nursery: nursery.name || "",
    day,
    weekday: weekday(day),
    made_at: now,
    made: momentOf(now, nursery.offsets),
    alarms: alarms.slice(0, ALARMS_MAX),
    alarms_left: Math.max(0, alarms.length - ALARMS_MAX),
    running: running.slice(0, RUNNING_MAX),
    running_left: Math.max(0, running.length - RUNNING_MAX),
    wide: wideIn(house).slice(0, WIDE_MAX),
    evening: eveningOf(house, now, day),
    stops: walked,
    nothing_due: rest.map((stop) => `${stop.number}. ${stop.name}`),
    lots_left: left,
    shelved: shelved.slice(0, SHELVED_MAX),
    shelved_left: Math.max(0, shelved.length - SHELVED_MAX),
  };
}

function stopOf(house, place, held, day) {
  const own = told(house.findings[`place:${place.id}`] ?? []);
  const about = (lot) => ({ noticed: Boolean(house.notices[lot.id]?.length), day, offsets: house.nursery.offsets });
  const seen = held.filter((lot) => isToSee(place, lot, open(house, lot), about(lot)));
  return {
    place: place.id,
    name: place.name,
    number: /** @type {number | null} */ (null),
    says: own.map((finding) => thing(finding, place.name)),
    lots: inOrder(seen, (lot) => open(house, lot)).map((lot) => line(house, lot)),
  };
}

/** A lot's findings that nobody has left until later. */
const open = (house, lot) => notLeft(house.findings[`lot:${lot.id}`] ?? []);

/** What is said of these findings, the gravest first. */
function told(findings) {
  const shown = notLeft(findings).filter((one) => !one.hidden_by);
  return shown.sort((a, b) => WEIGHT[b.level] - WEIGHT[a.level] || a.priority - b.priority || compared(a.since, b.since));
}

function line(house, lot) {
  const notices = house.notices[lot.id] ?? [];
  const todo = [
    ...told(open(house, lot)).map((finding) => thing(finding, lot.label)),
    ...notices.map((one) => ({ level: null, says: one.says, next_action: "", by: null })),
  ];
  return {
    lot: lot.id,
    label: lot.label,
    crop: cropName(house, lot),
    level: todo[0]?.level ?? null,
    todo,
    counts: COUNTED.includes(lot.stage),
  };
}

const cropName = (house, lot) => house.crops[lot.crop]?.botanical || lot.crop;

function thing(finding, name) {
  return {
    level: finding.level,
    says: withoutName(finding.says, name),
    next_action: finding.next_action,
    by: finding.acknowledged_by ?? null,
    by_said: finding.acknowledged_by_said === true,
  };
}

/** A sentence without the name that stands before its colon, where that is this one. */
function withoutName(says, name) {
  const at = says.indexOf(": ");
  return at >= 0 && name && says.slice(0, at).startsWith(name) ? says.slice(at + 2) : says;
}

/** Every alarm of the nursery in a sentence of its own, the gravest first. */
function alarmsOf(house) {
  const places = new Map(house.places.map((place) => [place.id, place.name]));
  return told(Object.values(house.findings).flat()).filter((one) => one.level === "alarm")
    .map((one) => ({ ...thing(one, null), lot: one.lot, place: places.get(one.place) ?? null }));
}

const momentOf = (instant, offsets) => ({ day: localDate(toMs(instant), offsets), time: localTime(toMs(instant), offsets) });

/** What is due of the nursery as a whole, of its phones and its buckets; no alarms. */
function wideIn(house) {
  const found = Object.entries(house.findings).filter(([key]) => WIDE.includes(key.split(":")[0])).flatMap(([, held]) => held);
  return told(found).filter(({ level }) => level !== "alarm").map((one) => thing(one, null));
}

/** What somebody left until later, a line for each entry of the alerts, the next first. */
function shelvedIn(house) {
  const left = group(Object.values(house.findings).flat()).filter(({ state }) => state === "shelved");
  const found = left.map(({ findings, folded }) => ({
    says: findings[0].says,
    more: findings.length + folded.length - 1,
    until: findings.map((one) => one.shelved_until).sort()[0],
    why: findings[0].shelved_why ?? null,
  }));
  found.sort((a, b) => compared(a.until, b.until) || compared(a.says, b.says));
  return found.map((one) => ({ ...one, until: momentOf(one.until, house.nursery.offsets) }));
}

/** The night to come, its times as the nursery has them; or null. */
function eveningOf(house, now, day) {
  const found = evening(house.nursery, house.stock ?? NO_STOCK, now);
  if (!found) return null;
  const moment = (instant) => (instant ? momentOf(instant, house.nursery.offsets) : null);
  const { low_c, range_low_c, range_high_c, last, places } = found;
  return {
    low_c, range_low_c, range_high_c, told: moment(found.told_at),
    last: last && { low_c: last.value, told: moment(last.at) },
    sunset: moment(found.sunset_at), is_set: found.is_set, lots: found.open_lots, places, thin: found.thin,
    covered: found.covered.map(({ place, name, since, until, off_from }) => {
      const off = moment(off_from);
      return { place, name, since: moment(since), until: until ? off : null, off_from: off, comes_off: off !== null && off.day <= nextDay(day) };
    }),
  };
}

/** The soaks, dips and drained seed, what ends first first. */
function runningIn(house) {
  const places = new Map(house.places.map((place) => [place.id, place.name]));
  const rows = house.lots.map((lot) => ({ lot, row: benchRow(lot, house.crops[lot.crop]) })).filter(({ row }) => SHORT.includes(row?.kind));
  rows.sort((a, b) => compared(a.row.target_at, b.row.target_at) || compared(a.lot.label, b.lot.label) || compared(a.lot.id, b.lot.id));
  const moment = (instant) => momentOf(instant, house.nursery.offsets);
  return rows.map(({ lot, row }) => ({
    lot: lot.id,
    label: lot.label,
    crop: cropName(house, lot),
    place: places.get(lot.place) ?? null,
    kind: row.kind,
    since: moment(row.started_at),
    until: moment(row.target_at),
  }));
}

/** Cut the list where it grows beyond a walk. @returns {number} how many lots are left out */
function bounded(stops) {
  let room = LOTS_MAX;
  let left = 0;
  for (const stop of stops) {
    left += Math.max(0, stop.lots.length - room);
    stop.lots = stop.lots.slice(0, room);
    room -= stop.lots.length;
  }
  return left;
}
