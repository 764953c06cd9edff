// @ts-check
/**
 * A phone of the simulator: the app runs in a frame, which can be taken away at any moment with
 * all its memory; this page outlives it, and knows what the app has said to its person.
 * @module
 */

const NAME = "lathhouse";
const POLL_MS = 2;

class Handset {
  constructor() {
    Object.assign(this, { passedMs: 0, asleepMs: 0, clockMs: 0, signal: true, app: null, frame: null });
    this.plan = freshPlan();
    /** Ids of all events that the app has called saved. */
    this.saved = [];
    this.saysEmptied = false;
  }

  /** Begin a schedule: nothing runs, and the disk is as it was given. */
  async begin(disk) {
    this.die();
    Object.assign(this, { passedMs: 0, clockMs: 0, signal: true, isFull: false, saved: [], saysEmptied: false });
    await this.write(disk);
  }

  /** One step of a schedule; resolves when nothing more happens by itself. */
  async step(act, given, { net = [], die_at = 0, passed = 0 } = {}) {
    this.passedMs = passed;
    Object.assign(this.plan, { net: [...net], die_at, steps: 0, met: [], signal: this.signal });
    const said = await this.unlessDead(ACTS[act](this, given));
    await this.settled();
    const { steps, met } = this.plan;
    Object.assign(this.plan, { net: [], die_at: 0 });
    return { said, steps, met, alive: this.app !== null, saved: this.saved.splice(0) };
  }

  /** What an act gives, or that its phone died of it, or in a wait that only time ends. */
  unlessDead(act) {
    const dead = new Promise((resolve) => {
      this.tellDead = () => resolve({ died: true });
    });
    return Promise.race([act.then((value) => ({ value }), (error) => ({ error: error?.constructor?.name ?? `${error}`, detail: `${error?.message}` })), dead, this.stalled()]);
  }

  /** Settles once the app waits for nothing but time or its person. */
  async settled() {
    let quiet = 0;
    while (quiet < 2) {
      quiet = this.isQuiet() ? quiet + 1 : 0;
      await new Promise((go) => setTimeout(go, POLL_MS));
    }
    if (this.app?.house.emptied.value) this.saysEmptied = true;
  }

  async stalled() {
    await new Promise((go) => setTimeout(go, 0));
    do await this.settled();
    while (this.frame && !this.app && !this.plan.held);
    return { stalled: true };
  }

  isQuiet() {
    if (!this.frame) return true;
    const { asking, held, writing } = this.plan;
    if (writing || asking !== held) return false;
    return held > 0 || !this.app || this.app.sync.state.doing === "rest";
  }

  open() {
    this.die();
    this.asleepMs = 0;
    this.plan = Object.assign(freshPlan(), { ...this.plan, ...LIVELY() });
    const opened = new Promise((resolve) => {
      this.opened = (app) => {
        this.app = app;
        resolve(true);
      };
    });
    this.frame = document.createElement("iframe");
    this.frame.hidden = true;
    this.frame.src = "/app.html";
    document.body.append(this.frame);
    return opened;
  }

  /** The app is gone in the middle of whatever it did. */
  die() {
    const { frame } = this;
    Object.assign(this, { app: null, frame: null, strike: () => {} });
    Object.assign(this.plan, LIVELY());
    frame?.remove();
    this.tellDead?.();
  }

  async read() {
    const db = await connect();
    const tx = db.transaction([...db.objectStoreNames]);
    const disk = {};
    for (const name of db.objectStoreNames) {
      const store = tx.objectStore(name);
      const [keys, values] = [await done(store.getAllKeys()), await done(store.getAll())];
      disk[name] = keys.map((key, index) => [key, values[index]]);
    }
    db.close();
    return disk;
  }

  async write(disk) {
    const db = await connect();
    const tx = db.transaction([...db.objectStoreNames], "readwrite");
    for (const name of db.objectStoreNames) {
      const store = tx.objectStore(name);
      store.clear();
      for (const [key, value] of disk[name] ?? []) store.put(value, store.keyPath ? undefined : key);
    }
    await new Promise((resolve, reject) => Object.assign(tx, { oncomplete: resolve, onabort: reject }));
    db.close();
  }
}

const LIVELY = () => ({ asking: 0, held: 0, writing: 0, slow: [], connections: [] });
const freshPlan = () => ({ net: [], met: [], die_at: 0, steps: 0, signal: true, ...LIVELY() });

const done = (asked) => new Promise((resolve, reject) => Object.assign(asked, { onsuccess: () => resolve(asked.result), onerror: () => reject(asked.error) }));

/** The database as the app makes it. */
function connect() {
  const asked = indexedDB.open(NAME, 2);
  asked.onupgradeneeded = () => {
    const keys = { events: "id", outbox: "seq", refused: "id", confirming: "id", rows: "key", photos: "sha256", unsent_photos: "sha256" };
    for (const [name, keyPath] of Object.entries(keys)) asked.result.createObjectStore(name, { keyPath });
    asked.result.createObjectStore("meta");
  };
  return done(asked);
}

const ACTS = {
  open: (handset) => handset.open(),
  async close(handset) {
    handset.die();
  },
  /** The person records; told saved is what resolves, whatever becomes of the app after that. */
  async record(handset, drafts) {
    const events = await handset.app.record.recordAll(drafts);
    handset.saved.push(...events.map(({ id }) => id));
    return events.map(({ id }) => id);
  },
  async undo(handset, id) {
    const event = await handset.app.record.undo(id);
    handset.saved.push(event.id);
    return [event.id];
  },
  /** The oldest refused record is mended, or given up. */
  async mend(handset, { data, why }) {
    const [entry] = handset.app.house.tray.value.filter((one) => !one.mending);
    if (!entry) return null;
    const made = await (data ? handset.app.tray.mend(entry.id, { ...entry.event.data, ...data }) : handset.app.tray.giveUp(entry.id, why));
    handset.saved.push(made.id);
    return [made.id];
  },
  async nudge(handset, why) {
    handset.app.sync.nudge(why);
  },
  async signal(handset, there) {
    handset.signal = handset.plan.signal = there;
    if (there) handset.frame?.contentWindow.dispatchEvent(new Event("online"));
  },
  /** The person takes the phone out and looks at it. */
  async look(handset) {
    handset.frame?.contentWindow.dispatchEvent(new Event("pageshow"));
  },
  /** Time has passed; a phone asleep in a pocket did not count it. */
  async wait(handset, { ms, asleep }) {
    if (asleep) handset.asleepMs += ms;
    handset.strike?.();
  },
  async full(handset, isFull) {
    handset.isFull = isFull;
  },
  async clock(handset, ms) {
    handset.clockMs += ms;
  },
  /** There is signal again, and what was slow comes in. */
  async recover(handset) {
    handset.isFull = false;
    await ACTS.answers(handset);
    await ACTS.signal(handset, true);
  },
  /** The slow answers come in at last. */
  async answers(handset) {
    for (const go of handset.plan.slow.splice(0)) go();
  },
  /** The browser drops its connection to the disk under the app (FAULTS F14). */
  async disconnect(handset) {
    for (const db of handset.plan.connections.splice(0)) db.close();
  },
  /** The browser throws the record away (FAULTS F19). */
  async evict(handset) {
    handset.die();
    await done(indexedDB.deleteDatabase(NAME));
  },
  /** The rows as an earlier version of the app kept them: objects, with what a fold begins with. */
  async age(handset) {
    handset.die();
    const disk = await handset.read();
    for (const [, row] of disk.rows) {
      const data = typeof row.data === "string" ? JSON.parse(row.data) : row.data;
      const { base, ...rest } = data;
      row.data = base ? { ...rest, ...JSON.parse(base) } : rest;
    }
    await handset.write(disk);
  },
  async pair(handset, secret) {
    await handset.app.session.pair(secret, "phone");
    // As the screen does; it says nothing else to the queue.
    handset.app.sync.nudge("asked");
  },
};

Object.assign(window, { handset: new Handset() });
document.title = "ready";
