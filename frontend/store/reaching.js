// @ts-check
/**
 * Being told while the app is closed: asking the browser, and telling the server where. What is
 * denied, missing or out of reach comes out as one word, for the screen to say plainly.
 * @module
 */
import { signal } from "../vendor/signals.js";
import { meta, setMeta } from "./database.js";
import { ask, Failure } from "./server.js";
import { whoAmI } from "./session.js";

const WORKER_LIMIT_MS = 10_000;
const PAGE = 30;
// Which address the server was told last; `SILENT` where this phone was told to ring no more.
const POSTED = "push_posted";
const SILENT = "silent";

/** What the server says of this phone: `{key, push_ready, mail_ready, subscriptions, to}`, or null. */
export const reached = signal(/** @type {any} */ (null));
/** The log as far as it was fetched: `{rows, more}`, or null. */
export const log = signal(/** @type {any} */ (null));
/** Whether this browser takes messages: `on`, `off`, `denied` or `unable`. */
export const ringing = signal("off");

const able = () => "PushManager" in window && "Notification" in window && "serviceWorker" in navigator;

async function worker() {
  const late = new Promise((_, fail) => setTimeout(() => fail(new Error("no worker")), WORKER_LIMIT_MS));
  return /** @type {ServiceWorkerRegistration} */ (await Promise.race([navigator.serviceWorker.ready, late]));
}

/** Read how this phone is reached now. @throws {import("./server.js").Failure} */
export async function readReached() {
  if (!able()) ringing.value = "unable";
  else if (Notification.permission === "denied") ringing.value = "denied";
  reached.value = await ask("GET", "/api/v1/reminders");
  if (ringing.value === "on" || ringing.value === "off") ringing.value = reached.value.subscriptions.length ? "on" : "off";
}

/**
 * Ask the browser for messages; only ever at a tap.
 * @throws {import("./server.js").Failure} the server is out of reach, or says no
 */
export async function ringHere() {
  if (!able()) {
    ringing.value = "unable";
    return;
  }
  if ((await Notification.requestPermission()) !== "granted") {
    ringing.value = "denied";
    return;
  }
  const { key } = await ask("GET", "/api/v1/reminders");
  let subscription;
  try {
    subscription = await subscribed((await worker()).pushManager, key);
  } catch (error) {
    console.info("push:", error.message);
    ringing.value = "unable";
    return;
  }
  await post(subscription);
  ringing.value = "on";
  await readReached();
}

async function post(subscription) {
  await ask("POST", "/api/v1/reminders/subscriptions", subscription.toJSON());
  await setMeta(POSTED, JSON.stringify(subscription));
}

/**
 * Tell the server where this phone takes messages, if that is not what it was told last: a browser
 * moves an address by itself, and what the worker says of it then may be lost on its way. Offline it
 * is asked again after the next sync.
 */
export async function keepReached() {
  if (!able() || Notification.permission !== "granted") return;
  const posted = await meta(POSTED);
  const registration = posted === SILENT ? null : await navigator.serviceWorker.getRegistration();
  const subscription = await registration?.pushManager.getSubscription();
  if (!subscription || JSON.stringify(subscription) === posted) return;
  try {
    await post(subscription);
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    console.info("push:", error.message);
  }
}

async function subscribed(manager, applicationServerKey) {
  const how = { userVisibleOnly: true, applicationServerKey };
  const kept = await manager.getSubscription();
  // One that was made for another server's key is of no use to this one.
  return manager.subscribe(how).catch(async (error) => {
    if (!kept) throw error;
    await kept.unsubscribe();
    return manager.subscribe(how);
  });
}

/**
 * Subscribe again by itself where the server cannot send any more by what this phone has: its key is
 * another one (it was set up anew), or it has forgotten or dropped the subscription. A phone that
 * was not asked, or silenced, stays as it is.
 * @throws {import("./server.js").Failure}
 */
export async function renewRinging() {
  if (!able() || Notification.permission !== "granted") return;
  const manager = (await worker()).pushManager;
  const kept = await manager.getSubscription();
  if (!kept) return;
  const { key, subscriptions } = await ask("GET", "/api/v1/reminders");
  if (subscriptions.length && isFor(kept, key)) return;
  await kept.unsubscribe();
  await ask("POST", "/api/v1/reminders/subscriptions", (await subscribed(manager, key)).toJSON());
}

/** Whether a subscription was made for a key. */
function isFor({ options }, key) {
  const own = options?.applicationServerKey;
  if (!own) return true;
  const text = btoa(String.fromCharCode(...new Uint8Array(own)));
  return text.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "") === key;
}

/** This phone wants no more messages. @throws {import("./server.js").Failure} */
export async function silenceHere() {
  for (const id of reached.value.subscriptions) await ask("DELETE", `/api/v1/reminders/subscriptions/${id}`);
  // First, or an address that the browser does not let go of is told to the server again.
  await setMeta(POSTED, SILENT);
  const subscription = await (await worker()).pushManager.getSubscription();
  await subscription?.unsubscribe();
  ringing.value = "off";
  await readReached();
}

/** Have a test message sent. @param {"push" | "mail"} channel @throws {import("./server.js").Failure} */
export const sendTest = (channel) => ask("POST", "/api/v1/reminders/test", { channel });

/** Say who carries this phone. @param {string | null} person @throws {import("./server.js").Failure} */
export async function setCarrier(person) {
  await ask("POST", "/api/v1/session/person", { person });
  await whoAmI();
  await readReached();
}

/** Read the log from its newest, or on from where it ends. @param {boolean} [onward] @throws {import("./server.js").Failure} */
export async function readLog(onward = false) {
  const held = onward ? log.value.rows : [];
  const after = held.length ? `&after=${held[held.length - 1].id}` : "";
  const page = await ask("GET", `/api/v1/deliveries?limit=${PAGE}${after}`);
  log.value = { rows: [...held, ...page.deliveries], more: page.more };
}
