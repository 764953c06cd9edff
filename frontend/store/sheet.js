// @ts-check
/** The morning list of what this phone knows, made with no network; and the last one that was put on paper. @module */
import { boxes, boxesNamed } from "../core/boxes.js";
import { localInstant, toText } from "../core/instants.js";
import { morning } from "../core/morning.js";
import { LOOSE } from "../core/walk.js";
import { meta, setMeta } from "./database.js";
import { crops, findings, lots, notices, now, nursery, people, places, rows } from "./house.js";
import { weatherOf } from "./weather.js";

/**
 * The list as it stands, or null where there is no nursery on this phone yet.
 * @param {string} [at] made at this time, of the record as it is now
 */
export function morningNow(at = now.value) {
  const home = nursery();
  if (!home?.offsets) return null;
  return morning({
    nursery: home,
    places: places(),
    lots: [...lots.value.values()],
    crops: Object.fromEntries(crops().map((crop) => [crop.id, crop])),
    findings: Object.fromEntries(findings.value),
    notices: Object.fromEntries(notices.value),
    stock: weatherOf(rows.value, lots.value, home.offsets).whole(),
  }, at);
}

/** Names by id. */
export const names = () => Object.fromEntries(people().map((one) => [one.id, one.name]));

// A week of papers; who types in later than that takes every lot in walking order. Ours.
const PAPERS_MAX = 7;

/** Remember what was put on paper, so that it is typed in in the same order. @param {NonNullable<ReturnType<typeof morningNow>>} found */
export async function keepPaper(found) {
  const paper = { day: found.day, time: found.made.time, lots: found.stops.flatMap((stop) => stop.lots.map((lot) => lot.lot)), ...boxesOf(found) };
  const others = (await papers()).filter((one) => one.day !== paper.day || one.time !== paper.time);
  await setMeta("papers", [paper, ...others].slice(0, PAPERS_MAX));
}

/** The boxes of a list, and for how cold a night its covers are. */
const boxesOf = (found) => ({ boxes: boxes(found), low_c: found.evening?.low_c ?? null });

/** The boxes that a list made at a time would have had, for one that this phone knows nothing of. @param {string} day @param {string} time */
export function boxesAt(day, time) {
  const found = morningNow(toText(localInstant(day, time, nursery()?.offsets ?? [])));
  if (!found) return { boxes: [], low_c: null };
  // What began since was not on it.
  const before = ({ since }) => `${since.day} ${since.time}` <= `${day} ${time}`;
  const evening = found.evening && { ...found.evening, covered: found.evening.covered.filter(before) };
  return boxesOf({ ...found, evening, running: found.running.filter(before) });
}

/** The lists that were put on paper from this phone, the last first: `{day, time, lots, boxes, low_c}` each. @returns {Promise<any[]>} */
export const papers = async () => (await meta("papers", [])).map((paper) => ({ ...(paper.boxes ? {} : boxesAt(paper.day, paper.time)), ...paper }));

/**
 * The sheet whose drawing was scanned, or whose link was opened: its lots by their codes, the codes
 * of none here, and its boxes; where it names places only, `walked` they are.
 * @param {string} day @param {string} time @param {string} labels @param {string} more
 */
export function scannedPaper(day, time, labels, more) {
  const byLabel = new Map([...lots.value.values()].map((lot) => [lot.label, lot.id]));
  const codes = labels.split(",").filter(Boolean);
  const { unknown, ...named } = boxesNamed(more, [...places().map(({ id }) => id), LOOSE], [...lots.value.keys()]);
  return {
    day, time, ...named,
    lots: codes.map((label) => byLabel.get(label)).filter(Boolean),
    unknown: [...codes.filter((label) => !byLabel.has(label)), ...unknown],
  };
}
