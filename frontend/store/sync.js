// @ts-check
/**
 * Sync: runs the engine's effects and feeds it what comes of them. It listens for everything that
 * might mean a connection, holds the lock that lets one tab at a time flush, and keeps the watchdog
 * that ends a pass which has fallen silent.
 * @module
 */
import { localText, nowText } from "./clock.js";
import { StorageFull } from "./database.js";
import { begin, next } from "./engine.js";
import { asSent, beginAfresh, heldIds, memory, settle, unsent } from "./queue.js";
import { applyPage, forgetCursor } from "./rows.js";
import { Failure, ask } from "./server.js";
import { tellTabs } from "./tabs.js";

const REQUEST_MS = 20_000;
const WATCHDOG_MS = 60_000;
const OFFER_MAX = 5_000;

/**
 * @typedef {{onRows: (rows: any[], afresh: boolean) => void, onQueue: () => Promise<void> | void,
 *   onState: (state: string, detail: string) => void, onNameMove?: (move: any, isLast: boolean) => Promise<void>, onTime?: (doubted: string | null) => void}} Ears
 */

export class Sync {
  /**
   * @param {Ears} ears
   * @param {{request_ms?: number, watchdog_ms?: number}} [limits]
   */
  constructor(ears, { request_ms: requestMs = REQUEST_MS, watchdog_ms: watchdogMs = WATCHDOG_MS } = {}) {
    this.ears = ears;
    this.requestMs = requestMs;
    this.watchdogMs = watchdogMs;
    this.state = begin();
    this.abort = new AbortController();
    this.letGo = () => {};
    this.timer = 0;
    this.watchdog = 0;
  }

  /** Listen to everything that might mean a connection (FAULTS F21). */
  start() {
    addEventListener("online", () => this.nudge("online"));
    addEventListener("pageshow", () => this.nudge("visible"));
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") this.nudge("visible");
    });
  }

  /** Try now; while a pass is under way, once more after it. @param {string} why */
  nudge(why) {
    this.send({ type: "nudge", why });
  }

  /** @param {import("./engine.js").Message} message */
  send(message) {
    const { state, effects } = next(this.state, message);
    const moved = state !== this.state;
    this.state = state;
    if (moved) this.watch();
    for (const effect of effects) this.run(effect);
  }

  /** The watchdog begins to count again at every step of a pass. */
  watch() {
    clearTimeout(this.watchdog);
    if (this.state.doing === "rest") return;
    this.watchdog = setTimeout(() => this.send({ type: "silent", random: Math.random() }), this.watchdogMs);
  }

  run(effect) {
    const now = EFFECTS[effect.do];
    if (now) {
      now(this, effect);
      return;
    }
    const { pass } = this.state;
    REQUESTS[effect.do](this, effect).then(
      (answer) => answer && this.send({ ...answer, pass }),
      (error) => this.send({ type: "failed", pass, failure: failureOf(error), events: effect.events, random: Math.random() }),
    );
  }

  ask(method, path, body, how = {}) {
    return ask(method, path, body, { ...how, signal: this.abort.signal, limitMs: this.requestMs });
  }
}

/** What is done at once and has no answer. */
const EFFECTS = {
  lock(sync, { steal }) {
    const { pass } = sync.state;
    sync.abort = new AbortController();
    const held = navigator.locks.request("lathhouse-sync", steal ? { steal } : { ifAvailable: true }, async (lock) => {
      if (!lock) {
        sync.send({ type: "busy", pass });
        return;
      }
      const released = new Promise((resolve) => {
        sync.letGo = resolve;
      });
      sync.send({ type: "locked", pass, memory: await memory() });
      await released;
    });
    held.catch((error) => sync.send({ type: "failed", pass, failure: failureOf(error), random: Math.random() }));
  },
  release(sync) {
    sync.letGo();
  },
  abort(sync) {
    sync.abort.abort();
  },
  tell(sync, { state, detail }) {
    void sync.ears.onQueue();
    sync.ears.onState(state, detail);
  },
  wait(sync, { ms }) {
    clearTimeout(sync.timer);
    sync.timer = setTimeout(() => sync.nudge("timer"), ms);
  },
};

/** What is asked of the network or the disk; each resolves with the message for the engine. */
const REQUESTS = {
  async readQueue(_sync, { most, aside }) {
    return { type: "queue", events: await unsent(most, aside) };
  },
  async push(sync, { device, events }) {
    const body = { device, sent_at: localText(), events: events.map(asSent) };
    const answer = await sync.ask("POST", "/api/v1/sync/push", body);
    if (!Array.isArray(answer?.stored)) throw new Failure("unreachable", "this is not our server");
    return { type: "pushed", answer, events };
  },
  async settle(sync, { answer, events, server }) {
    const settled = await settle(answer, events, server);
    await sync.ears.onQueue();
    tellTabs("synced");
    return { type: "settled", ...settled };
  },
  async offer(sync, { server }) {
    const { device } = await memory();
    const ids = device ? await heldIds() : [];
    const missing = [];
    for (let first = 0; first < ids.length; first += OFFER_MAX) {
      const body = { device, ids: ids.slice(first, first + OFFER_MAX) };
      missing.push(...(await sync.ask("POST", "/api/v1/sync/offer", body)).missing);
    }
    await beginAfresh(missing, server);
    await sync.ears.onQueue();
    return { type: "offered", server };
  },
  async pull(sync, { cursor, limit, device }) {
    const who = device ? `&device=${device}` : "";
    const page = await sync.ask("GET", `/api/v1/sync/pull?after=${encodeURIComponent(cursor)}&limit=${limit}${who}`);
    if (typeof page?.cursor !== "string" || !page.rows) throw new Failure("unreachable", "this is not our server");
    return { type: "pulled", page };
  },
  async apply(sync, { page, after, afresh }) {
    const rows = await applyPage(page, after, afresh, nowText());
    sync.ears.onRows(rows, afresh);
    await sync.ears.onNameMove?.(page.name_move ?? null, !page.more);
    sync.ears.onTime?.(page.time_doubted ?? null);
    tellTabs("synced");
    return { type: "applied", page: { ...page, rows: null } };
  },
  async forgetCursor() {
    await forgetCursor();
    return null;
  },
};

/** What went wrong, as the engine knows it; sending and bookkeeping fail apart (FAULTS F3). */
function failureOf(error) {
  if (error instanceof Failure) return { kind: error.kind, detail: error.message, problem: error.problem, retryAfterMs: error.retryAfterMs };
  const kind = error instanceof StorageFull ? "storage-full" : "fault";
  return { kind, detail: String(error?.message ?? error) };
}
