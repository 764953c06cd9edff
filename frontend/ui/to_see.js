// @ts-check
/** What waits in each place today: in walking order, the worst first within a place. @module */
import { findings, lots, notices, places } from "../store/house.js";
import { t } from "./html.js";
import { dayOf, today } from "./local.js";

const WEIGHT = { due: 1, late: 2, alarm: 3 };
/** The place of lots that stand nowhere on record. */
export const LOOSE = "-";

/** Neither closed nor at nought. */
export const isLive = (lot) => lot.closed_at === null && lot.quantity !== 0;

/** A lot's findings that nobody has left until later. */
export function findingsOf(lot) {
  return (findings.value.get(`lot:${lot.id}`) ?? []).filter((one) => one.state !== "shelved");
}

/** The stops of the walk: `{place, lots, toSee, shown, closed}` each. */
export function stops() {
  const byPlace = new Map();
  for (const lot of lots.value.values()) {
    if (!isLive(lot)) continue;
    const key = lot.place ?? LOOSE;
    if (!byPlace.has(key)) byPlace.set(key, []);
    byPlace.get(key).push(lot);
  }
  const known = places();
  const found = known.map((place) => stop(place, byPlace.get(place.id) ?? []));
  const strays = [...byPlace].filter(([key]) => !known.some((place) => place.id === key));
  const loose = strays.flatMap(([, held]) => held);
  if (loose.length) found.push(stop({ id: LOOSE, name: t("round.loose"), daily: false }, loose));
  return found;
}

function stop(place, held) {
  const shown = held.flatMap(findingsOf).filter((one) => !one.hidden_by);
  const own = (findings.value.get(`place:${place.id}`) ?? []).filter((one) => one.state !== "shelved");
  // A place nobody walked stands for the looks that are due in it.
  const missed = own.some((one) => one.watch === "round-missing");
  const inLots = missed ? shown.filter((one) => one.watch !== "look-due") : shown;
  const closed = place.closed_at && dayOf(place.closed_at) === today() ? place.closed_at : null;
  return { place, lots: inOrder(held), toSee: toSee(place, held), shown: [...own, ...inLots], closed };
}

/** The lots to look at on today's walk. */
export function toSee(place, held) {
  return inOrder(held).filter((lot) => {
    if (lot.seen_at && dayOf(lot.seen_at) === today() && !findingsOf(lot).some((one) => one.level === "alarm")) return false;
    return place.daily || findingsOf(lot).length > 0 || notices.value.has(lot.id);
  });
}

function inOrder(held) {
  // Weighed once each: a sort asks for every one of them many times.
  const weights = new Map(held.map((lot) => [lot, weight(lot)]));
  return [...held].sort((a, b) => weights.get(b) - weights.get(a) || (a.label < b.label ? -1 : 1));
}

function weight(lot) {
  return Math.max(0, ...findingsOf(lot).map((one) => WEIGHT[one.level]));
}

/** Every finding to be told, the gravest first. */
export function allShown() {
  const shown = [...findings.value.values()].flat().filter((one) => !one.hidden_by && one.state === "open");
  return shown.sort((a, b) => WEIGHT[b.level] - WEIGHT[a.level] || a.priority - b.priority || (a.since < b.since ? -1 : 1));
}
