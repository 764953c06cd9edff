// @ts-check
/**
 * The phone's database. Everything that is saved goes through `durably`: a transaction with
 * durability strict, whose completion is what "saved" means.
 * @module
 */
import { openDB } from "../vendor/idb.js";

const NAME = "lathhouse";
const VERSION = 2;
const BLOCKED_AFTER_MS = 1500;
// One connection may have died long ago, the next amid a transaction; the third finds what is stored.
const TRIES = 3;
export const STORES = ["events", "outbox", "refused", "confirming", "rows", "meta", "photos", "unsent_photos"];
// What a browser says when the connection died under the page (FAULTS F14).
const DIED = ["InvalidStateError", "UnknownError"];

/** The phone's storage is full, or the browser refuses to store more. */
export class StorageFull extends Error {}
/** So little room that what is left is for records. */
export class NoRoomForPhoto extends StorageFull {}
/** The database cannot be reached until the app is started again. */
export class NeedsRestart extends Error {}

/** @typedef {"blocked" | "open" | "outdated" | "restart"} Trouble */

/** @type {Promise<any> | null} */
let opening = null;
/** @type {(what: Trouble) => void} */
let tell = () => {};

/**
 * Be told when another tab blocks the database (`blocked`, then `open`), when a newer version of
 * the app has taken it (`outdated`), or when only a new start of the app helps (`restart`).
 * @param {(what: Trouble) => void} listener
 */
export function onTrouble(listener) {
  tell = listener;
}

/** The one connection of this page; opened again when the browser has dropped it. */
export function database() {
  opening ??= open().catch((error) => {
    opening = null;
    throw error;
  });
  return opening;
}

async function open() {
  let waited = false;
  const blocked = () => {
    waited = true;
    tell("blocked");
  };
  // Only the first waiter gets a `blocked` event (FAULTS F17); the timer serves the others.
  const slow = setTimeout(blocked, BLOCKED_AFTER_MS);
  try {
    const db = await openDB(NAME, VERSION, { upgrade, blocked, blocking: giveWay, terminated: drop });
    if (waited) tell("open");
    return db;
  } catch (error) {
    if (error?.name !== "VersionError") throw error;
    tell("outdated");
    throw new NeedsRestart("A newer version of the app has this phone's record.", { cause: error });
  } finally {
    clearTimeout(slow);
  }
}

function upgrade(db, oldVersion) {
  if (oldVersion < 1) {
    db.createObjectStore("events", { keyPath: "id" });
    db.createObjectStore("outbox", { keyPath: "seq" });
    db.createObjectStore("refused", { keyPath: "id" });
    db.createObjectStore("confirming", { keyPath: "id" });
    db.createObjectStore("rows", { keyPath: "key" });
    db.createObjectStore("meta");
  }
  if (oldVersion < 2) {
    db.createObjectStore("photos", { keyPath: "sha256" });
    db.createObjectStore("unsent_photos", { keyPath: "sha256" });
  }
}

/**
 * The database at whatever version it is, for reading alone: where a newer version of the app has
 * it, or this one cannot bring it up to date.
 */
export function openAsItIs() {
  return openDB(NAME, undefined, {
    // There is none: making one here would leave it without its stores.
    upgrade: (_db, _old, _new, tx) => tx.abort(),
  });
}

/** Another tab wants a newer version: let go, or it waits for ever (FAULTS F17). */
function giveWay() {
  drop();
  tell("outdated");
}

function drop() {
  opening?.then((db) => db.close(), () => {});
  opening = null;
}

/**
 * Run `act` in one strict read-write transaction; resolves once it is on disk. `act` may run again,
 * on a fresh connection, where the one before died.
 * @template T
 * @param {string[]} stores
 * @param {(tx: any, again: boolean) => Promise<T>} act `again`: one before may have been stored
 * @returns {Promise<T>}
 * @throws {StorageFull} nothing of this was stored
 * @throws {NeedsRestart} the connection died each time: whether it was stored, a new start shows
 */
export async function durably(stores, act) {
  return retried(async (again) => {
    const db = await database();
    const tx = db.transaction(stores, "readwrite", { durability: "strict" });
    try {
      const [result] = await Promise.all([wholly(act, tx, again), tx.done]);
      return result;
    } catch (error) {
      throw named(error, tx.error);
    }
  });
}

/** What `act` gives; where it fails, nothing of its transaction is kept. */
async function wholly(act, tx, again) {
  try {
    return await act(tx, again);
  } catch (error) {
    // A transaction that is over already cannot be given up again.
    if (!tx.error && error?.name !== "InvalidStateError") tx.abort();
    throw error;
  }
}

/** Read from the database. @template T @param {(db: any) => Promise<T>} act @returns {Promise<T>} */
export async function reading(act) {
  return retried(async () => act(await database()));
}

async function retried(act) {
  for (let tried = 1; ; tried += 1) {
    try {
      return await act(tried > 1);
    } catch (error) {
      if (!DIED.includes(error?.name)) throw error;
      drop();
      if (tried < TRIES) continue;
      tell("restart");
      throw new NeedsRestart("This phone's record cannot be reached.", { cause: error });
    }
  }
}

function named(error, cause) {
  const names = [error?.name, cause?.name];
  if (names.includes("QuotaExceededError")) {
    return new StorageFull("This phone's storage is full.", { cause: error });
  }
  return cause && DIED.includes(cause.name) ? cause : error;
}

/** What is kept under a name, or a default. */
export async function meta(name, otherwise = null) {
  const value = await reading((db) => db.get("meta", name));
  return value ?? otherwise;
}

/** Keep something under a name. */
export async function setMeta(name, value) {
  await durably(["meta"], (tx) => tx.objectStore("meta").put(value, name));
}
