// @ts-check
/** The morning list of what this phone knows, made with no network; and the last one that was put on paper. @module */
import { morning } from "../core/morning.js";
import { meta, setMeta } from "./database.js";
import { crops, findings, lots, notices, now, nursery, people, places, rows } from "./house.js";
import { weatherOf } from "./weather.js";

/** The list as it stands now, or null where there is no nursery on this phone yet. */
export function morningNow() {
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
  }, now.value);
}

/** Names by id. */
export const names = () => Object.fromEntries(people().map((one) => [one.id, one.name]));

// A week of papers; who types in later than that takes every lot in walking order. Ours.
const PAPERS_MAX = 7;

/** Remember what was put on paper, so that it is typed in in the same order. @param {NonNullable<ReturnType<typeof morningNow>>} found */
export async function keepPaper(found) {
  const paper = { day: found.day, time: found.made.time, lots: found.stops.flatMap((stop) => stop.lots.map((lot) => lot.lot)) };
  const others = (await papers()).filter((one) => one.day !== paper.day || one.time !== paper.time);
  await setMeta("papers", [paper, ...others].slice(0, PAPERS_MAX));
}

/** The lists that were put on paper from this phone, the last first: `{day, time, lots}` each. @returns {Promise<any[]>} */
export const papers = () => meta("papers", []);

/** The sheet whose drawing was scanned, or whose link was opened: its lots by their codes, and the codes of none here. @param {string} day @param {string} time @param {string} labels */
export function scannedPaper(day, time, labels) {
  const byLabel = new Map([...lots.value.values()].map((lot) => [lot.label, lot.id]));
  const codes = labels.split(",");
  return {
    day, time,
    lots: codes.map((label) => byLabel.get(label)).filter(Boolean),
    unknown: codes.filter((label) => !byLabel.has(label)),
  };
}
