// @ts-check
/**
 * What the seasons do to seed sown outdoors: twin of `domain/outdoors.py`, where the sources stand.
 * @module
 */
import { localDate, localInstant, toMs, toText } from "./instants.js";
import { addDays, nextSpan } from "./seasons.js";

export const SEASON_FOR = { warm: "summer", cold: "winter" };
const SPRINGS_MAX = 9;

/** {spells, shows, silent} of seed sown outdoors that still wants these spells: see the twin. */
export function outdoorSeasons(kinds, sownOn, place) {
  let at = sownOn;
  const spells = [];
  for (const kind of kinds) {
    const span = seasonAhead(SEASON_FOR[kind], at, place);
    if (!span) return null;
    spells.push({ kind, from: at > span.from ? at : span.from, to: span.to });
    at = addDays(span.to, 1);
  }
  if (kinds.at(-1) !== "cold") return { spells, shows: null, silent: [] };
  const shows = nextSpan("spring", at, place);
  return { spells, shows, silent: springs(sownOn, shows, place) };
}

/** {silent_until, opens_at, middle_at, closes_at} of a lot whose first spring shows nothing, or null. */
export function secondSpring(lot, crop, place, offsets) {
  if (!lot.sown || crop?.dormancy !== "double") return null;
  const given = lot.spells.filter((spell) => spell.kind in SEASON_FOR && spell.where !== "outdoors");
  if (given.some((spell) => spell.ended_at === null)) return null;
  const left = kindsLeft(crop, given.map((spell) => spell.kind));
  const since = [lot.sown.at, ...given.map((spell) => spell.ended_at)].reduce((a, b) => (a > b ? a : b));
  const found = outdoorSeasons(left, localDate(toMs(since), offsets), place);
  if (!found?.shows || !(found.silent.length || left.includes("warm"))) return null;
  const midnight = (day) => localInstant(day, "00:00", offsets);
  const silent = found.silent.at(-1);
  const [opens, closes] = [midnight(found.shows.from), midnight(addDays(found.shows.to, 1))];
  return {
    silent_until: toText(silent ? midnight(addDays(silent.to, 1)) : opens),
    opens_at: toText(opens),
    middle_at: toText(Math.floor((opens + closes) / 2)),
    closes_at: toText(closes),
  };
}

/** The warm and cold steps that the spells given so far, in their order, leave over. */
export function kindsLeft(crop, given) {
  const wanted = (crop.stages ?? []).filter((step) => step.kind in SEASON_FOR && !step.optional).map((step) => step.kind);
  let done = 0;
  for (const kind of given) if (wanted[done] === kind) done += 1;
  return wanted.slice(done);
}

/** The first such season of which no more than a third is over on this day. */
function seasonAhead(season, day, place) {
  const span = nextSpan(season, day, place);
  const rest = span && nextSpan(`mid to late ${season}`, span.from, place);
  if (!span || !rest || rest.from >= day) return span;
  return nextSpan(season, addDays(span.to, 1), place);
}

/** The springs that begin after sowing and before the one that shows it. */
function springs(sownOn, shows, place) {
  const found = [];
  let span = nextSpan("spring", sownOn, place);
  for (let tried = 0; tried < SPRINGS_MAX && span && shows && span.from < shows.from; tried += 1) {
    if (span.from > sownOn) found.push(span);
    span = nextSpan("spring", addDays(span.to, 1), place);
  }
  return found;
}
