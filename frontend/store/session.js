// @ts-check
/** Signing in: pairing this phone by a one-time link, and knowing who it is. @module */
import { durably, meta, setMeta } from "./database.js";
import { emptied, session, shared } from "./house.js";
import { deviceId } from "./record.js";
import { ask } from "./server.js";

/** @typedef {{role: string, person: string | null, demo: boolean}} Session */

async function keep(said, more = {}) {
  await durably(["meta"], async (tx) => {
    await tx.objectStore("meta").put(said, "session");
    await tx.objectStore("meta").delete("pairing");
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
  // The cookie is still good, but who this phone is was forgotten: the browser threw its record
  // away. Rows may have come back since, where an earlier start got no answer to this question.
  const known = (await meta("session")) ?? (await meta("pairing"));
  const wasEmptied = !known && !said.signed_in_now && !said.demo;
  if (wasEmptied) emptied.value = true;
  // Kept until somebody has seen it: the app may be closed before it is read.
  return keep({ role: said.role, person: said.person ?? null, demo: said.demo === true }, wasEmptied ? { emptied: true, ...sharing(said) } : {});
}

/** Nobody's own and no owner's: the phone of the shed, which asks who records. */
function sharing(said) {
  shared.value = said.role === "worker" && !said.person;
  return { shared: shared.value };
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
  // Killed before the answer is kept, this phone has a cookie and knows of no session; it lost nothing.
  await setMeta("pairing", true);
  const said = await ask("POST", "/api/v1/pairings/redeem", { secret, device, name });
  // Where it takes messages belonged to the session before this one: the server is told again.
  await setMeta("push_posted", null);
  return keep({ role: said.role, person: said.person ?? null, demo: said.demo === true }, sharing(said));
}
