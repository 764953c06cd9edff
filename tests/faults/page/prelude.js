// @ts-check
/**
 * What surrounds the app on a phone of the simulator, put in place before any of its modules: the
 * phone's two clocks, its timers, its network, its disk, and its death at any step of these.
 */
(() => {
  const handset = /** @type {any} */ (parent).handset;
  const { plan } = handset;
  const tab = handset.tabOf(window);
  const RealDate = Date;
  const realNow = Date.now;
  const realElapsed = performance.now.bind(performance);
  const realTimeout = setTimeout;
  // A timer this short is the app's own way of saying "next", and is left to the browser.
  const SHORT_MS = 50;

  // The person has the phone in hand, whichever page the browser shows.
  Object.defineProperty(document, "visibilityState", { value: "visible" });

  // -- the clocks: time that passes moves both; a clock that is set moves the wall clock alone
  const begun = handset.passedMs;
  performance.now = () => realElapsed() + handset.passedMs - begun - handset.asleepMs;
  const now = () => realNow() + handset.passedMs + handset.clockMs;
  // @ts-ignore a Date by another clock
  window.Date = class extends RealDate {
    constructor(...given) {
      // @ts-ignore
      super(...(given.length ? given : [now()]));
    }

    static now() {
      return now();
    }

    getTimezoneOffset() {
      return -handset.east_min;
    }
  };

  // -- the timers: they strike when the person lets time pass
  const timers = new Map();
  let last = 1_000_000;
  const later = (act, ms, again) => {
    if (!again && !(ms >= SHORT_MS)) return realTimeout(act, ms);
    last += 1;
    timers.set(last, { act, at: handset.passedMs + ms, every: again ? ms : 0 });
    return last;
  };
  const never = (id) => {
    if (!timers.delete(id)) realClear(id);
  };
  const realClear = clearTimeout;
  // @ts-ignore
  window.setTimeout = (act, ms = 0) => later(act, ms, false);
  // @ts-ignore
  window.setInterval = (act, ms = 0) => later(act, ms, true);
  window.clearTimeout = never;
  window.clearInterval = never;
  AbortSignal.timeout = (ms) => {
    const limit = new AbortController();
    later(() => limit.abort(new DOMException("signal timed out", "TimeoutError")), ms, false);
    return limit.signal;
  };
  tab.strike = () => {
    for (const [id, timer] of [...timers].sort(([, a], [, b]) => a.at - b.at)) {
      if (timer.at > handset.passedMs || !timers.has(id)) continue;
      if (timer.every) timer.at = handset.passedMs + timer.every;
      else timers.delete(id);
      timer.act();
    }
  };

  // -- death: at the n-th step on the way, with nothing said to anybody
  const step = () => {
    plan.steps += 1;
    if (plan.steps !== plan.die_at) return;
    handset.die();
    throw new Error("the phone is dead");
  };

  // -- the network
  const realFetch = window.fetch.bind(window);
  /** A promise that nobody keeps until the request is given up. */
  const silence = (signal) => new Promise((_resolve, reject) => {
    if (signal?.aborted) reject(signal.reason);
    signal?.addEventListener("abort", () => reject(signal.reason));
  });
  const held = async (wait) => {
    tab.held += 1;
    try {
      return await wait;
    } finally {
      tab.held -= 1;
    }
  };
  const carry = async (path, how, fault) => {
    if (fault === "no_signal") throw new TypeError("Failed to fetch");
    if (fault === "unheard") return held(silence(how.signal));
    const headers = { ...how.headers, "X-Fault": fault };
    const answer = await realFetch(path, { ...how, headers });
    // One way only: the request arrives, its answer never does.
    if (fault === "one_way") return held(silence(how.signal));
    if (fault === "slow") {
      const let_through = new Promise((go) => tab.slow.push(go));
      await held(Promise.race([let_through, silence(how.signal)]));
    }
    return answer;
  };
  /** Until it is settled, the app is at work. */
  const asking = async (wait) => {
    tab.asking += 1;
    try {
      return await wait;
    } finally {
      tab.asking -= 1;
    }
  };
  window.fetch = async (path, how = {}) => {
    step();
    const fault = plan.signal ? plan.net.shift() ?? "none" : "no_signal";
    plan.met.push(fault);
    tab.asking += 1;
    try {
      const answer = await carry(path, how, fault);
      step();
      const json = answer.json.bind(answer);
      answer.json = () => asking(json());
      return answer;
    } finally {
      tab.asking -= 1;
    }
  };

  // -- the lock under which pictures are sent: while somebody waits for it, the app is at work
  const lock = LockManager.prototype.request;
  LockManager.prototype.request = async function (name, ...given) {
    const counts = name === "lathhouse-photos" ? 1 : 0;
    tab.locking += counts;
    try {
      return await lock.call(this, name, ...given);
    } finally {
      tab.locking -= counts;
    }
  };

  // -- the disk
  const transaction = IDBDatabase.prototype.transaction;
  IDBDatabase.prototype.transaction = function (stores, mode, options) {
    step();
    const tx = transaction.call(this, stores, mode, options);
    tab.writing += 1;
    // Full: what the browser says at the end, when every request had seemed to succeed. Its own
    // quota looks at the disk twice a minute only.
    tx.gives_up = mode === "readwrite" && handset.isFull;
    if (tx.gives_up) Object.defineProperty(tx, "error", { value: new DOMException("full", "QuotaExceededError") });
    // Lost: the connection breaks amid a transaction, whether it has been stored by then or not.
    const loses = mode === "readwrite" && !tx.gives_up ? plan.loses : "";
    if (loses) {
      plan.loses = "";
      plan.met.push(`disk lost ${loses}`);
      Object.defineProperty(tx, "error", { value: new DOMException("Connection to Indexed Database server lost", "UnknownError") });
      tx.gives_up = loses === "before";
    }
    tx.addEventListener("complete", (event) => {
      tab.writing -= 1;
      if (loses) event.stopImmediatePropagation();
      step();
      if (loses) tx.dispatchEvent(new Event("abort"));
    });
    tx.addEventListener("abort", (event) => {
      if (event.isTrusted) tab.writing -= 1;
    });
    return tx;
  };
  for (const name of ["add", "put", "delete", "clear"]) {
    const real = IDBObjectStore.prototype[name];
    IDBObjectStore.prototype[name] = function (...given) {
      step();
      const asked = real.apply(this, given);
      const tx = this.transaction;
      tx.last = asked;
      if (tx.gives_up) asked.addEventListener("success", () => queueMicrotask(() => tx.last === asked && tx.abort()));
      return asked;
    };
  }
  const open = IDBFactory.prototype.open;
  IDBFactory.prototype.open = function (...given) {
    const asked = open.apply(this, given);
    asked.addEventListener("success", () => tab.connections.push(asked.result));
    return asked;
  };
})();
