// @ts-check
/**
 * Sync: moves the queue whenever it can, and never waits for ever. One tab at a time; every
 * request has a time limit; a pass that falls silent is ended by the watchdog; a failed pass is
 * followed by another, later and later. Nothing here takes an event away but an answer naming it.
 * @module
 */
import { measure, localText } from "./clock.js";
import { meta, setMeta } from "./database.js";
import { applyPage, asSent, heldIds, queueAgain, settle, unsent } from "./queue.js";

const BATCH = 200;
const PULL_LIMIT = 500;
const PAGES_MAX = 200;
const REQUEST_MS = 20_000;
const WATCHDOG_MS = 120_000;
const EVERY_MS = 60_000;
const FIRST_RETRY_MS = 2_000;
const LAST_RETRY_MS = 300_000;

/** The phone is not paired, or was cut off: sync pauses, and nothing is deleted. */
export class SignedOut extends Error {}
/** The server could not be reached, or asked to be left alone for now. */
export class Unreachable extends Error {}

export class Sync {
  /**
   * @param {{onRows: (rows: any[], afresh: boolean) => void, onQueue: () => void,
   *   onState: (state: string, detail?: string) => void, limits?: Record<string, number>}} ears
   */
  constructor({ onRows, onQueue, onState, limits = {} }) {
    Object.assign(this, { onRows, onQueue, onState });
    this.limits = { request: REQUEST_MS, watchdog: WATCHDOG_MS, every: EVERY_MS, retry: FIRST_RETRY_MS, ...limits };
    this.failures = 0;
    this.batch = BATCH;
    /** @type {AbortController | null} */
    this.running = null;
    this.again = false;
    this.timer = 0;
  }

  /** Begin: now, and on everything that might mean a connection. */
  start() {
    const nudge = () => this.nudge();
    addEventListener("online", nudge);
    addEventListener("pageshow", nudge);
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && nudge());
    nudge();
  }

  /** Try soon; while a pass is under way, once more after it. */
  nudge() {
    if (this.running) this.again = true;
    else void this.pass();
  }

  wait(ms) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.nudge(), ms);
  }

  async pass() {
    if (this.running) return;
    const running = new AbortController();
    this.running = running;
    const watchdog = setTimeout(() => running.abort(new Unreachable("silent")), this.limits.watchdog);
    try {
      await navigator.locks.request("lathhouse-sync", { ifAvailable: true }, async (lock) => {
        if (lock) await this.exchange(running.signal);
      });
      this.failures = 0;
    } catch (error) {
      this.failed(error);
    } finally {
      clearTimeout(watchdog);
      this.running = null;
      this.onQueue();
      this.schedule();
    }
  }

  schedule() {
    if (this.again && this.failures === 0) {
      this.again = false;
      this.wait(0);
      return;
    }
    this.again = false;
    const later = Math.min(LAST_RETRY_MS, this.limits.retry * 2 ** Math.min(this.failures - 1, 12));
    this.wait(this.failures ? later * (0.5 + Math.random() / 2) : this.limits.every);
  }

  failed(error) {
    this.failures += 1;
    if (error instanceof SignedOut) this.onState("signed-out");
    else if (error instanceof Unreachable || error?.name === "AbortError") this.onState("unreachable");
    else {
      // The queue itself is untouched; what went wrong is for a person to read.
      this.onState("fault", String(error?.message ?? error));
      console.error(error);
    }
  }

  async exchange(signal) {
    const device = await meta("device");
    await this.pushAll(device, signal);
    await this.pullAll(device, signal);
    await setMeta("last_sync_at", new Date().toISOString());
    this.onState("in-touch");
  }

  async pushAll(device, signal) {
    for (let round = 0; round < 10_000; round += 1) {
      const events = await unsent(this.batch);
      if (!events.length || !device) return;
      const body = { device, sent_at: localText(), events: events.map(asSent) };
      const answer = await this.send("POST", "/api/v1/sync/push", body, signal);
      if (answer === "too-much") {
        if (this.batch === 1) throw new Error("one record is more than the server takes");
        this.batch = Math.max(1, Math.floor(this.batch / 2));
        continue;
      }
      const settled = await settle(answer, events);
      await this.noticeRestore(answer, device, signal);
      this.onQueue();
      if (!settled) throw new Unreachable("the answer names none of what was sent");
    }
  }

  /** A server that forgot: its epoch is another, or its numbers went backwards. */
  async noticeRestore(answer, device, signal) {
    const [epoch, revision, next] = await Promise.all([meta("epoch"), meta("revision", 0), meta("server_next_seq", 0)]);
    const lost = (epoch && answer.epoch !== epoch) || answer.revision < revision || (answer.next_seq ?? next) < next;
    if (answer.next_seq) await setMeta("server_next_seq", answer.next_seq);
    if (!lost) return false;
    const ids = await heldIds();
    for (let first = 0; first < ids.length; first += 5000) {
      const body = { device, ids: ids.slice(first, first + 5000) };
      const { missing } = await this.send("POST", "/api/v1/sync/offer", body, signal);
      await queueAgain(missing);
    }
    await setMeta("epoch", answer.epoch);
    await setMeta("revision", answer.revision);
    await setMeta("cursor", "0");
    await setMeta("afresh", true);
    this.again = true;
    return true;
  }

  async pullAll(device, signal) {
    for (let page = 0; page < PAGES_MAX; page += 1) {
      const [cursor, afresh] = await Promise.all([meta("cursor", "0"), meta("afresh", false)]);
      const path = `/api/v1/sync/pull?after=${encodeURIComponent(cursor)}&limit=${PULL_LIMIT}`;
      const answer = await this.send("GET", path, null, signal);
      if (device && (await this.noticeRestore(answer, device, signal))) continue;
      const rows = await applyPage(answer, afresh);
      if (afresh) await setMeta("afresh", false);
      this.onRows(rows, afresh);
      if (!answer.more) return;
    }
  }

  async send(method, path, body, signal) {
    const sentMs = Date.now();
    let response;
    try {
      response = await fetch(path, {
        method,
        credentials: "same-origin",
        headers: body ? { "Content-Type": "application/json" } : {},
        body: body ? JSON.stringify(body) : undefined,
        signal: AbortSignal.any([signal, AbortSignal.timeout(this.limits.request)]),
      });
      if (response.status === 401 || response.status === 403) throw new SignedOut(String(response.status));
      if (response.status === 413) return "too-much";
      if (!response.ok) throw new Unreachable(`the server answered ${response.status}`);
      const answer = await response.json();
      if (answer.server_time) measure(sentMs, Date.now(), answer.server_time);
      return answer;
    } catch (error) {
      if (error instanceof SignedOut || error instanceof Unreachable) throw error;
      throw new Unreachable(String(error?.message ?? error));
    }
  }
}
