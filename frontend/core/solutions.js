// @ts-check
/**
 * Mixed solutions: twin of `domain/solutions.py`, where the sources stand. What a bucket holds,
 * since when, what it was used on, and when it is past it. No clock.
 * @module
 */
import { saidBy } from "./attribution.js";
import { HOUR_MS, MINUTE_MS, toMs, toText } from "./instants.js";
import { roundHalfUp } from "./rule_terms.js";

export const SOLUTION_KINDS = ["solution_mixed", "solution_discarded", "sanitise_started"];
const LIFE_HOURS = 24;
const DIP_MINUTES = 10;
const USES_MAX = 100;

/** A solution that somebody has named before it is known how it was mixed. @param {string} id */
export function newSolution(id) {
  return {
    id, mixed_at: null, old_at: null, spent_at: null,
    discarded_at: null, open: false, used_for: [], used_by: [],
  };
}

/** A solution after one more event: mixed, used for a dip, or thrown away. */
export function withSolution(before, event) {
  const data = event.data ?? {};
  /** @type {Record<string, any>} */
  let row = { ...newSolution(before.id), ...before };
  if (event.kind === "solution_mixed") {
    const said = Object.fromEntries(Object.entries(data).filter(([name]) => !(name in newSolution(""))));
    const oldAt = toText(toMs(event.at) + LIFE_HOURS * HOUR_MS);
    row = { ...row, ...said, mixed_at: event.at, ...saidBy(event), old_at: oldAt };
  } else if (event.kind === "solution_discarded") row.discarded_at = event.at;
  else if (event.kind === "sanitise_started") row = used(row, event, data);
  row.open = row.mixed_at !== null && row.discarded_at === null;
  return judged(row);
}

function used(row, event, data) {
  const use = { lot: event.lot, event: event.id, at: event.at, minutes: data.limit_minutes ?? null, why: data.why ?? null };
  const others = row.used_by.filter((one) => one.event !== event.id);
  const uses = [...others, use].sort((a, b) => (order(a) < order(b) ? -1 : 1));
  return { ...row, used_by: kept(uses), used_for: [...new Set([...row.used_for, event.lot])].sort() };
}

/** The first use, which spends the bucket, and the latest. */
const kept = (uses) => (uses.length <= USES_MAX ? uses : [uses[0], ...uses.slice(1 - USES_MAX)]);

const order = (use) => `${use.at} ${use.event}`;

/** Whether the bucket was past its life, or had had its batch, at each use. */
function judged(row) {
  const [first] = row.used_by;
  if (first) {
    const minutes = typeof first.minutes === "number" ? first.minutes : DIP_MINUTES;
    row.spent_at = toText(toMs(first.at) + roundHalfUp(minutes * MINUTE_MS));
  }
  const reached = (limit, use) => limit !== null && use.at >= limit;
  row.used_by = row.used_by.map((use) => ({ ...use, old: reached(row.old_at, use), spent: reached(row.spent_at, use) }));
  return row;
}

/**
 * `usable`, `old`, `spent`, `discarded`, or `unknown` where nobody said how it was mixed. Whatever
 * is not usable is picked for a dip only with a reason.
 * @param {any} row
 * @param {string} now canonical text
 */
export function solutionState(row, now) {
  if (row.discarded_at) return "discarded";
  if (!row.mixed_at) return "unknown";
  if (row.old_at && now >= row.old_at) return "old";
  return row.spent_at && now >= row.spent_at ? "spent" : "usable";
}

/** The facts of a lot's last dip and its bucket; `past` where it was old or spent then. */
export function dipWith(spell, row) {
  const use = spell && row ? (row.used_by ?? []).find((one) => one.event === spell.event) : null;
  if (!use || !(use.old || use.spent)) return { past: false };
  return {
    past: true,
    old: use.old,
    at: use.at,
    told_until: toText(toMs(use.at) + LIFE_HOURS * HOUR_MS),
    bucket: solutionCode(row.id),
    mixed_at: row.mixed_at,
  };
}

/** The short name on a bucket's tag. @param {string} id */
export const solutionCode = (id) => id.replaceAll("-", "").slice(-4).toUpperCase();
