// @ts-check
/** What waits in each place today: the walk of `core/walk.js`, with what this house holds. @module */
import { inOrder, isToSee, notLeft, path, WEIGHT } from "../core/walk.js";
import { findings, lots, notices, nursery, places } from "../store/house.js";
import { t } from "./html.js";
import { dayOf, today } from "./local.js";

export { isLive, LOOSE } from "../core/walk.js";

/** A lot's findings that nobody has left until later. */
export const findingsOf = (lot) => notLeft(findings.value.get(`lot:${lot.id}`) ?? []);

/** The stops of the walk: `{place, lots, toSee, shown, closed}` each. */
export const stops = () => path(places(), lots.value.values()).map(([place, held]) =>
  stop(place.name === null ? { ...place, name: t("round.loose") } : place, held));

function stop(place, held) {
  const shown = held.flatMap(findingsOf).filter((one) => !one.hidden_by);
  const own = notLeft(findings.value.get(`place:${place.id}`) ?? []);
  // A place nobody walked stands for the looks that are due in it.
  const missed = own.some((one) => one.watch === "round-missing");
  const inLots = missed ? shown.filter((one) => one.watch !== "look-due") : shown;
  const closed = place.closed_at && dayOf(place.closed_at) === today() ? place.closed_at : null;
  return { place, lots: inOrder(held, findingsOf), toSee: toSee(place, held), shown: [...own, ...inLots], closed };
}

/** The lots to look at on today's walk. */
export function toSee(place, held) {
  const [day, offsets] = [today(), nursery()?.offsets ?? []];
  const seen = held.filter((lot) => isToSee(place, lot, findingsOf(lot), { noticed: notices.value.has(lot.id), day, offsets }));
  return inOrder(seen, findingsOf);
}

/** Every finding to be told, the gravest first. */
export function allShown() {
  return standing("open");
}

/** What somebody has said to have, the gravest first: it stands all the same. */
export function allTaken() {
  return standing("acknowledged");
}

/** @param {string} state */
function standing(state) {
  const shown = [...findings.value.values()].flat().filter((one) => !one.hidden_by && one.state === state);
  return shown.sort((a, b) => WEIGHT[b.level] - WEIGHT[a.level] || a.priority - b.priority || (a.since < b.since ? -1 : 1));
}
