// @ts-check
/**
 * A phone of the simulator: the app runs in a frame, which can be taken away at any moment with
 * all its memory; this page outlives it, and knows what the app has said to its person.
 * @module
 */

const NAME = "lathhouse";
const POLL_MS = 2;
const AGREE_TRIES = 1000;
// What surrounds the app, and all of its modules as one script.
const SCRIPTS = await Promise.all(["/prelude.js", "/whole.js"].map(async (path) => (await fetch(path)).text()));

class Handset {
  constructor() {
    Object.assign(this, { passedMs: 0, asleepMs: 0, clockMs: 0, east_min: 0, signal: true, apart: false });
    this.plan = freshPlan();
    /** The app as it runs, maybe in several tabs. @type {{frame: HTMLIFrameElement, app: any}[]} */
    this.tabs = [];
    /** Ids of all events that the app has called saved. */
    this.saved = [];
    this.saysEmptied = false;
  }

  /** The app in the first tab in which it has opened. */
  get app() {
    return this.tabs.find((tab) => tab.app)?.app ?? null;
  }

  /** Begin a schedule: nothing runs, and disk and cookie are those of the first day. */
  async begin() {
    this.die();
    Object.assign(this, { passedMs: 0, clockMs: 0, east_min: 0, signal: true, isFull: false, saved: [], saysEmptied: false, backup: null });
    await this.write(this.firstDay);
    await fetch("/first-day");
  }

  /** A new phone is paired; as it is then, it begins each schedule. */
  async pairFirst(secret) {
    await this.step("open", null);
    await this.step("pair", secret);
    await this.step("nudge", "online");
    this.firstDay = await this.read();
    return this.firstDay;
  }

  /** What is on its disk, and what it shows to its person. */
  async testimony() {
    const { lots, tray, contact, unsentPhotos } = this.app.house;
    const shown = tray.value.map(({ id }) => id);
    return { disk: await this.read(), lots: Object.fromEntries(lots.value), otherwise: await this.otherwise(), tray: shown, contact: contact.value, saysEmptied: this.saysEmptied, waiting: unsentPhotos.value.map(({ sha256 }) => sha256) };
  }

  /** What another tab shows otherwise than the first; they hear of each other a moment later. */
  async otherwise() {
    const shown = ({ house }) => JSON.stringify([[...house.lots.value].sort(), house.pending.value, house.tray.value]);
    const differ = () => this.tabs.map(({ app }) => shown(app)).filter((said, _place, all) => said !== all[0]);
    for (let tries = 0; tries < AGREE_TRIES && differ().length; tries += 1) await new Promise((go) => setTimeout(go, POLL_MS));
    return differ();
  }

  loadApart(apart) {
    this.apart = apart;
  }

  state() {
    return this.app?.house.contact.value.state;
  }

  /** How much waits, how things stand with the server, and up to where its rows are known. */
  async rest() {
    const { database, house } = this.app;
    const waits = house.pending.value.length + house.unsentPhotos.value.length + ((await database.meta("afresh")) ? 1 : 0);
    const known = [await database.meta("epoch"), await database.meta("revision")];
    return [waits, house.confirming.value.length, this.state(), ...known];
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
    while (this.tabs.length && !this.app && !this.sum("held"));
    return { stalled: true };
  }

  sum(what) {
    return this.tabs.reduce((sum, tab) => sum + tab[what], 0);
  }

  isQuiet() {
    return this.tabs.every((tab) => {
      const { asking, held, locking, writing, app } = tab;
      if (writing || asking !== held) return false;
      return held > 0 || !app || (!locking && app.sync.state.doing === "rest");
    });
  }

  open() {
    this.die();
    this.asleepMs = 0;
    // What still runs of a dead app has the plan that it had.
    this.plan = { ...this.plan };
    return this.openTab();
  }

  openTab() {
    const tab = { frame: document.createElement("iframe"), app: null, strike: () => {}, ...LIVELY() };
    this.tabs.push(tab);
    const opened = new Promise((resolve) => {
      tab.opened = (app) => {
        tab.app = app;
        resolve(true);
      };
    });
    tab.frame.hidden = true;
    if (this.apart) tab.frame.src = "/app.html";
    document.body.append(tab.frame);
    if (!this.apart) SCRIPTS.forEach((text) => run(text, tab.frame));
    return opened;
  }

  tabOf(view) {
    return this.tabs.find((tab) => tab.frame.contentWindow === view);
  }

  /** A tab is closed, whatever it is at; the others live on. */
  closeTab(tab) {
    this.tabs.splice(this.tabs.indexOf(tab), 1);
    tab.strike = () => {};
    tab.frame.remove();
  }

  /** The app is gone in the middle of whatever it did. */
  die() {
    for (const tab of [...this.tabs]) this.closeTab(tab);
    this.tellDead?.();
  }

  async read() {
    const db = await connect();
    const tx = db.transaction([...db.objectStoreNames]);
    const disk = {};
    for (const name of db.objectStoreNames) {
      const store = tx.objectStore(name);
      const [keys, values] = await Promise.all([done(store.getAllKeys()), done(store.getAll())]);
      disk[name] = keys.map((key, index) => [key, values[index]]);
    }
    db.close();
    for (const [, value] of disk.photos ?? []) {
      const { blob } = value;
      Object.assign(value, { jpeg: await textOf(blob) });
      delete value.blob;
    }
    return disk;
  }

  /** Put the disk into a state; what is there already is left alone, since most of it always is. */
  async write(disk) {
    const db = await connect();
    const tx = db.transaction([...db.objectStoreNames], "readwrite");
    for (const name of db.objectStoreNames) {
      const store = tx.objectStore(name);
      const [keys, values] = await Promise.all([done(store.getAllKeys()), done(store.getAll())]);
      const there = new Map(keys.map((key, index) => [key, JSON.stringify(values[index])]));
      for (const [key, told] of disk[name] ?? []) {
        const value = name === "photos" ? kept(told) : told;
        if (there.get(key) !== JSON.stringify(value)) store.put(value, store.keyPath ? undefined : key);
        there.delete(key);
      }
      for (const key of there.keys()) store.delete(key);
    }
    await new Promise((resolve, reject) => Object.assign(tx, { oncomplete: resolve, onabort: reject }));
    db.close();
  }
}

const LIVELY = () => ({ asking: 0, held: 0, locking: 0, writing: 0, slow: [], connections: [] });
const freshPlan = () => ({ net: [], met: [], die_at: 0, steps: 0, signal: true, loses: "" });

/** Run a script in a frame, where its app has not died of the one before. */
function run(text, frame) {
  const page = frame.contentDocument;
  page?.body.append(Object.assign(page.createElement("script"), { textContent: text }));
}

const done = (asked) => new Promise((resolve, reject) => Object.assign(asked, { onsuccess: () => resolve(asked.result), onerror: () => reject(asked.error) }));

/** A picture's octets as text, and such a text's picture. */
const textOf = async (blob) => btoa(String.fromCharCode(...new Uint8Array(await blob.arrayBuffer())));
const blobOf = (text) => new Blob([Uint8Array.from(atob(text), (one) => one.charCodeAt(0))], { type: "image/jpeg" });
/** A draft as its screen gives it; a picture as the phone keeps it. */
const taken = ({ photo, ...draft }) => (photo ? { ...draft, photo: blobOf(photo) } : draft);
const kept = ({ jpeg, ...rest }) => ({ ...rest, blob: blobOf(jpeg) });

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
    const events = await handset.app.record.recordAll(drafts.map(taken));
    handset.saved.push(...events.flatMap(({ id, data }) => (data.sha256 ? [data.sha256, id] : [id])));
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
  /** The file of what is unsent, as its screen makes it; and any such file, sent from this phone. */
  async save_file(handset) {
    return (await handset.app.savedFile.savedFile()).text;
  },
  async bring_file(handset, text) {
    return handset.app.sending.sendSavedFile(text);
  },
  async nudge(handset, why) {
    handset.app.sync.nudge(why);
  },
  /** The person asks for everything to be tried again, as on the screen of what is unsent. */
  async try_now(handset) {
    for (const { app } of handset.tabs) app?.photos.forgetRefusals();
    handset.app.sync.nudge("asked");
  },
  async signal(handset, there) {
    handset.signal = handset.plan.signal = there;
    if (there) for (const { frame } of handset.tabs) frame.contentWindow.dispatchEvent(new Event("online"));
  },
  /** The person takes the phone out and looks at it. */
  async look(handset) {
    for (const { frame } of handset.tabs) frame.contentWindow.dispatchEvent(new Event("pageshow"));
  },
  /** Time has passed; a phone asleep in a pocket did not count it. */
  async wait(handset, { ms, asleep }) {
    if (asleep) handset.asleepMs += ms;
    for (const tab of [...handset.tabs]) tab.strike();
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
    handset.plan.loses = "";
    await ACTS.answers(handset);
    await ACTS.signal(handset, true);
  },
  /** The slow answers come in at last. */
  async answers(handset) {
    for (const { slow } of handset.tabs) for (const go of slow.splice(0)) go();
  },
  /**
   * The browser drops its connection to the disk under the app (FAULTS F14): between two
   * transactions, or `before` or `after` the next one that writes has been stored.
   */
  async disconnect(handset, amid) {
    if (amid) handset.plan.loses = amid;
    else for (const { connections } of handset.tabs) for (const db of connections.splice(0)) db.close();
  },
  /** The person opens the app in a second tab, or leaves one of two (FAULTS F7). */
  async tab(handset) {
    if (handset.tabs.length < 2) await handset.openTab();
  },
  async leave(handset, which) {
    if (handset.tabs.length > 1) handset.closeTab(handset.tabs[which]);
  },
  /** Every tab hears of the network at once, and would send what waits. */
  async everywhere(handset) {
    for (const { app } of handset.tabs) app?.sync.nudge("online");
  },
  /** The phone is in another zone, or its clocks have been put back or forward (FAULTS F13). */
  async zone(handset, east_min) {
    handset.east_min = east_min;
  },
  /** A backup of the whole phone is made, and later put back on it (FAULTS F29). */
  async keep(handset) {
    handset.backup = await handset.read();
  },
  async roll_back(handset) {
    handset.die();
    await handset.write(handset.backup ?? handset.firstDay);
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

/** Ask the test what to do, and do it, until there is no more. @param {Handset} handset */
async function obey(handset) {
  let body = JSON.stringify({ value: "ready" });
  for (;;) {
    const asked = await fetch("/turn", { method: "POST", body });
    if (asked.status !== 200) return;
    const [act, given] = await asked.json();
    try {
      body = JSON.stringify({ value: (await handset[act](...given)) ?? null });
    } catch (error) {
      body = JSON.stringify({ fault: `${act}: ${error?.stack ?? error}` });
    }
  }
}

const handset = new Handset();
// The first phone opens the others: a browser without a screen is told one page only.
for (const other of location.search.slice(1).split("&").filter(Boolean)) open(other, "_blank", "noopener");
Object.assign(window, { handset });
void obey(handset);
