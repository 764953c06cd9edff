// @ts-check
/**
 * Setting the house in motion, after the first paint: deriving, sync, the minute, the other tabs.
 * @module
 */
import { nowText, recall } from "./clock.js";
import { setMeta, StorageFull } from "./database.js";
import { derive } from "./deriving.js";
import { contact, keptSkew, nameMove, now, phone, readHouse, refreshQueue, session, takeRecorded, takeRows, trouble, unsentPhotos, wayMade } from "./house.js";
import { touchesPhotos } from "./kept_photos.js";
import { watchKeeping } from "./keeping.js";
import { onRecorded } from "./record.js";
import { Failure } from "./server.js";
import { whoAmI } from "./session.js";
import { Sync } from "./sync.js";
import { onTabs, tellTabs } from "./tabs.js";

const MINUTE_MS = 60_000;

/**
 * Begin, once the house is open. Returns the sync, for a screen's "try now".
 * @param {{request_ms?: number, watchdog_ms?: number}} [limits]
 */
export function startHouse(limits) {
  recall(keptSkew.ms);
  const sync = new Sync({ onRows, onQueue, onState: heardOf, onNameMove, onTime }, limits);
  function heardOf(state, detail) {
    onState(state, detail);
    if (state === "in-touch") mayVisit = true;
    if (state === "signed-out" && session.value?.demo && mayVisit) void visitAgain(sync);
  }
  onRecorded((events) => {
    takeRecorded(events);
    deriveNow();
    tellTabs("recorded");
    sync.nudge("recorded");
    if (events.some((event) => event.kind === "photographed" || touchesPhotos(event))) void refreshQueue();
  });
  onTabs((news) => heard(news, sync));
  keepTime();
  deriveNow();
  sync.start();
  // Whoever signs in, now or later, sets the queue in motion.
  session.subscribe((known) => known && sync.nudge("signed-in"));
  void signIn();
  watchKeeping();
  return sync;
}

async function signIn() {
  try {
    await whoAmI();
    void renewReminders();
  } catch (error) {
    if (error instanceof StorageFull) return onState("storage-full", error.message);
    if (!(error instanceof Failure)) throw error;
    if (!session.value) onState(error.kind, error.message);
  }
}

/** Whether a demo was not asked in vain since it was last in touch. */
let mayVisit = true;

/** A demo lets its visitors in at that question: a phone that lost its cookie need not be opened anew. */
async function visitAgain(sync) {
  mayVisit = false;
  try {
    await whoAmI();
    sync.nudge("signed-in");
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    // Not answered, or stumbled over: that was no refusal.
    mayVisit = ["unreachable", "broken"].includes(error.kind);
    console.info("demo:", error.message);
  }
}

/** After a server was set up anew, what rings on this phone must be heard of by it again. */
async function renewReminders() {
  if (globalThis.Notification?.permission !== "granted") return;
  try {
    await (await import("./reaching.js")).renewRinging();
  } catch (error) {
    // The next start tries again, and the screen of reminders says how things stand.
    console.info("reminders:", error.message);
  }
}

function onRows(rows, afresh) {
  takeRows(rows, afresh);
  deriveNow();
}

/** The nursery's name is on the move, or no more. Kept, for a phone that comes too late. @param {any} move @param {boolean} isLast page of the pull */
async function onNameMove(move, isLast) {
  // Once the way over is good no more, the rows of this pull say whether it was gone.
  if (isLast && wayMade.value !== null && (!move || Date.now() > wayMade.value) && !phone()?.moved_to) {
    await setMeta("way_made", null);
    wayMade.value = null;
  }
  if (JSON.stringify(move) === JSON.stringify(nameMove.value)) return;
  await setMeta("name_move", move);
  nameMove.value = move;
}

/** The server's own clock is in doubt, or no more. @param {string | null} doubted why */
function onTime(doubted) {
  if (contact.value.time_doubted !== doubted) contact.value = { ...contact.value, time_doubted: doubted };
}

async function onQueue() {
  await refreshQueue();
  deriveNow();
}

function onState(state, detail) {
  contact.value = { ...contact.value, state, detail };
  // The first question was not answered, but the cookie was good: who is it?
  if (state === "in-touch" && !session.value) void signIn();
  if (state === "storage-full") trouble.value = "full_news";
  if (state === "in-touch") void keepRinging();
  // Records are through, or held up by the server itself: now is the time for pictures.
  if (["in-touch", "held-up"].includes(state)) void sendPhotosNow();
}

async function sendPhotosNow() {
  if (!unsentPhotos.value.length) return;
  try {
    await (await import("./photos.js")).sendPhotos();
  } catch (error) {
    // They stay where they are, and the next pass tries again.
    console.info("pictures:", error.message);
  }
}

/** Where this phone takes messages, the server is to know where: looked at after each sync. */
async function keepRinging() {
  if (!("Notification" in window) || Notification.permission !== "granted") return;
  const { keepReached } = await import("./reaching.js");
  await keepReached();
}

async function heard(news, sync) {
  if (news === "recorded") {
    await refreshQueue();
    // It may be this tab that holds the lock.
    sync.nudge("recorded");
  } else await readHouse();
  deriveNow();
}

/** Derive as of this moment: a contact may just have shown how wrong the phone's clock is. */
function deriveNow() {
  now.value = nowText();
  derive();
}

/** The minute: on its stroke, and whenever the app comes to the front. */
function keepTime() {
  setInterval(deriveNow, MINUTE_MS);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && deriveNow());
  addEventListener("pageshow", (event) => event.persisted && deriveNow());
}
