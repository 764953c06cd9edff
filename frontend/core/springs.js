// @ts-check
/** Which spring a sown lot is waited for: twin of `domain/springs.py`. @module */
import { DAY_MS, toMs } from "./instants.js";
import { windowOf } from "./protocols.js";
import { openSpell } from "./spells.js";

/** The window in which the lot should show; `second` is what `secondSpring` says of it. */
export function windowWith(lot, crop, second) {
  const plain = windowOf(lot, crop);
  if (!second) return plain;
  if (["warm", "cold"].some((kind) => openIndoors(lot, kind))) return null;
  if (plain && !lot.held_over) return plain;
  // A cold that ended in the last winter tells the days better than the season does.
  if (plain && lastColdEnd(lot) >= second.silent_until) return plain;
  return { opens_at: second.opens_at, middle_at: second.middle_at, closes_at: second.closes_at };
}

/** {known, waits, opens_at, closes_at, days_more}: see the twin. */
export function secondSpringFacts(second, comingUp) {
  if (!second) return { known: false, waits: false };
  const more = comingUp ? (toMs(second.closes_at) - toMs(comingUp.closes_at)) / DAY_MS : null;
  return {
    known: true,
    waits: comingUp !== null && comingUp.opens_at < second.silent_until,
    opens_at: second.opens_at,
    closes_at: second.closes_at,
    days_more: more === null ? null : Math.max(0, more),
  };
}

function openIndoors(lot, kind) {
  const spell = openSpell(lot, kind);
  return spell !== null && spell !== undefined && spell.where !== "outdoors";
}

function lastColdEnd(lot) {
  return lot.spells.filter((spell) => spell.kind === "cold").reduce((last, spell) => ((spell.ended_at ?? "") > last ? spell.ended_at : last), "");
}
