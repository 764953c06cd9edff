// @ts-check
/**
 * Chambers: twin of `domain/chambers.py`. A fridge or propagator with a temperature band; three
 * clocks that an opened door does not ring and that do not chatter.
 * @module
 */
import { MINUTE_MS, toMs } from "./instants.js";

export const DEFAULTS = {
  low_c: 1,
  high_c: 5,
  aim_c: 4,
  hard_low_c: 0,
  hard_high_c: 8,
  margin_c: 0.5,
  minutes_out: 60,
  minutes_out_long: 240,
  minutes_hard: 15,
  minutes_back: 30,
  interval_minutes: 15,
  by_hand: false,
};
// A reading may come so much later than its interval. Our own choice.
const LATE_READING_MINUTES = 5;
const CLOCKS = { out_since: "minutes_out", long_since: "minutes_out_long", hard_since: "minutes_hard" };

/** The lower limit is not below the upper one. */
export class BandUpsideDown extends Error {}

/**
 * A chamber's settings, with the defaults for what its owner left open.
 * @param {Record<string, any> | null | undefined} chamber
 * @throws {BandUpsideDown}
 */
export function settingsOf(chamber) {
  const given = Object.entries(chamber ?? {}).filter(([, value]) => value != null);
  const settings = { ...DEFAULTS, ...Object.fromEntries(given) };
  if (settings.low_c >= settings.high_c || settings.hard_low_c >= settings.hard_high_c) {
    throw new BandUpsideDown("the lower limit must be below the upper one");
  }
  if (!settings.by_hand) {
    // One reading of a seldom read probe may be of an opened door: the next one must say so too.
    settings.minutes_out = Math.max(settings.minutes_out, settings.interval_minutes + LATE_READING_MINUTES);
  }
  return settings;
}

/** The settings of a chamber on record; what a correction made unreadable is left out. @param {any} chamber */
export function settingsKept(chamber) {
  const given = chamber && typeof chamber === "object" && !Array.isArray(chamber) ? Object.entries(chamber) : [];
  const readable = given.filter(([name, value]) => (name === "by_hand" ? typeof value === "boolean" : typeof value === "number"));
  try {
    return settingsOf(Object.fromEntries(readable));
  } catch (error) {
    if (!(error instanceof BandUpsideDown)) throw error;
    return { ...DEFAULTS };
  }
}

/** The state of a chamber that nobody has read yet. */
export function newState() {
  return { at: null, temp_c: null, back_since: null, out_since: null, long_since: null, hard_since: null };
}

/**
 * The state after one more reading; readings come in the order of their time.
 * @param {Record<string, any>} before
 * @param {string} at
 * @param {number} tempC
 * @param {Record<string, any>} settings
 */
export function read(before, at, tempC, settings) {
  const { low_c: low, high_c: high, margin_c: margin } = settings;
  const out = tempC < low || tempC > high;
  const hard = tempC < settings.hard_low_c || tempC > settings.hard_high_c;
  const wellInside = low + margin <= tempC && tempC <= high - margin;
  /** @type {Record<string, any>} */
  const state = { ...before, at, temp_c: tempC };
  for (const [clock, limit] of Object.entries(CLOCKS)) {
    state[clock] = runClock(state[clock], clock === "hard_since" ? hard : out, at, settings[limit]);
  }
  state.back_since = wellInside ? (state.back_since ?? at) : null;
  if (state.back_since && minutes(state.back_since, at) >= settings.minutes_back) {
    for (const clock of Object.keys(CLOCKS)) state[clock] = null;
  }
  return state;
}

function runClock(since, wrong, at, limitMinutes) {
  if (wrong) return since ?? at;
  return since && minutes(since, at) >= limitMinutes ? since : null;
}

function minutes(start, end) {
  return (toMs(end) - toMs(start)) / MINUTE_MS;
}

/**
 * What the watches may know of a chamber: its clocks, its limits and its silence.
 * @param {Record<string, any> | null | undefined} state
 * @param {Record<string, any> | null | undefined} chamber
 */
export function chamberFacts(state, chamber) {
  const settings = settingsKept(chamber);
  const silenceMinutes = Math.max(3 * settings.interval_minutes, 120);
  return { ...settings, ...(state ?? newState()), silence_minutes: silenceMinutes };
}
