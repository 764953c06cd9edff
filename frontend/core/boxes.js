// @ts-check
/**
 * The boxes of a list on paper that are no lot's look: twin of `domain/boxes.py`, and how the
 * address of a printed list is read, and on which day a box was ticked.
 * @module
 */
import { nextDay } from "./instants.js";

/** @type {Record<string, string>} */
const ACTS = { k: "soak", b: "sanitise", d: "drained", c: "cover", s: "second", u: "uncover" };
const [LOW, WALKED] = ["n", "w"];
const UUID_LONG = 36;
/** The acts that are about a lot; the others are about a place. */
export const STEPS = ["soak", "sanitise", "drained"];

/** {act, id} of each box in the list's order. @param {any} found @returns {{act: string, id: string}[]} */
export function boxes(found) {
  const night = found.evening ?? { places: [], thin: [], covered: [] };
  const placed = (act, held) => held.map(({ place }) => ({ act, id: place }));
  return [
    ...found.running.map(({ kind, lot }) => ({ act: kind, id: lot })),
    ...placed("cover", night.places), ...placed("second", night.thin),
    ...placed("uncover", night.covered.filter((one) => one.comes_off)),
  ];
}

/**
 * What the address of a printed list says beside its lots: `{boxes, low_c, walked, unknown}`;
 * `walked` are the places whose lots it has, where it names none; `unknown` what is not on this phone.
 * @param {string} codes @param {string[]} places their ids @param {string[]} lots
 */
export function boxesNamed(codes, places, lots) {
  const said = codes.split(",").filter(Boolean).map((code) => [code[0], code.slice(2)]);
  const idOf = (letter, short) => (STEPS.includes(ACTS[letter]) ? called(short, lots) : short === "" ? "" : called(short, places));
  const named = said.filter(([letter]) => Object.hasOwn(ACTS, letter)).map(([letter, short]) => ({ act: ACTS[letter], id: idOf(letter, short), short }));
  const low = said.find(([letter]) => letter === LOW);
  return {
    boxes: named.filter(({ id }) => id !== undefined).map(({ act, id }) => ({ act, id })),
    unknown: named.filter(({ id }) => id === undefined).map(({ short }) => short),
    low_c: low ? Number(low[1]) : null,
    walked: said.filter(([letter]) => letter === WALKED).map(([, short]) => called(short, places) ?? short),
  };
}

const called = (short, ids) => ids.find((id) => id.replaceAll(",", "_") === short || (id.length === UUID_LONG && short !== "" && id.endsWith(short)));

/**
 * The day on which a box was ticked at a time of day: the first that comes after the list was
 * made, so that a cover of the evening is of the list's own day, and one off before the hour of its
 * making of the next morning; of a day that has not come yet it never is.
 * @param {{day: string, time: string}} paper @param {string} clock @param {string} today the nursery's
 */
export const tickedOn = (paper, clock, today) => (clock < paper.time && paper.day < today ? nextDay(paper.day) : paper.day);
