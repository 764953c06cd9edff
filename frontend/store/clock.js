// @ts-check
/**
 * The phone's clock, and how wrong it is. The skew (server's time less the phone's) is measured at
 * every contact; it holds for one run of the clock, and a run ends when wall clock and monotonic
 * clock disagree, since somebody has then set the time (or the phone has slept).
 * @module
 */
import { uuid7 } from "../core/ids.js";

const DISAGREE_MS = 5000;
// Skew under this is left alone, on both sides (DESIGN "How the fold reads a log").
const LEFT_ALONE_MS = 120_000;

let run = uuid7();
let base = Date.now() - performance.now();
/** @type {number | null} measured in this run */
let skewMs = null;
/** The last skew that was measured in any run: good enough to show the time by. */
let lastSkewMs = 0;

/** Start a new run where the wall clock has jumped. @returns {boolean} whether it has */
export function checkRun(wallMs = Date.now(), monotonicMs = performance.now()) {
  const now = wallMs - monotonicMs;
  if (Math.abs(now - base) <= DISAGREE_MS) return false;
  base = now;
  run = uuid7();
  skewMs = null;
  return true;
}

/**
 * Take a measure from an answer: the server's time against the middle of the round trip.
 * @param {number} sentMs
 * @param {number} receivedMs
 * @param {string} serverTime
 */
export function measure(sentMs, receivedMs, serverTime) {
  const server = Date.parse(serverTime);
  // A clock that was set while the request was under way measures nothing.
  if (checkRun() || !Number.isFinite(server)) return;
  skewMs = Math.round(server - (sentMs + receivedMs) / 2);
  lastSkewMs = skewMs;
}

/** Begin with the skew that was last measured before this start. @param {number} ms */
export function recall(ms) {
  lastSkewMs = ms;
}

/** The last skew measured, in milliseconds. */
export function lastSkew() {
  return lastSkewMs;
}

/** What an event says of this clock, or null where it has not been measured in this run. */
export function clockNote() {
  checkRun();
  return skewMs === null ? null : { run, skew_ms: skewMs };
}

/** What must be added to this phone's time; nought where it is under two minutes. */
export function correctionMs() {
  checkRun();
  const skew = skewMs ?? lastSkewMs;
  return Math.abs(skew) >= LEFT_ALONE_MS ? skew : 0;
}

/** Now, corrected, as canonical text. */
export function nowText() {
  return new Date(Date.now() + correctionMs()).toISOString();
}

/** A moment with this phone's own UTC offset, as an event carries it. @param {Date} [moment] */
export function localText(moment = new Date()) {
  const minutes = -moment.getTimezoneOffset();
  const shifted = new Date(moment.getTime() + minutes * 60_000).toISOString().slice(0, 23);
  const two = (number) => String(Math.floor(Math.abs(number))).padStart(2, "0");
  return `${shifted}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
}
