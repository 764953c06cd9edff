// @ts-check
/**
 * The engine in a simulated world: one phone, one server, a network that loses, hangs and answers
 * late, a disk that fails, a browser that is killed at any step, a server that is restored from a
 * backup. A plain map is the oracle. Everything comes from the seed.
 * @module
 */
import { begin, next } from "/store/engine.js";

const STEPS = 400;
const QUIET_STEPS = 4000;

/** Mulberry32: 32 bits of state, good enough to shuffle a test. @param {number} seed */
function randomOf(seed) {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4294967296;
  };
}

class Server {
  constructor() {
    Object.assign(this, { epoch: 1, revision: 1, events: new Map(), refused: new Set(), log: [] });
  }

  copy() {
    const copy = new Server();
    Object.assign(copy, { epoch: this.epoch, revision: this.revision, log: [...this.log] });
    copy.events = new Map(this.events);
    copy.refused = new Set(this.refused);
    return copy;
  }

  nextSeq() {
    let seq = 1;
    while (this.events.has(seq) || this.refused.has(seq)) seq += 1;
    return seq;
  }

  hasGap() {
    return this.nextSeq() <= Math.max(0, ...this.events.keys(), ...this.refused);
  }

  says() {
    return { epoch: this.epoch, revision: this.revision, next_seq: this.nextSeq() };
  }

  push(events) {
    const answer = { stored: [], already: [], refused: [] };
    for (const event of events) {
      if (event.bad === "refused") {
        this.refused.add(event.seq);
        answer.refused.push({ id: event.id, problem: { detail: "no" } });
      } else if (this.events.has(event.seq)) answer.already.push(event.id);
      else {
        this.events.set(event.seq, event);
        this.revision += 1;
        this.log.push({ revision: this.revision, id: event.id });
        answer.stored.push(event.id);
      }
    }
    return { ...answer, ...this.says() };
  }

  pull(cursor, limit) {
    const after = Number(cursor);
    const found = this.log.filter((row) => row.revision > after);
    const page = found.slice(0, limit);
    return { rows: page, cursor: String(page.at(-1)?.revision ?? after), more: found.length > page.length, ...this.says() };
  }
}

/** The phone's disk: what survives a kill. */
class Disk {
  constructor() {
    Object.assign(this, { seq: 0, events: new Map(), outbox: new Set(), tray: new Set(), rows: new Set() });
    this.memory = { device: "d", epoch: null, revision: 0, next_seq: 0, cursor: "0", afresh: false };
  }
}

/**
 * Run one seed. Returns what is wrong at the end, or an empty list.
 * @param {number} seed
 * @returns {string[]}
 */
export function simulate(seed) {
  const world = new World(seed);
  for (let step = 0; step < STEPS; step += 1) world.step();
  world.calm();
  return world.wrong();
}

class World {
  constructor(seed) {
    this.random = randomOf(seed);
    this.server = new Server();
    /** @type {Server | null} */
    this.backup = null;
    this.disk = new Disk();
    this.trouble = 0.3;
    /** @type {Map<number, any>} every event that was ever shown as saved */
    this.saved = new Map();
    this.boot();
  }

  boot() {
    this.engine = begin();
    /** @type {(() => void)[]} what is under way: any of it may come to its end next */
    this.under = [];
    this.timer = false;
    this.send({ type: "nudge", why: "online" });
  }

  chance(odds) {
    return this.random() < odds;
  }

  step() {
    if (this.chance(0.3)) this.record();
    if (this.chance(0.02)) this.boot();
    if (this.chance(0.02)) this.backup = this.server.copy();
    if (this.chance(0.01) && this.backup) this.restore();
    if (this.chance(0.01) && this.backup) this.lapse();
    if (this.chance(0.05)) this.send({ type: "silent", random: this.random() });
    this.advance();
  }

  /** One thing that is under way comes to its end, or else the timer strikes. */
  advance() {
    if (this.under.length) this.under.splice(Math.floor(this.random() * this.under.length), 1)[0]();
    else if (this.timer) {
      this.timer = false;
      this.send({ type: "nudge", why: "timer" });
    } else this.stuck = this.engine.doing !== "rest" || !this.engine.paused;
  }

  record() {
    const seq = (this.disk.seq += 1);
    const kind = this.random();
    const bad = kind < 0.05 ? "refused" : kind < 0.08 ? "unreadable" : null;
    const event = { id: `e${seq}`, seq, device: "d", bad };
    this.disk.events.set(seq, event);
    this.disk.outbox.add(seq);
    this.saved.set(seq, event);
    this.send({ type: "nudge", why: "recorded" });
  }

  restore() {
    this.server = this.backup.copy();
    this.server.epoch = 2 + Math.floor(this.random() * 1e9);
  }

  /**
   * The server's disk had not kept what was answered for; since then, others have recorded. While
   * one of this phone's numbers is missing before that, nothing but a new epoch would tell of it.
   */
  lapse() {
    const { epoch, revision } = this.server;
    if (this.server.hasGap()) return;
    this.server = this.backup.copy();
    Object.assign(this.server, { epoch, revision: revision + 1 });
  }

  send(message) {
    const { state, effects } = next(this.engine, message);
    this.engine = state;
    for (const effect of effects) this.begin(effect);
  }

  begin(effect) {
    const { pass } = this.engine;
    if (effect.do === "wait") this.timer = true;
    const act = ACTS[effect.do];
    if (!act) return;
    const answer = (message) => message && this.send({ ...message, pass });
    const fail = (kind, problem = null) => answer({ type: "failed", failure: { kind, detail: "", problem }, events: effect.events, random: this.random() });
    this.under.push(() => act(this, effect, answer, fail));
  }

  /** From now on nothing goes wrong, and nothing new is recorded. */
  calm() {
    this.trouble = 0;
    this.stuck = false;
    for (let step = 0; step < QUIET_STEPS && !this.stuck; step += 1) {
      // A person who signs in again ends a pause.
      if (this.engine.paused) this.send({ type: "nudge", why: "signed-in" });
      this.advance();
      if (this.isDone()) break;
    }
  }

  isDone() {
    const { cursor, epoch, afresh, next_seq: heard } = this.disk.memory;
    const here = !afresh && epoch === this.server.epoch && Number(cursor) === (this.server.log.at(-1)?.revision ?? 0);
    // Where the server has lapsed since, the timer's next pass is still to come.
    return here && heard <= this.server.nextSeq() && !this.disk.outbox.size && this.engine.doing === "rest";
  }

  wrong() {
    const wrong = [];
    if (this.stuck) wrong.push(`stuck in ${this.engine.doing}`);
    if (this.disk.outbox.size) wrong.push(`unsent after quiet: ${[...this.disk.outbox]}`);
    for (const [seq, event] of this.saved) {
      const kept = this.server.events.get(seq)?.id === event.id || this.disk.tray.has(seq);
      if (!kept) wrong.push(`lost: ${seq}`);
    }
    for (const { id } of this.server.log) if (!this.disk.rows.has(id)) wrong.push(`row missing: ${id}`);
    for (const id of this.disk.rows) if (!this.server.log.some((row) => row.id === id)) wrong.push(`stale row: ${id}`);
    return wrong;
  }
}

/** A request: lost on the way, or its answer lost, or answered. */
function request(world, fail, ask, answer) {
  const odds = world.random();
  if (odds < world.trouble / 3) return fail(world.chance(0.2) ? "signed-out" : "unreachable");
  const said = ask();
  if (odds < (world.trouble * 2) / 3) return fail("unreachable");
  // It never comes: only the watchdog helps, which the world rings for every hung pass.
  if (odds < world.trouble) return world.under.push(() => world.send({ type: "silent", random: world.random() }));
  return answer(said);
}

/** A transaction: on disk whole, or not at all. */
function durably(world, fail, act, answer) {
  if (world.chance(world.trouble / 4)) return fail("fault");
  act(world.disk);
  return answer();
}

const ACTS = {
  lock: (world, _effect, answer) => {
    if (world.chance(world.trouble / 5)) answer({ type: "busy" });
    else answer({ type: "locked", memory: { ...world.disk.memory } });
  },
  readQueue: (world, { most, aside }, answer) => {
    const waiting = [...world.disk.outbox].sort((a, b) => a - b).map((seq) => world.disk.events.get(seq));
    answer({ type: "queue", events: waiting.filter(({ id }) => !aside.includes(id)).slice(0, most) });
  },
  push: (world, { events }, answer, fail) => {
    if (events.some((event) => event.bad === "unreadable")) return fail(world.chance(0.5) ? "bad" : "too-much", { detail: "unreadable" });
    return request(world, fail, () => world.server.push(events), (said) => answer({ type: "pushed", answer: said, events }));
  },
  settle: (world, { answer: said, events, server }, answer, fail) => {
    const named = new Set([...(said.stored ?? []), ...(said.already ?? [])]);
    const refused = new Set((said.refused ?? []).map((one) => one.id));
    const count = events.filter(({ id }) => named.has(id) || refused.has(id)).length;
    const act = (disk) => {
      for (const { id, seq } of events) {
        if (named.has(id) || refused.has(id)) disk.outbox.delete(seq);
        if (refused.has(id)) disk.tray.add(seq);
      }
      if (server) Object.assign(disk.memory, server);
    };
    const accounted = () => Math.min(...world.disk.outbox, world.disk.seq + 1);
    return durably(world, fail, act, () => answer({ type: "settled", count, accounted: accounted() }));
  },
  offer: (world, { server }, answer, fail) => {
    const ask = () => [...world.disk.events.keys()].filter((seq) => !world.server.events.has(seq));
    const queueAgain = (missing) => (disk) => {
      for (const seq of missing) disk.outbox.add(seq);
      Object.assign(disk.memory, server, { cursor: "0", afresh: true });
    };
    request(world, fail, ask, (missing) => durably(world, fail, queueAgain(missing), () => answer({ type: "offered", server })));
  },
  pull: (world, { cursor }, answer, fail) => {
    request(world, fail, () => world.server.pull(cursor, 5), (page) => answer({ type: "pulled", page }));
  },
  apply: (world, { page, after, afresh }, answer, fail) => {
    const { memory } = world.disk;
    if (memory.cursor !== after || memory.afresh !== afresh) return fail("fault");
    const act = (disk) => {
      if (afresh) disk.rows.clear();
      for (const { id } of page.rows) disk.rows.add(id);
      Object.assign(disk.memory, { cursor: page.cursor, epoch: page.epoch, revision: page.revision, afresh: false });
    };
    return durably(world, fail, act, () => answer({ type: "applied", page }));
  },
  forgetCursor: (world) => Object.assign(world.disk.memory, { cursor: "0", afresh: true }),
};
