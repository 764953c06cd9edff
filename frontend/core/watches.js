// @ts-check
/**
 * Watches: alert rules as data, read by this small interpreter: twin of `domain/watches.py`.
 * `now` is always passed in.
 * @module
 */
import {
  LAST_MS, afterWorkingTime, localDate, localInstant, localTime, nextWorkingDay, toMs, toText,
} from "./instants.js";
import { answered } from "./answers.js";
import { beginningOf, clearAt } from "./occurrences.js";
import { fact, holds, instantMs, lengthMs, runStart } from "./rule_terms.js";
import { afterGrowingTime, nthMidwinter } from "./winters.js";

export const LEVELS = ["due", "late", "alarm"];
const MONTHS = ("January February March April May June July August September October November"
  + " December").split(" ");
const SHARED = ["clock", "anew", "after", "unless", "until", "counts"];

/**
 * {findings, notices, next_deadline} of one subject at an instant.
 * @param {any[]} rules
 * @param {string} subject `lot`, `place`, `phone` or `nursery`
 * @param {Record<string, any>} facts
 * @param {string} now canonical text
 * @param {{offsets: any[], working_days: number[], hemisphere?: string, season_starts?: any}} site
 */
export function evaluate(rules, subject, facts, now, site) {
  const nowMs = toMs(now);
  /** @type {any[]} */
  const findings = [];
  /** @type {any[]} */
  const notices = [];
  /** @type {number[]} */
  const deadlines = [];
  for (const shipped of rules) {
    const rule = asItStands(shipped, facts);
    if (!rule.subjects.includes(subject) || rule.enabled === false) continue;
    const known = "given" in rule ? { ...facts, given: rule.given } : facts;
    const [found, seen, ahead] = worstOfEach(rule, known, nowMs, site);
    deadlines.push(...ahead);
    if (found) {
      const [answer, ends] = answered(rule, known, found, nowMs, site);
      if (ends !== null) deadlines.push(ends);
      if (answer) findings.push({ ...finding(rule, found, seen, site), ...answer });
    }
    notices.push(...foretold(rule, known, nowMs, site));
  }
  hide(rules, findings);
  const ahead = deadlines.filter((at) => at > nowMs);
  return { findings, notices, next_deadline: ahead.length ? toText(Math.min(...ahead)) : null };
}

/** The rule as it stands for a subject: its place beats its crop beats the nursery. */
export function asItStands(rule, facts) {
  return forPlace(forCrop(rule, facts.crop ?? null), facts.place ?? null);
}

/** The rule as it stands for a crop: what the owner changed for it replaces the rest. */
export function forCrop(rule, crop) {
  const changed = rule.crops?.[crop];
  return changed ? { ...rule, ...changed } : rule;
}

/** The rule as it stands in a place, for the place itself and for the lots in it. */
export function forPlace(rule, place) {
  const changed = rule.places?.[place];
  return changed ? { ...rule, ...changed } : rule;
}

function casesOf(rule) {
  /** @type {Record<string, any>} */
  const shared = {};
  for (const key of SHARED) if (key in rule) shared[key] = rule[key];
  const cases = rule.cases?.length ? rule.cases : [{}];
  return cases.map((one) => ({ ...shared, ...one }));
}

/** The worst case, the facts it was found in, and every instant ahead. See the Python twin. */
function worstOfEach(rule, facts, nowMs, site) {
  if (!("each" in rule)) {
    const [found, ahead] = worstCase(rule, facts, nowMs, site);
    return [found, facts, ahead];
  }
  const [path, name] = rule.each;
  let [worst, seen] = [null, facts];
  const ahead = [];
  for (const entry of fact(facts, path) || []) {
    const own = { ...facts, [name]: entry };
    const [found, more] = worstCase(rule, own, nowMs, site);
    ahead.push(...more);
    if (found && (!worst || heavier(found, worst))) [worst, seen] = [found, own];
  }
  return [worst, seen, ahead];
}

function worstCase(rule, facts, nowMs, site) {
  if (!(rule.when ?? []).every((condition) => holds(condition, facts))) return [null, []];
  let worst = null;
  const ahead = [];
  const began = [];
  for (const one of casesOf(rule)) {
    let times = levelTimes(one, facts, site);
    const until = "until" in one ? instantMs(fact(facts, one.until), site) : null;
    if (until !== null) {
      times = Object.fromEntries(Object.entries(times).filter(([, at]) => at < until));
      if (nowMs >= until) continue;
    }
    ahead.push(...Object.values(times));
    const reached = LEVELS.filter((level) => level in times && times[level] <= nowMs);
    if (!reached.length) continue;
    if (until !== null) ahead.push(until);
    const level = /** @type {string} */ (reached.at(-1));
    const since = Math.min(...reached.map((name) => times[name]));
    const instants = Object.values(times).sort((a, b) => a - b);
    const found = { ...one, level, since, level_since: times[level], times: instants, ends: until };
    began.push(beganAt(one, facts, site));
    if (!worst || heavier(found, worst)) worst = found;
  }
  // It began with the oldest of its cases: a worse one that came to it is no new beginning.
  if (worst) [worst.began, worst.clear] = began.reduce((least, each) => (least[0] !== null && (each[0] === null || each[0] < least[0]) ? each : least));
  return [worst, ahead];
}

/** When a case began, and when it was last known not to be so; null where nothing says. */
function beganAt(one, facts, site) {
  const term = beginningOf(one);
  const began = term === null ? null : clockStart(term, facts, site);
  return [began, clearAt(one, began, facts, site)];
}

function heavier(a, b) {
  const difference = LEVELS.indexOf(a.level) - LEVELS.indexOf(b.level);
  return difference > 0 || (difference === 0 && a.since < b.since);
}

/** {level: instant} of a case; empty where it does not apply or has not begun. */
export function levelTimes(one, facts, site) {
  if (!(one.when ?? []).every((condition) => holds(condition, facts))) return {};
  if ((one.unless ?? []).some((term) => answeredBy(term, facts, site))) return {};
  const start = clockStart(one.clock, facts, site);
  if (start === null) return {};
  /** @type {Record<string, number>} */
  const times = {};
  for (const [level, spec] of Object.entries(one.after)) {
    const at = spec === null ? null : levelTime(start, spec, one, facts, site);
    // What the year 9999 does not see any more never comes.
    if (at !== null && at <= LAST_MS) times[level] = at;
  }
  return times;
}

function levelTime(start, spec, one, facts, site) {
  if ("local_time" in spec) {
    // Never before the clock began: nobody is told of a time at which nothing was amiss yet.
    return Math.max(start, localInstant(localDate(start, site.offsets), spec.local_time, site.offsets));
  }
  if ("at" in spec) {
    const at = instantMs(fact(facts, spec.at), site);
    return at === null ? null : Math.max(start, at - (lengthMs(spec.less ?? {}, facts) ?? 0));
  }
  const length = lengthMs(spec, facts);
  if (length === null) return null;
  if (one.counts === "working_days") {
    return afterWorkingTime(start, length, site.offsets, facts.works_on ?? site.working_days);
  }
  if (one.counts === "growth") return afterGrowingTime(start, length, site.offsets, site);
  return start + length;
}

/** When a clock starts, or null while it has not. See the Python twin. */
export function clockStart(clock, facts, site) {
  if (Array.isArray(clock)) {
    const [first, ...others] = clock.map((path) => instantMs(fact(facts, path), site));
    return first === null ? null : Math.max(first, ...others.filter((at) => at !== null));
  }
  if ("run_of" in clock) return instantMs(runStart(facts, clock), site);
  if ("midwinter_after" in clock) {
    const at = instantMs(fact(facts, clock.midwinter_after), site);
    return at === null ? null : nthMidwinter(at, clock.nth ?? 1, site.offsets, site);
  }
  const seen = instantMs(fact(facts, clock.working_day_after), site);
  if (seen === null) return null;
  const day = nextWorkingDay(localDate(seen, site.offsets), site.working_days);
  return day ? localInstant(day, "00:00", site.offsets) : null;
}

function answeredBy(term, facts, site) {
  const at = instantMs(fact(facts, term.fact), site);
  const start = instantMs(fact(facts, term.from), site);
  if (at === null || start === null) return false;
  return at >= start + (lengthMs(term.plus ?? {}, facts) ?? 0);
}

function foretold(rule, facts, nowMs, site) {
  if (!("foretell" in rule)) return [];
  if (!(rule.when ?? []).every((condition) => holds(condition, facts))) return [];
  const one = casesOf(rule)[0];
  const times = Object.values(levelTimes(one, facts, site));
  const start = times.length ? clockStart(one.clock, facts, site) : null;
  const ahead = lengthMs(rule.foretell, facts);
  if (start === null || ahead === null) return [];
  const first = Math.min(...times);
  if (!(start + ahead <= nowMs && nowMs < first)) return [];
  const on = toText(first);
  const says = fill(rule.foretells, { ...facts, on }, site);
  return [{ watch: rule.id, since: toText(start + ahead), on, says }];
}

function finding(rule, one, facts, site) {
  const { kind } = facts;
  const times = { since: toText(one.since), level_since: toText(one.level_since) };
  const later = one.times.find((at) => at > one.level_since) ?? null;
  const words = { ...facts, ...times, level: one.level };
  return {
    watch: rule.id,
    level: one.level,
    ...times,
    began: known(one.began),
    clear_at: known(one.clear),
    rises_at: known(later),
    ends_at: known(one.ends),
    subject: { kind, id: facts.id },
    lot: kind === "lot" ? facts.id : null,
    place: kind === "place" ? facts.id : facts.place ?? null,
    priority: one.priority ?? rule.priority,
    rings: rule.rings !== false,
    says: fill(one.says || rule.says, words, site),
    next_action: fill(one.next_action || rule.next_action, words, site),
    hidden_by: null,
  };
}

const known = (atMs) => (atMs === null ? null : toText(atMs));

function hide(rules, findings) {
  const found = new Map(findings.map((one) => [one.watch, one]));
  for (const rule of rules) {
    for (const hidden of rule.hides ?? []) {
      if (found.has(rule.id) && found.has(hidden)) found.get(hidden).hidden_by = rule.id;
    }
  }
}

/**
 * A sentence with its gaps filled in: `{fact}`, `{fact|date}` or `{fact|time}`. Unknown is "?";
 * `{fact|date|its sowing}` says instead what stands last. `{fact|lot|lots}` is the word that goes
 * with a figure.
 */
export function fill(template, facts, site) {
  const [first, ...parts] = template.split("{");
  return parts.reduce((text, part) => {
    const end = part.indexOf("}");
    const [path, ...shapes] = part.slice(0, end).split("|");
    return text + shown(fact(facts, path), shapes, site) + part.slice(end + 1);
  }, first);
}

function shown(value, shapes, site) {
  const [shape = ""] = shapes;
  if (shapes.length > 1 && (!["date", "time"].includes(shape) || (value ?? null) === null)) return value === 1 ? shape : shapes[1];
  const at = shape ? instantMs(value, site) : null;
  if (at !== null && shape === "time") return localTime(at, site.offsets);
  if (at !== null) {
    const [, month, day] = localDate(at, site.offsets).split("-").map(Number);
    return `${day} ${MONTHS[month - 1]}`;
  }
  if (typeof value === "number") return String(Math.round(value * 10) / 10).replace("-", "−");
  return typeof value === "string" && value ? value : "?";
}
