// @ts-check
/** What has been of a lot, and what is foreseen of it, as spans of days for the strip of the year. @module */
import { cropFacts } from "../core/facts.js";
import { localDate, toMs } from "../core/instants.js";
import { kindsLeft, outdoorSeasons, SEASON_FOR, secondSpring } from "../core/outdoors.js";
import { stepOf, stepsAhead } from "../core/protocols.js";
import { addDays } from "../core/seasons.js";
import { openSpell } from "../core/spells.js";
import { windowWith } from "../core/springs.js";
import { chain, emergenceDays, lasts, planCrop } from "../core/year_plan.js";

const DRAWN = ["soak", "warm", "cold"];
const NOT_AHEAD = ["extract", "dry", "sow", "germinate"];

/**
 * {past, now, ahead, silent} of a lot: `past` are {kind, from, to}, `ahead` bars with [earliest, latest]
 * starts and ends, `silent` the springs that show nothing, `now` whether it is to be sown now.
 */
export function lotBars(lot, crop, home, today) {
  const day = (instant) => localDate(toMs(instant), home.offsets);
  return { past: past(lot, day, today), ...ahead(lot, crop, home, today, day) };
}

function past(lot, day, today) {
  const spells = lot.spells.filter((spell) => DRAWN.includes(spell.kind));
  const found = [];
  const add = (kind, from, to) => from && found.push({ kind, from: day(from), to: to ? day(to) : today });
  const first = [spells[0]?.started_at, lot.sown?.at, lot.first_emerged_at, lot.potted_at].filter(Boolean).sort()[0];
  if (lot.unit !== "plants" || first) add(lot.unit === "seeds" || lot.unit === "g" || first ? "seed" : "up", lot.started_at, first);
  if (lot.sown) add("sow", lot.sown.at, lot.first_emerged_at ?? lot.emergence_closed_at ?? lot.potted_at ?? lot.closed_at);
  for (const spell of spells) add(spell.kind, spell.started_at, spell.ended_at);
  if (lot.first_emerged_at) add("up", lot.first_emerged_at, lot.potted_at ?? lot.closed_at);
  if (lot.potted_at || lot.stage === "potted") add("pot", lot.potted_at ?? lot.started_at, lot.closed_at);
  return found;
}

function ahead(lot, crop, home, today, day) {
  const none = { now: false, ahead: [], silent: [] };
  if (!crop || lot.closed_at || lot.first_emerged_at || !["seeds", "g", null].includes(lot.unit)) return none;
  if (lot.sown) return sownAhead(lot, crop, home, day, today);
  if (showsRoots(lot, crop)) return { ...none, now: true, ahead: [sowing([today, today]), ...coming(crop, [today, today])] };
  const open = DRAWN.map((kind) => openSpell(lot, kind)).find(Boolean);
  const rest = stepsAhead(lot, crop).filter((step) => !NOT_AHEAD.includes(step.kind));
  if (!open && !lot.spells.length) {
    const plan = planCrop(crop, { collected_on: today }, home);
    return { ...none, ahead: (plan?.bars ?? []).filter(({ kind }) => !["collect", "extract", "dry"].includes(kind)) };
  }
  const step = open && stepOf(lot, crop);
  // A soak of which the protocol says nothing is a day's; of another spell nothing is foreseen.
  if (open && !step && open.kind !== "soak") return none;
  const [least, most] = step ? lasts(step) : open ? [1, 1] : [0, 0];
  const since = open ? day(open.started_at) : today;
  const ends = [least, most].map((days) => notBefore(today, addDays(since, days)));
  const running = open ? [{ kind: open.kind, starts: [today, today], ends, optional: false }] : [];
  const bars = [...running, ...chain(rest, ends)];
  const sow = bars.length ? bars[bars.length - 1].ends : [today, today];
  return { ...none, ahead: [...bars, sowing(sow), ...coming(crop, sow)] };
}

const sowing = (days) => ({ kind: "sow", starts: days, ends: days, optional: false });

/** Whether so many roots show in the cold that it is sown now, as the watch says (`cold-sprouting`). */
const showsRoots = (lot, crop) => Boolean(openSpell(lot, "cold"))
  && (lot.last.sprouted_percent?.value ?? 0) >= cropFacts(crop).sow_at_sprouted_percent;

/** A sown lot: what the seasons still do to it, and when it should show. */
function sownAhead(lot, crop, home, day, today) {
  const second = secondSpring(lot, crop, home, home.offsets);
  const window = windowWith(lot, crop, second);
  const shown = second ?? window;
  const shows = shown && { kind: "germinate", starts: [day(shown.opens_at), day(shown.opens_at)], ends: [day(shown.closes_at), day(shown.closes_at)], optional: false };
  if (!second) return { now: false, ahead: shows ? [shows] : [], silent: [] };
  const given = lot.spells.filter((spell) => spell.kind in SEASON_FOR && spell.where !== "outdoors");
  const since = given.map((spell) => spell.ended_at).concat(lot.sown.at).sort().at(-1);
  const seasons = outdoorSeasons(kindsLeft(crop, given.map((spell) => spell.kind)), day(since), home);
  const left = (seasons?.spells ?? []).filter((span) => span.to > today);
  const bars = left.map(({ kind, from, to }) => ({ kind, starts: [notBefore(today, from), notBefore(today, from)], ends: [to, to], optional: false }));
  return { now: false, ahead: [...bars, shows], silent: seasons?.silent ?? [] };
}

/** When seedlings should show after a sowing within these days. */
function coming(crop, sow) {
  const days = emergenceDays(crop);
  if (!days) return [];
  return [{ kind: "germinate", starts: sow.map((one) => addDays(one, days[0])), ends: sow.map((one) => addDays(one, days[1])), optional: false }];
}

const notBefore = (today, day) => (day < today ? today : day);
