// @ts-check
/** The bench: twin of `domain/bench.py`, where the sources stand. Nothing is counted down. @module */
import { DAY_MS, HOUR_MS, MINUTE_MS, toMs, toText } from "./instants.js";
import { limits, nextStep } from "./protocols.js";
import { dipRefusal, openSpell } from "./spells.js";

const KINDS = ["sanitise", "soak", "drained", "warm", "cold"];
/** The steps of hours and minutes; the others run for weeks. */
export const SHORT = ["sanitise", "soak", "drained"];
const DIP_MINUTES = 10;
const DIP_ALARM = 1.5;
const DRAINED_HOURS = [4, 24];
const DRAINED_MUST_NOT_DRY_HOURS = [1, 4];
const STILL_HOURS = 24;
const MUST_NOT_DRY = ["recalcitrant", "intermediate"];
const STARTS = { warm: "warm_started", cold: "cold_started", sow: "sown", soak: "soak_started" };

/**
 * What runs in a lot, or null: `{kind, event, started_at, target_at, limit_at, still_at, next}`.
 * @param {any} lot
 * @param {any} crop
 */
export function benchRow(lot, crop) {
  const spell = KINDS.map((kind) => openSpell(lot, kind)).find(Boolean);
  if (!spell || lot.closed_at !== null || lot.quantity === 0) return null;
  const start = toMs(spell.started_at);
  const [targetMs, limitMs] = lengths(spell.kind, spell, crop);
  const still = spell.kind === "soak" ? spell.water_moved_at ?? null : null;
  return {
    kind: spell.kind,
    event: spell.event,
    started_at: spell.started_at,
    target_at: after(start, targetMs),
    limit_at: after(start, limitMs),
    still_at: still ? toText(toMs(still) + STILL_HOURS * HOUR_MS) : null,
    next: waysOn(spell.kind, lot, crop),
  };
}

const after = (start, lengthMs) => (lengthMs === null ? null : toText(start + Math.floor(lengthMs + 0.5)));

/** @returns {[number | null, number | null]} until its target and its limit */
function lengths(kind, spell, crop) {
  if (kind === "sanitise") {
    const minutes = spell.limit_minutes || DIP_MINUTES;
    return [minutes * MINUTE_MS, minutes * DIP_ALARM * MINUTE_MS];
  }
  if (kind === "drained") {
    const dry = MUST_NOT_DRY.includes(crop?.storage_class ?? null);
    const [due, late] = dry ? DRAINED_MUST_NOT_DRY_HOURS : DRAINED_HOURS;
    return [due * HOUR_MS, late * HOUR_MS];
  }
  const found = limits(kind, spell.nth, crop);
  if (kind === "soak") return [found.target_hours * HOUR_MS, found.max_hours * HOUR_MS];
  const done = found.min_days ?? found.target_days;
  return [done === null ? null : done * DAY_MS, found.longest_days === null ? null : found.longest_days * DAY_MS];
}

/** The ways on from here, each as the kinds of records it makes. @returns {string[][]} */
function waysOn(kind, lot, crop) {
  if (kind === "sanitise") return [["sanitise_ended"]];
  const step = nextStep(lot, crop);
  const start = step ? STARTS[step.kind] ?? null : null;
  const onward = start === "soak_started" || start === `${kind}_started` ? null : start;
  if (kind === "soak") {
    const ways = ["warm_started", "cold_started"].includes(onward) ? [["soak_ended", onward]] : [];
    const dip = dipRefusal(lot) === null ? [["soak_ended", "sanitise_started"]] : [];
    return [...ways, ["soak_ended"], ...dip];
  }
  if (lot.sown) return [[kind === "warm" ? "cold_started" : "cold_ended"]];
  return [[onward ?? { drained: "cold_started", warm: "cold_started", cold: "sown" }[kind]]];
}
