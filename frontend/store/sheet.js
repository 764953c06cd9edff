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

/** Remember what was put on paper, so that it is typed in in the same order. @param {NonNullable<ReturnType<typeof morningNow>>} found */
export const keepPaper = (found) => setMeta("paper", {
  day: found.day,
  made_at: found.made_at,
  lots: found.stops.flatMap((stop) => stop.lots.map((lot) => lot.lot)),
});

/** The last list that was put on paper from this phone: `{day, made_at, lots}`, or null. */
export const lastPaper = () => meta("paper", null);
