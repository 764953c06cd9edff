// @ts-check
/** Emptying a phone that is let in no more: nothing of the nursery stays on it, and nothing unsent goes. @module */
import { durably, reading, STORES } from "./database.js";

const UNSENT = ["outbox", "refused", "confirming", "unsent_photos"];

/** How many records and pictures are on this phone and not surely on the server. */
export async function unsentCount() {
  return reading((db) => counted(db.transaction(UNSENT)));
}

async function counted(tx) {
  const counts = await Promise.all(UNSENT.map((name) => tx.objectStore(name).count()));
  return counts.reduce((sum, count) => sum + count, 0);
}

/**
 * Take everything of the nursery off this phone: the record, the app's own files, what it remembers.
 * Where anything is unsent, nothing is touched: counted and cleared in one transaction, so that what
 * another tab records meanwhile is not lost.
 * @returns {Promise<number>} how many records are unsent; 0: the phone is empty
 */
export async function emptyPhone() {
  const left = await durably(STORES, async (tx) => {
    const count = await counted(tx);
    if (count === 0) await Promise.all(STORES.map((name) => tx.objectStore(name).clear()));
    return count;
  });
  if (left === 0) await forgetTheRest();
  return left;
}

/** The app's files are nobody's secret: where the browser keeps them all the same, no harm is done. */
async function forgetTheRest() {
  localStorage.clear();
  sessionStorage.clear();
  const workers = (await navigator.serviceWorker?.getRegistrations()) ?? [];
  const files = (await globalThis.caches?.keys()) ?? [];
  await Promise.all([...workers.map((one) => one.unregister()), ...files.map((name) => caches.delete(name))]);
}
