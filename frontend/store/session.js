// @ts-check
/** Signing in: pairing this phone by a one-time link, and knowing who it is. @module */
import { durably, meta } from "./database.js";
import { bornEmpty, emptied, session, shared } from "./house.js";
import { deviceId } from "./record.js";
import { ask } from "./server.js";

/** @typedef {{role: string, person: string | null, demo: boolean}} Session */

async function keep(said, more = {}) {
  await durably(["meta"], async (tx) => {
    await tx.objectStore("meta").put(said, "session");
    for (const [name, value] of Object.entries(more)) await tx.objectStore("meta").put(value, name);
    // Where the session names nobody, whoever was chosen on this phone stays.
    if (said.person) await tx.objectStore("meta").put(said.person, "person");
  });
  if (JSON.stringify(session.value) !== JSON.stringify(said)) session.value = said;
  return said;
}

/**
 * Ask the server who this phone is. Offline, or signed out, what was last known stays.
 * @returns {Promise<Session>}
 * @throws {import("./server.js").Failure}
 */
export async function whoAmI() {
  const said = await ask("GET", "/api/v1/session");
  // The cookie is still good, but nothing is left of the record: the browser threw it away.
  const wasPaired = !said.signed_in_now && !(await meta("session"));
  if (bornEmpty.value && wasPaired && !said.demo) emptied.value = { device: said.device ?? null };
  return keep({ role: said.role, person: said.person ?? null, demo: said.demo === true });
}

/**
 * Pair this phone with a link's secret.
 * @param {string} secret
 * @param {string} name what people call this phone
 * @returns {Promise<Session>}
 * @throws {import("./server.js").Failure} the link was used already, or is too old
 */
export async function pair(secret, name) {
  const device = await deviceId();
  const said = await ask("POST", "/api/v1/pairings/redeem", { secret, device, name });
  // Nobody's own and no owner's: the phone of the shed, which asks who records.
  const isShared = said.role === "worker" && !said.person;
  shared.value = isShared;
  return keep({ role: said.role, person: said.person ?? null, demo: said.demo === true }, { shared: isShared });
}
