// @ts-check
/**
 * When an occurrence of a watch began: twin of `domain/occurrences.py`, which says why. Whether it is
 * another one than before is for whoever keeps alerts, which is the server.
 * @module
 */
import { instantMs, runBroken } from "./rule_terms.js";

/** The last instant before it began at which the record shows that it was not so. */
export function clearAt(one, beganMs, facts, site) {
  const term = beginningOf(one);
  if (term?.run_of) return instantMs(runBroken(facts, term), site);
  return beganMs;
}

/** What an occurrence begins with: the case's clock, unless `anew` says otherwise. */
export const beginningOf = (one) => ("anew" in one ? one.anew : one.clock);
