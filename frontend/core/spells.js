// @ts-check
/** Spells: twin of `domain/spells.py`. What opens and what closes them. @module */
const SPELLS_MAX = 60;
export const STARTS = {
  soak_started: "soak", sanitise_started: "sanitise", warm_started: "warm", cold_started: "cold",
};
export const ENDS = {
  soak_ended: "soak", sanitise_ended: "sanitise", warm_ended: "warm", cold_ended: "cold",
};
// A soak inside a warm or cold spell closes neither: see the Python twin.
const CLOSED_BY_START = {
  soak: ["drained"],
  sanitise: ["soak", "drained"],
  warm: ["soak", "sanitise", "drained", "cold"],
  cold: ["soak", "sanitise", "drained", "warm"],
};
const SPELL_FIELDS = ["where", "temp_c", "medium", "limit_minutes", "solution", "percent_by_volume"];
const ALL = ["soak", "sanitise", "drained", "warm", "cold"];

/** The lot's open spell of a kind, or null. */
export function openSpell(lot, kind) {
  return lot.spells.findLast((spell) => spell.kind === kind && spell.ended_at === null) ?? null;
}

/** The lot's latest spell of a kind, open or over, or null. */
export function lastSpell(lot, kind) {
  return lot.spells.findLast((spell) => spell.kind === kind) ?? null;
}

/**
 * Why bleach may not come near a lot, or null: acid that was not rinsed and bleach make chlorine gas.
 * @returns {"acid_not_rinsed" | null}
 */
export function dipRefusal(lot) {
  const { acid_at: acid, rinsed_at: rinsed } = lot;
  return acid === null || (rinsed !== null && rinsed >= acid) ? null : "acid_not_rinsed";
}

/** Close the open spells of these kinds at the event's time; say whether there were any. */
export function close(lot, kinds, event, indoorsOnly = false) {
  let found = false;
  for (const spell of lot.spells) {
    if (spell.ended_at !== null || !kinds.includes(spell.kind)) continue;
    if (indoorsOnly && spell.where === "outdoors") continue;
    spell.ended_at = event.at;
    spell.ended_by = event.id;
    found = true;
  }
  return found;
}

/** Close every open spell: the seed has come up or has been potted. */
export function closeAll(lot, event) {
  close(lot, ALL, event);
}

/** Open a spell, numbered among its kind. */
export function begin(lot, kind, event) {
  const data = event.data ?? {};
  /** @type {Record<string, any>} */
  const spell = {
    kind,
    nth: 1 + lot.spells.filter((earlier) => earlier.kind === kind).length,
    started_at: event.at,
    ended_at: null,
    event: event.id,
    ended_by: null,
  };
  for (const name of SPELL_FIELDS) if (data[name] != null) spell[name] = data[name];
  if (kind === "soak") spell.water_moved_at = event.at;
  lot.spells = [...lot.spells, spell].slice(-SPELLS_MAX);
}

/** Apply a `…_started`; false where that spell is open already (it does not restart). */
export function start(lot, event) {
  const kind = STARTS[event.kind];
  if (openSpell(lot, kind)) return false;
  close(lot, CLOSED_BY_START[kind], event);
  begin(lot, kind, event);
  if (kind === "cold") delete lot.series.sprouted_percent;
  return true;
}

/** Apply an `…_ended`; false where no such spell is open. */
export function end(lot, event) {
  const kind = ENDS[event.kind];
  if (!close(lot, [kind], event)) return false;
  if (kind === "soak" || kind === "sanitise") begin(lot, "drained", event);
  return true;
}

/** Close what sowing ends: a soak, a dip, an indoor warm or cold spell, never an outdoor one. */
export function sow(lot, event) {
  close(lot, ["soak", "sanitise", "drained"], event);
  close(lot, ["warm", "cold"], event, true);
}

/** Restart the still-water clock of an open soak. */
export function waterMoved(lot, event) {
  const spell = openSpell(lot, "soak");
  if (spell) spell.water_moved_at = event.at;
}
