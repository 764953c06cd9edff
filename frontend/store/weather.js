// @ts-check
/**
 * What frost and heat ask of the lots: an entry for each that they can hurt, made once for each
 * row, as `store/weather.py` keeps it beside the row.
 * @module
 */
import { phase, standing } from "../core/facts.js";
import { isLive } from "../core/walk.js";
import { weatherEntry } from "../core/tender.js";
import { frostSaid, NO_STOCK, weatherStands } from "../core/weather_facts.js";

/** By lot, while lot and crop stay the same objects. @type {WeakMap<any, {crop: any, entry: any, key: string}>} */
const made = new WeakMap();
const NOTHING = { ...NO_STOCK, key: "" };

/**
 * @param {Map<string, Map<string, any>>} rows
 * @param {Map<string, any>} lots
 * @param {any[]} offsets
 */
export function weatherOf(rows, lots, offsets) {
  const byPlace = new Map();
  for (const lot of lots.values()) {
    const found = entryOf(lot, rows.get("protocol")?.get(lot.crop) ?? null);
    if (!found.entry) continue;
    const id = lot.place ?? "";
    if (!byPlace.has(id)) byPlace.set(id, []);
    byPlace.get(id).push(found);
  }
  const home = { ...[...rows.get("nursery")?.values() ?? []][0], ...frostSaid([...rows.get("watch")?.values() ?? []]) };
  const sorted = (found) => [...found].sort((a, b) => (a.entry.id < b.entry.id ? -1 : 1));
  const stock = (found, places, houses) => ({
    entries: sorted(found).map(({ entry }) => entry), places, houses, offsets, home,
    key: found.map(({ key }) => key).join("|"),
  });
  return {
    /** What stands in one place. */
    inPlace: (place) => stock(byPlace.get(place.id) ?? [], { [place.id]: place }, {}),
    /** What stands anywhere, whatever the weather. */
    whole: () => stock([...byPlace.values()].flat(), Object.fromEntries(rows.get("place") ?? []), {}),
    /** What stands anywhere, where the weather can matter at all. */
    everywhere(nursery, now, lotsByPlace) {
      if (!weatherStands(nursery, now)) return NOTHING;
      const places = Object.fromEntries(rows.get("place") ?? []);
      const houses = Object.values(places).filter(({ kind }) => kind === "house")
        .map(({ id }) => [id, standing(lotsByPlace.get(id) ?? [])]);
      const found = stock([...byPlace.values()].flat(), places, Object.fromEntries(houses));
      return { ...found, key: `${found.key}#${JSON.stringify(found.houses)}` };
    },
  };
}

function entryOf(lot, crop) {
  const before = made.get(lot);
  if (before && before.crop === crop) return before;
  const asked = isLive(lot) ? weatherEntry(lot, crop, phase(lot)) : null;
  const entry = asked && { ...asked, id: lot.id, place: lot.place, seen_at: lot.seen_at };
  const found = { crop, entry, key: entry ? JSON.stringify(entry) : "" };
  made.set(lot, found);
  return found;
}
