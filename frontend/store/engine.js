// @ts-check
/**
 * The sync engine as a pure function: `next(state, message) -> {state, effects}`. No clock, no
 * network, no database; the driver (`sync.js`) runs the effects and sends back what came of them.
 *
 * One pass: take the lock, push batch after batch until the outbox is empty, then pull page after
 * page until there is no more. Any failure ends the pass and a timer begins another; nothing here
 * takes an event away.
 * @module
 */

export const BATCH = 500;
const PULL_LIMIT = 500;
const EVERY_MS = 60_000;
const FIRST_RETRY_MS = 1_000;
const LAST_RETRY_MS = 30_000;
const BUSY_MS = 3_000;
// After this many refusals of the lock its holder is taken to be frozen, and loses it.
const BUSY_MAX = 20;
// Requests of one pass that may fail for what is in them, before the server is left in peace.
const TROUBLES_MAX = 16;
const PAUSED = ["signed-out", "not-allowed"];
// What may end a pause: a person who signed in, asked for it, or came back to the app.
const ENDS_PAUSE = ["signed-in", "asked", "visible", "online"];

/**
 * @typedef {{device: string | null, epoch: string | null, revision: number, next_seq: number,
 *   cursor: string, afresh: boolean}} Memory
 * @typedef {{epoch: string, revision: number, next_seq: number}} Server what it says of itself
 * @typedef {{state: string, detail: string}} Note what the screens are told
 * @typedef {{doing: "rest" | "lock" | "push" | "settle" | "offer" | "pull" | "apply", pass: number,
 *   why: string, again: boolean, failures: number, busy: number, batch: number, troubles: number,
 *   aside: string[], paused: boolean, memory: Memory | null, server: Server | null, lost: boolean,
 *   gapAt: number | null, note: Note | null}} State
 * `aside` are events over which the server stumbled: they wait until all others are through.
 * @typedef {{type: string, [more: string]: any}} Message
 * @typedef {{do: string, [more: string]: any}} Effect
 */

/** The engine at rest. @returns {State} */
export function begin() {
  return {
    doing: "rest", pass: 0, why: "", again: false, failures: 0, busy: 0, batch: BATCH, troubles: 0,
    aside: [], paused: false, memory: null, server: null, lost: false, gapAt: null, note: null,
  };
}

/**
 * @param {State} state
 * @param {Message} message
 * @returns {{state: State, effects: Effect[]}}
 */
export function next(state, message) {
  const late = message.pass !== undefined && (message.pass !== state.pass || state.doing === "rest");
  if (late) return { state, effects: [] };
  const [changes, ...effects] = HANDLERS[message.type](state, message);
  return { state: { ...state, ...changes }, effects };
}

const HANDLERS = { nudge, busy, locked, queue, pushed, settled, offered, pulled, applied, failed, silent };

/** Somebody thinks that there may be something to do. */
function nudge(state, { why }) {
  if (state.doing !== "rest") return [{ again: true }];
  if (state.paused && !ENDS_PAUSE.includes(why)) return [{}];
  // While the server is out of reach, or another tab is at it, a timer asks again; forty taps
  // need not.
  if (why === "recorded" && state.failures + state.busy > 0) return [{}];
  const changes = { doing: "lock", why, pass: state.pass + 1, again: false, troubles: 0, note: null, paused: false };
  return [changes, { do: "lock", steal: state.busy >= BUSY_MAX }];
}

/** Another tab is at it (FAULTS F7). */
function busy(state) {
  // Taps do not count: only as much time as its holder has had.
  const count = state.why === "timer" ? state.busy + 1 : Math.max(1, state.busy);
  return [{ doing: "rest", busy: count }, { do: "wait", ms: BUSY_MS }];
}

function locked(state, { memory }) {
  return [{ doing: "push", busy: 0, memory }, readQueue(state)];
}

function readQueue(state) {
  return { do: "readQueue", most: state.batch, aside: state.aside };
}

function queue(state, { events }) {
  if (!events.length) return pull(state);
  return [{ doing: "push" }, { do: "push", device: events[0].device, events }];
}

function pull(state) {
  return [{ doing: "pull" }, askForPage(state.memory)];
}

/** The page after a cursor, and what the server still knows of this phone. */
function askForPage({ cursor, device }) {
  return { do: "pull", cursor, limit: PULL_LIMIT, device };
}

/** Whether this server has forgotten what an earlier answer proved it knew (FAULTS F11). */
export function hasForgotten(memory, answer) {
  const otherEpoch = memory.epoch !== null && answer.epoch !== memory.epoch;
  return otherEpoch || answer.revision < memory.revision || (answer.next_seq ?? memory.next_seq) < memory.next_seq;
}

function pushed(state, { answer, events }) {
  const lost = hasForgotten(state.memory, answer);
  const server = { epoch: answer.epoch, revision: answer.revision, next_seq: answer.next_seq };
  return [{ doing: "settle", server, lost }, { do: "settle", answer, events, server: lost ? null : server }];
}

function settled(state, { count, accounted }) {
  // A number below all that are unsent, yet unknown there: it was forgotten without a new epoch.
  // Asked once for each such gap; what fills it may be gone from this phone too.
  const gapAt = state.server && state.server.next_seq < accounted ? state.server.next_seq : null;
  if (state.lost || (gapAt !== null && gapAt !== state.gapAt)) {
    return [{ doing: "offer", lost: false, gapAt }, { do: "offer", server: state.server }];
  }
  if (!count) return giveUpPass(state, { kind: "unreachable", detail: "the answer names nothing that was sent" });
  const batch = Math.min(BATCH, state.batch * 2);
  const memory = { ...state.memory, ...state.server };
  return [{ doing: "push", batch, memory }, { do: "readQueue", most: batch, aside: state.aside }];
}

/** The server has been offered all that this phone holds, and what it lacks is queued again. */
function offered(state, { server }) {
  const memory = { ...state.memory, ...server, cursor: "0", afresh: true };
  return [{ doing: "push", memory, aside: [] }, { do: "readQueue", most: state.batch, aside: [] }];
}

function pulled(state, { page }) {
  if (hasForgotten(state.memory, page)) {
    const server = { epoch: page.epoch, revision: page.revision, next_seq: page.next_seq ?? state.memory.next_seq };
    return [{ doing: "offer" }, { do: "offer", server }];
  }
  return [{ doing: "apply" }, { do: "apply", page, after: state.memory.cursor, afresh: state.memory.afresh }];
}

function applied(state, { page }) {
  const { cursor, epoch, revision } = page;
  const memory = { ...state.memory, cursor, epoch, revision, afresh: false };
  if (page.more) {
    return [{ doing: "pull", memory }, askForPage(memory)];
  }
  const heldUp = state.aside.length ? { state: "held-up", detail: `${state.aside.length}` } : null;
  const tell = { do: "tell", ...(state.note ?? heldUp ?? { state: "in-touch", detail: "" }) };
  const rest = { doing: "rest", memory, failures: 0, again: false, aside: [] };
  return [rest, { do: "release" }, tell, { do: "wait", ms: state.again ? 0 : EVERY_MS }];
}

/** A request or a transaction came to nothing. */
function failed(state, { failure, events, random }) {
  if (failure.kind === "not-allowed" && state.doing === "push") {
    // A role that may only look still gets to see.
    const [changes, ...effects] = pull(state);
    return [{ ...changes, note: { state: failure.kind, detail: failure.detail } }, ...effects];
  }
  const itsContent = ["too-much", "bad", "broken"].includes(failure.kind);
  if (itsContent && state.doing === "push" && events && state.troubles < TROUBLES_MAX) {
    return divide(state, events, failure);
  }
  if (failure.kind === "bad" && state.doing === "pull" && state.memory.cursor !== "0") {
    const memory = { ...state.memory, cursor: "0", afresh: true };
    return [{ memory }, { do: "forgetCursor" }, askForPage(memory)];
  }
  return giveUpPass(state, failure, random);
}

/**
 * A whole batch came to nothing: one bad event must not hold up the rest (FAULTS F6). Send half of
 * it; one that fails alone goes to the tray where the server never takes it, else waits its turn.
 */
function divide(state, events, failure) {
  const troubles = state.troubles + 1;
  if (events.length > 1) {
    const batch = Math.ceil(events.length / 2);
    return [{ troubles, batch }, { do: "readQueue", most: batch, aside: state.aside }];
  }
  // Nor is it the server that refuses a record without a word of its own, but something on the way.
  if (failure.kind === "broken" || !failure.problem) {
    const aside = [...state.aside, events[0].id];
    return [{ troubles, aside }, { do: "readQueue", most: state.batch, aside }];
  }
  const refused = [{ id: events[0].id, problem: failure.problem }];
  return [{ troubles, doing: "settle", server: null, lost: false }, { do: "settle", answer: { refused }, events, server: null }];
}

function giveUpPass(state, failure, random = 0) {
  const failures = state.failures + 1;
  const paused = PAUSED.includes(failure.kind);
  const tell = { do: "tell", state: failure.kind, detail: failure.detail };
  const ends = [{ doing: "rest", failures, paused, again: false, lost: false }, { do: "abort" }, { do: "release" }, tell];
  // Signed out: nothing is deleted, and nothing is tried until somebody is there (FAULTS F4).
  return paused ? ends : [...ends, { do: "wait", ms: backoffMs(failures, random, failure.retryAfterMs) }];
}

/** How long to wait after so many failures: longer each time, and not all phones at once. */
export function backoffMs(failures, random, retryAfterMs = null) {
  const most = Math.min(LAST_RETRY_MS, FIRST_RETRY_MS * 2 ** Math.min(failures - 1, 20));
  return Math.max(most * (0.5 + random / 2), retryAfterMs ?? 0);
}

/** The watchdog: this pass has said nothing for too long (FAULTS F22). */
function silent(state, { random }) {
  if (state.doing === "rest") return [{}];
  return giveUpPass(state, { kind: "unreachable", detail: "no answer" }, random);
}
