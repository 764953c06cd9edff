// @ts-check
/** Mould spreads: what the lots beside a lot mean for it. Twin of `domain/neighbours.py`. @module */
import { later } from "./instants.js";
import { runStart } from "./rule_terms.js";

const ownStart = (lot) => runStart(lot, { run_of: "fungus", is: "spreading" });

/** Since when mould has been spreading in a live lot, where it stands now; else null. */
export function spreadingSince(lot) {
  if (lot.closed_at !== null || lot.quantity === 0 || lot.place === null) return null;
  const start = ownStart(lot);
  return start ? later(start, lot.placed_at) : null;
}

/**
 * {spreading_since}: the oldest mould beside a lot that it has not been looked at for.
 * @param {any} lot
 * @param {any[]} spreading [lot, since] of every lot of its place in which mould is spreading
 */
export function besideFacts(lot, spreading) {
  const lookedAt = lot.last_look?.at ?? "";
  const starts = spreading.filter(([other]) => other !== lot.id).map(([, at]) => later(at, lot.placed_at));
  const unseen = starts.filter((at) => lookedAt < at).sort();
  return { spreading_since: ownStart(lot) ? null : (unseen[0] ?? null) };
}
