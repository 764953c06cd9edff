// @ts-check
/**
 * The morning list: twin of `domain/morning.py`. What waits in each place today, in walking order,
 * for a sheet of paper.
 * @module
 */
import { isLive } from "./facts.js";
import { localDate, toMs, weekday } from "./instants.js";

const WEIGHT = { due: 1, late: 2, alarm: 3 };
/** Lots that stand nowhere on record are walked last. */
const LOOSE = "-";
const NO_ORDER = 10 ** 9;
// More than a person walks in a morning; beyond it the list says how many are left out.
const LOTS_MAX = 400;
const ALARMS_MAX = 20;
const COUNTED = ["cold", "sown", "emerging"];

/**
 * @typedef {{nursery: any, places: any[], lots: any[], crops: Record<string, any>,
 *   findings: Record<string, any[]>, notices: Record<string, any[]>}} House findings by `kind:id`,
 *   notices by lot id, as the watches gave them
 */

/**
 * What is to be seen today: `{nursery, day, weekday, made_at, alarms, alarms_left, stops,
 * nothing_due, lots_left}`; each stop is `{place, name, number, says, lots}`, each lot
 * `{lot, label, crop, level, todo, counts}`, and each thing to do `{level, says, next_action, by}`.
 * @param {House} house
 * @param {string} now canonical text
 */
export function morning(house, now) {
  const { nursery } = house;
  const day = localDate(toMs(now), nursery.offsets);
  const stops = path(house).map(([place, held]) => stopOf(house, place, held, day));
  const walked = stops.filter((stop) => stop.lots.length || stop.says.length);
  walked.forEach((stop, index) => {
    stop.number = index + 1;
  });
  const left = bounded(walked);
  const alarms = alarmsOf(house);
  return {
    nursery: nursery.name || "",
    day,
    weekday: weekday(day),
    made_at: now,
    alarms: alarms.slice(0, ALARMS_MAX),
    alarms_left: Math.max(0, alarms.length - ALARMS_MAX),
    stops: walked,
    nothing_due: stops.filter((stop) => stop.number === null && stop.name).map((stop) => stop.name),
    lots_left: left,
  };
}

/** `[place, live lots in it]` in walking order; loose lots come last. @returns {[any, any[]][]} */
function path(house) {
  const places = [...house.places].sort(byWalkingOrder);
  const byPlace = new Map(places.map((place) => [place.id, /** @type {any[]} */ ([])]));
  const loose = [];
  for (const lot of house.lots) if (isLive(lot)) (byPlace.get(lot.place || LOOSE) ?? loose).push(lot);
  const found = places.map((place) => /** @type {[any, any[]]} */ ([place, byPlace.get(place.id)]));
  return loose.length ? [...found, [{ id: LOOSE, name: null, daily: false }, loose]] : found;
}

const compared = (a, b) => (a < b ? -1 : a > b ? 1 : 0);
const byWalkingOrder = (a, b) => (a.order ?? NO_ORDER) - (b.order ?? NO_ORDER)
  || compared(a.name || "", b.name || "") || compared(a.id, b.id);

function stopOf(house, place, held, day) {
  const own = told(house.findings[`place:${place.id}`] ?? []);
  const lots = held.filter((lot) => isToSee(house, place, lot, day));
  lots.sort((a, b) => weight(house, b) - weight(house, a) || compared(a.label, b.label) || compared(a.id, b.id));
  return {
    place: place.id,
    name: place.name,
    number: /** @type {number | null} */ (null),
    says: own.map((finding) => thing(finding, place.name)),
    lots: lots.map((lot) => line(house, lot)),
  };
}

/** Whether a lot is on today's walk: the rule of the round (`ui/to_see.js`). */
function isToSee(house, place, lot, day) {
  const found = open(house, lot);
  const seenToday = lot.seen_at !== null && localDate(toMs(lot.seen_at), house.nursery.offsets) === day;
  if (seenToday && !found.some((finding) => finding.level === "alarm")) return false;
  return place.daily === true || found.length > 0 || Boolean(house.notices[lot.id]?.length);
}

/** A lot's findings that nobody has left until later. */
const open = (house, lot) => (house.findings[`lot:${lot.id}`] ?? []).filter((finding) => finding.state !== "shelved");

const weight = (house, lot) => Math.max(0, ...open(house, lot).map((finding) => WEIGHT[finding.level]));

/** What is said of these findings, the gravest first. */
function told(findings) {
  const shown = findings.filter((one) => one.state !== "shelved" && !one.hidden_by);
  return shown.sort((a, b) => WEIGHT[b.level] - WEIGHT[a.level] || a.priority - b.priority || compared(a.since, b.since));
}

function line(house, lot) {
  const crop = house.crops[lot.crop] ?? {};
  const notices = house.notices[lot.id] ?? [];
  const todo = [
    ...told(open(house, lot)).map((finding) => thing(finding, lot.label)),
    ...notices.map((one) => ({ level: null, says: one.says, next_action: "", by: null })),
  ];
  return {
    lot: lot.id,
    label: lot.label,
    crop: crop.botanical || lot.crop,
    level: todo[0]?.level ?? null,
    todo,
    counts: COUNTED.includes(lot.stage),
  };
}

function thing(finding, name) {
  return {
    level: finding.level,
    says: withoutName(finding.says, name),
    next_action: finding.next_action,
    by: finding.acknowledged_by ?? null,
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

/**
 * The list as plain text, with boxes to tick and blanks to fill in by hand.
 * @param {ReturnType<typeof morning>} found
 * @param {Record<string, string>} words the sentences by their keys, as `domain/morning_words.py` has them
 * @param {Record<string, string>} people names by id, for who has taken an alarm on
 */
export function text(found, words, people) {
  const lines = [title(found, words), words.walker, words.legend, ""];
  if (found.alarms.length) {
    lines.push(words.alarms, ...found.alarms.map((one) => alarmLine(one, words, people)));
    if (found.alarms_left) lines.push(filled(words.more, { n: found.alarms_left }));
    lines.push("");
  }
  for (const stop of found.stops) lines.push(...stopLines(stop, words, people), "");
  if (!found.stops.length) lines.push(words.none, "");
  if (found.lots_left) lines.push(filled(words.more, { n: found.lots_left }), "");
  if (found.nothing_due.length) lines.push(filled(words.nothing_in, { places: found.nothing_due.join(", ") }), "");
  return [...lines, words.notes, ""].join("\n");
}

/** "Quillstone Nursery: morning list, Thursday 10 September 2026". */
export function title(found, words) {
  return filled(words.title, { nursery: found.nursery || words.no_name, date: longDate(found, words) });
}

/** "Thursday 10 September 2026". */
export function longDate(found, words) {
  const [year, month, day] = found.day.split("-");
  const named = { weekday: words[`day_${found.weekday}`], month: words[`month_${Number(month)}`] };
  return filled(words.date, { day: Number(day), year, ...named });
}

function stopLines(stop, words, people) {
  const name = stop.name || words.loose;
  const lines = [filled(words.place, { n: stop.number, place: name })];
  lines.push(...stop.says.map((one) => `  ! ${sentence(one, words, people)}`));
  for (const lot of stop.lots) {
    lines.push(`[ ] ${lot.label} ${lot.crop}`, ...lot.todo.map((one) => `    ${sentence(one, words, people)}`));
    if (!lot.todo.length) lines.push(`    ${words.look}`);
    lines.push(`    ${lot.counts ? words.count_blanks : words.blanks}`);
  }
  return lines;
}

function alarmLine(alarm, words, people) {
  const where = alarm.lot && alarm.place ? ` (${alarm.place})` : "";
  return `! ${sentence(alarm, words, people)}${where}`;
}

/** What is wrong, what to do and who has it, in one line. */
export function sentence(thing, words, people) {
  const said = thing.next_action ? `${thing.says}. ${thing.next_action}.` : thing.says;
  const level = thing.level ? words[`level_${thing.level}`] : "";
  const had = thing.by ? filled(words.had_by, { who: people[thing.by] || "?" }) : "";
  return level ? `${level}: ${said}${had}` : `${said}${had}`;
}

function filled(sentence, gaps) {
  return Object.entries(gaps).reduce((text, [name, value]) => text.replaceAll(`{${name}}`, () => String(value)), sentence);
}
