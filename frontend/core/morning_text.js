// @ts-check
/** The morning list as plain text: twin of `domain/morning_text.py`. @module */
import { roundHalfUp } from "./rule_terms.js";

/**
 * The list as plain text, with boxes to tick and blanks to fill in by hand.
 * @param {ReturnType<typeof import("./morning.js").morning>} found
 * @param {Record<string, string>} words the sentences by their keys, as `domain/morning_words.py` has them
 * @param {Record<string, string>} people names by id, for who has taken an alarm on
 */
export function text(found, words, people) {
  const made = filled(words.made, { time: found.made.time });
  const lines = [title(found, words), made, words.walker, words.legend, ""];
  if (found.alarms.length) {
    lines.push(words.alarms, ...found.alarms.map((one) => `! ${alarmLine(one, words, people)}`));
    if (found.alarms_left) lines.push(filled(words.more, { n: found.alarms_left }));
    lines.push("");
  }
  if (found.running.length) {
    lines.push(words.running, ...found.running.map((one) => `[ ] ${runningLine(one, words, found.day)}    ${runningBlank(one, words)}`));
    if (found.running_left) lines.push(filled(words.more, { n: found.running_left }));
    lines.push("");
  }
  for (const [head, told] of above(found, words, people)) lines.push(words[head], ...told, "");
  for (const stop of found.stops) lines.push(...stopLines(stop, words, people), "");
  if (!found.stops.length) lines.push(words.none, "");
  if (found.lots_left) lines.push(filled(words.more, { n: found.lots_left }), "");
  if (found.nothing_due.length) lines.push(filled(words.nothing_in, { places: found.nothing_due.join(", ") }), "");
  for (const [head, told] of below(found, words)) lines.push(words[head], ...told, "");
  return [...lines, words.notes, ""].join("\n");
}

/**
 * [the key of its heading, its lines] of each part that stands above the places.
 * @returns {[string, string[]][]}
 */
export function above(found, words, people) {
  const wide = found.wide.map((one) => `- ${sentence(one, words, people)}`);
  const parts = /** @type {[string, string[]][]} */ ([["wide", wide], ["evening", eveningLines(found.evening, words, found.day)]]);
  return parts.filter(([, lines]) => lines.length);
}

/** The same of what stands below them: what somebody left until later. @returns {[string, string[]][]} */
export function below(found, words) {
  const lines = found.shelved.map((one) => {
    const more = one.more ? filled(words.left_more, { n: one.more }) : "";
    const why = one.why ? ` (${one.why})` : "";
    return `- ${filled(words.left_line, { until: momentOf(one.until, words, found.day), what: one.says })}${more}${why}`;
  });
  if (found.shelved_left) lines.push(filled(words.more, { n: found.shelved_left }));
  return lines.length ? [["left", lines]] : [];
}

function eveningLines(evening, words, day) {
  if (!evening) return [];
  const lines = [`- ${figureLine(evening, words, day)}`];
  if (evening.lots) {
    const gaps = { n: evening.lots, sunset: momentOf(evening.sunset, words, day) };
    lines.push(`- ${filled(evening.is_set ? words.cover_now : words.to_cover, gaps)}`);
    lines.push(...evening.places.map((one) => box(placeName(one, words), words)));
  }
  lines.push(...evening.thin.map((one) => box(thinLine(evening, one, words, day), words)));
  for (const one of evening.covered) {
    const kept = one.until ?? one.off_from;
    const key = one.until ? "covered_until" : kept ? "covered" : "covered_on";
    const times = { since: momentOf(one.since, words, day), ...(kept ? { at: momentOf(kept, words, day) } : {}) };
    const said = filled(words[key], { ...times, place: placeName(one, words) });
    lines.push(one.comes_off ? box(said, words) : `- ${said}`);
  }
  return lines;
}

/** A line with a box to tick and a blank for when. */
const box = (said, words) => `[ ] ${said}    ${words.at}`;

function thinLine({ low_c, sunset, is_set }, thin, words, day) {
  const figures = { meant: degreesOf(thin.for_low_c), low_c: degreesOf(low_c) };
  return filled(words[is_set ? "thin_now" : "thin"], { ...figures, sunset: momentOf(sunset, words, day), place: placeName(thin, words) });
}

const placeName = ({ place, name }, words) => (place ? name : words.loose);

function figureLine({ low_c, range_low_c, told, last }, words, day) {
  if (low_c !== null) return filled(words.tonight, { low_c: degreesOf(low_c), range_low_c: degreesOf(range_low_c), told: momentOf(told, words, day) });
  return last ? filled(words.no_figure_last, { low_c: degreesOf(last.low_c), told: momentOf(last.told, words, day) }) : words.no_figure;
}

/** A figure to a tenth, with a minus that is read as one. */
const degreesOf = (value) => String(roundHalfUp(value * 10) / 10).replace("-", "−");

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

/** An alarm in one line, with the place where its lot stands. */
export function alarmLine(alarm, words, people) {
  const where = alarm.lot && alarm.place ? ` (${alarm.place})` : "";
  return `${sentence(alarm, words, people)}${where}`;
}

/** A running step in one line: "26-033-H Magnolia kobus: drained since 07:00, …". */
export function runningLine(step, words, day) {
  const where = step.place ? ` (${step.place})` : "";
  const said = filled(words[`run_${step.kind}`], { since: momentOf(step.since, words, day), until: momentOf(step.until, words, day) });
  return `${step.label} ${step.crop}: ${said}${where}`;
}

/** The blank of a running step; drained seed goes on to one thing or another. */
export const runningBlank = (step, words) => words[step.kind === "drained" ? "onward_at" : "at"];

/** "07:00", with its day where that is not the sheet's: "07:00 on 9 September". */
function momentOf(at, words, day) {
  if (at.day === day) return at.time;
  const [, month, number] = at.day.split("-").map(Number);
  return filled(words.on_day, { time: at.time, day: number, month: words[`month_${month}`] });
}

/** What is wrong, what to do and who has it, in one line. */
export function sentence(thing, words, people) {
  const said = thing.next_action ? `${thing.says}. ${thing.next_action}.` : thing.says;
  const level = thing.level ? words[`level_${thing.level}`] : "";
  const having = thing.by_said ? words.had_by_said : words.had_by;
  const had = thing.by ? filled(having, { who: people[thing.by] || "?" }) : "";
  return level ? `${level}: ${said}${had}` : `${said}${had}`;
}

function filled(sentence, gaps) {
  return Object.entries(gaps).reduce((text, [name, value]) => text.replaceAll(`{${name}}`, () => String(value)), sentence);
}
