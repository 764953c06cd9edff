// @ts-check
/**
 * The address of this person's calendar feed. The server keeps its hash only; the phone that made
 * it keeps the address, and shows it as long as the server says that it is still the one.
 * @module
 */
import { meta, setMeta } from "./database.js";
import { ask } from "./server.js";

/** @typedef {{made_at: string | null, address: string | null, webcal: string | null, offline: boolean}} Known */

/** @param {any} said what the server says @param {any} kept what this phone keeps @returns {Known} */
function known(said, kept) {
  const ours = kept && kept.mark === said.mark ? kept : null;
  return { made_at: said.made_at, address: ours?.address ?? null, webcal: ours?.webcal ?? null, offline: false };
}

/** What is known of the address; with no server, what this phone keeps. @returns {Promise<Known>} */
export async function readCalendar() {
  const kept = await meta("calendar", null);
  try {
    return known(await ask("GET", "/api/v1/calendar"), kept);
  } catch (error) {
    console.info("calendar:", error.message);
    return { made_at: kept?.made_at ?? null, address: kept?.address ?? null, webcal: kept?.webcal ?? null, offline: true };
  }
}

/**
 * Make a new address; the one before it is good no more.
 * @returns {Promise<Known>}
 * @throws {import("./server.js").Failure}
 */
export async function renewCalendar() {
  const made = await ask("POST", "/api/v1/calendar", {});
  await setMeta("calendar", made);
  return known(made, made);
}

/**
 * End the feed.
 * @returns {Promise<Known>}
 * @throws {import("./server.js").Failure}
 */
export async function stopCalendar() {
  const said = await ask("DELETE", "/api/v1/calendar");
  await setMeta("calendar", null);
  return known(said, null);
}
