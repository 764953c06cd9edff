// @ts-check
/** Signing in: pairing this phone by a one-time link, and knowing who it is. @module */
import { durably, setMeta } from "./database.js";
import { contact, emptied, session, shared } from "./house.js";
import { deviceId } from "./record.js";
import { ask } from "./server.js";

/**
 * @typedef {{role: string, person: string | null, demo: boolean, proved: string | null,
 *   has_passphrase: boolean, by_passphrase: boolean}} Session `proved`: whose it surely is;
 * `person` is who carries it
 */

const sessionOf = (said) => ({
  role: said.role, person: said.person ?? null, demo: said.demo === true, proved: said.proved ?? null,
  has_passphrase: said.has_passphrase === true, by_passphrase: said.by_passphrase === true,
});

/** How often this phone began or ended a session: an answer that was asked for before that is an old one. */
let turns = 0;

async function keep(said, more = async (_kept) => ({}), isOld = () => false) {
  const isKept = await durably(["meta"], async (tx) => {
    if (isOld()) return false;
    const kept = tx.objectStore("meta");
    for (const [name, value] of Object.entries(await more(kept))) await kept.put(value, name);
    await kept.put(said, "session");
    await kept.delete("pairing");
    // Where the session names nobody, whoever was chosen on this phone stays.
    if (said.person) await kept.put(said.person, "person");
    return true;
  });
  if (!isKept) return session.value;
  if (JSON.stringify(session.value) !== JSON.stringify(said)) session.value = said;
  return said;
}

/**
 * Ask the server who this phone is. Offline, or signed out, what was last known stays; so it does
 * where this phone was paired or signed in or out while the answer, to its old cookie, was on its way.
 * @returns {Promise<Session>}
 * @throws {import("./server.js").Failure}
 */
export async function whoAmI() {
  const asked = turns;
  const said = await ask("GET", "/api/v1/session");
  let lost = null;
  const kept = await keep(sessionOf(said), async (before) => {
    // The cookie is still good, but who this phone is was forgotten: the browser threw its record
    // away. Rows may have come back since, where an earlier start got no answer to this question.
    // Read as one with what is kept: pairing may be keeping its own answer at this moment.
    const known = (await before.get("session")) ?? (await before.get("pairing"));
    if (!known && !said.signed_in_now && !said.demo) lost = { device: said.device ?? null };
    // Kept until somebody has seen it: the app may be closed before it is read.
    return lost ? { emptied: lost, ...sharing(said) } : {};
  }, () => turns !== asked);
  if (lost) emptied.value = lost;
  return kept;
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
  turns += 1;
  // Where it takes messages belonged to the session before this one: the server is told again.
  await setMeta("push_posted", null);
  return keep(sessionOf(said), async () => sharing(said));
}

/**
 * Sign this browser in by name and passphrase, or by the owner's link with a new one.
 * @param {{name: string, passphrase: string} | {secret: string, new: string}} said
 * @param {string} phone what people call this browser
 * @returns {Promise<Session>}
 * @throws {import("./server.js").Failure} in its own words, why not
 */
export async function signIn(said, phone) {
  const device = await deviceId();
  // As in pairing: killed before the answer is kept, this browser lost nothing.
  await setMeta("pairing", true);
  const door = "secret" in said ? "/api/v1/passphrases/redeem" : "/api/v1/session/sign-in";
  const answer = await ask("POST", door, { ...said, device, phone });
  turns += 1;
  await setMeta("push_posted", null);
  shared.value = false;
  return keep({ ...sessionOf(answer), has_passphrase: true }, async () => ({ shared: false }));
}

/**
 * Sign this phone out, or everything of its person's. Nothing that is unsent is touched: it waits
 * here until somebody signs in again.
 * @param {boolean} everywhere
 * @throws {import("./server.js").Failure}
 */
export async function signOut(everywhere) {
  await ask("POST", "/api/v1/session/sign-out", { everywhere });
  turns += 1;
  await durably(["meta"], (tx) => tx.objectStore("meta").delete("session"));
  session.value = null;
  contact.value = { ...contact.value, state: "signed-out" };
}

/** Set one's passphrase, or change it. @param {string} fresh @param {string} [old] @throws {import("./server.js").Failure} */
export async function setPassphrase(fresh, old) {
  await ask("POST", "/api/v1/session/passphrase", { new: fresh, old });
  return keep({ ...session.value, has_passphrase: true });
}
