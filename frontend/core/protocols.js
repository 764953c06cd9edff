// @ts-check
/**
 * A crop's protocol: twin of `domain/protocols.py`. Which step a lot is in, its limits, its
 * emergence window and what comes next. No clock.
 * @module
 */
import { DAY_MS, later, toMs, toText } from "./instants.js";
import { openSpell } from "./spells.js";

const SOAK_HOURS = 24;
const WITHOUT_MAXIMUM = 1.5;
const WINDOW_OF_TARGET = [0.5, 1.5];

/** The crop's steps in order; none for an unknown crop. */
export function steps(crop) {
  return crop?.stages ?? [];
}

/** The protocol's step for the nth spell of a kind; past the last of them, the last. */
export function nthStep(kind, nth, crop) {
  const alike = steps(crop).filter((step) => step.kind === kind);
  return alike.length ? alike[Math.min(nth, alike.length) - 1] : null;
}

/** A step's target in its own unit (hours for a soak or scarifying, else days). */
export function target(step) {
  return step?.target_hours ?? step?.target_days ?? null;
}

/** The limits of the nth spell of a kind: see the Python twin. */
export function limits(kind, nth, crop) {
  const step = nthStep(kind, nth, crop);
  const aim = target(step);
  let most = step?.max ?? null;
  if (kind === "soak") {
    const hours = aim ?? SOAK_HOURS;
    return { target_hours: hours, max_hours: most ?? hours * WITHOUT_MAXIMUM };
  }
  if (kind !== "warm" && kind !== "cold") return {};
  if (most === null && aim !== null) most = kind === "warm" ? aim : aim * WITHOUT_MAXIMUM;
  return { target_days: aim, min_days: step?.min ?? null, longest_days: most };
}

/** The protocol's step that the lot is in now, or null where it is in none of them. */
export function stepOf(lot, crop) {
  for (const kind of ["soak", "warm", "cold"]) {
    const spell = openSpell(lot, kind);
    if (spell && lot.stage === kind) return nthStep(kind, spell.nth, crop);
  }
  return ["sown", "emerging"].includes(lot.stage) ? nthStep("germinate", 1, crop) : null;
}

/** {opens_at, middle_at, closes_at} of the time in which seedlings should show, or null. */
export function windowOf(lot, crop) {
  if (!lot.sown || openSpell(lot, "cold") || openSpell(lot, "warm")) return null;
  const step = nthStep("germinate", 1, crop);
  if (!step) return null;
  const aim = target(step);
  let [least, most] = [step.min ?? null, step.max ?? null];
  if (least === null || most === null) {
    if (aim === null) return null;
    [least, most] = WINDOW_OF_TARGET.map((share) => aim * share);
  }
  const ends = lot.spells.filter((spell) => spell.kind === "cold").map((spell) => spell.ended_at);
  const start = toMs(later(lot.sown.at, ...ends));
  const at = (days) => toText(start + Math.round(days * DAY_MS));
  return { opens_at: at(least), middle_at: at((least + most) / 2), closes_at: at(most) };
}

/** What the protocol asks for next: the step after the last one that the lot has begun. */
export function nextStep(lot, crop) {
  return stepsAhead(lot, crop)[0] ?? null;
}

/** The protocol's steps after the last one begun. */
export function stepsAhead(lot, crop) {
  /** @type {Record<string, number>} */
  const begun = {};
  for (const spell of lot.spells) begun[spell.kind] = (begun[spell.kind] ?? 0) + 1;
  const treated = lot.spells.length > 0 || lot.sown;
  begun.sow = lot.sown ? 1 : 0;
  begun.germinate = lot.first_emerged_at || lot.emergence_closed_at ? 1 : 0;
  begun.extract = begun.dry = treated || lot.cleaned_at ? 9 : 0;
  begun.scarify = lot.acid_at || treated ? 1 : 0;
  const ahead = steps(crop);
  let lastDone = -1;
  ahead.forEach((step, index) => {
    if ((begun[step.kind] ?? 0) > 0) {
      begun[step.kind] -= 1;
      lastDone = index;
    }
  });
  return ahead.slice(lastDone + 1);
}

/** {day, min_days, target_days, longest_days, total_days} of the lot's stage at an instant. */
export function progress(lot, crop, now) {
  const since = lot.stage_since;
  const day = since ? Math.floor((toMs(now) - toMs(since)) / DAY_MS) : null;
  const alike = lot.spells.filter((spell) => spell.kind === lot.stage);
  const total = alike.reduce((sum, s) => sum + toMs(s.ended_at ?? now) - toMs(s.started_at), 0);
  const found = ["warm", "cold"].includes(lot.stage) ? limits(lot.stage, alike.length || 1, crop) : {};
  return { day, total_days: alike.length ? Math.floor(total / DAY_MS) : null, ...found };
}
