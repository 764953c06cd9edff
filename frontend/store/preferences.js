// @ts-check
/** What belongs to this phone alone (who records, how the screen looks), and what is asked for on demand. @module */
import { signal } from "../vendor/signals.js";
import { meta, setMeta } from "./database.js";
import { nowText } from "./clock.js";
import { crops, recording, saidToRecord, shared } from "./house.js";
import { ask } from "./server.js";

export const THEMES = ["auto", "light", "dark"];
/** Who is recording on this phone: a person's id or null; undefined until it has been read. */
export const recorder = signal(/** @type {string | null | undefined} */ (undefined));
export const theme = signal(localStorage.getItem("theme") ?? "auto");

/** The last day on which the cautions of mixing were read on this phone. */
export const cautionsRead = signal(localStorage.getItem("cautions_read") ?? "");

/** The cautions have been read. @param {string} day the site's date */
export function readCautions(day) {
  localStorage.setItem("cautions_read", day);
  cautionsRead.value = day;
}

/** The label of the bottle that was last mixed from on this phone, or null. */
export const readLastBottle = () => meta("bottle", null);

/**
 * Keep a bottle's label for the next mixing, and when it was as old as was said.
 * @param {{product_strength: number, product_unit: string, bottle_age_days: number | null}} bottle
 * @param {string} nowText
 */
export const keepLastBottle = ({ product_strength, product_unit, bottle_age_days }, nowText) =>
  setMeta("bottle", { product_strength, product_unit, bottle_age_days, kept_at: nowText });

/** Read who records on this phone; on a shared one, who was said to, last. */
export async function readRecorder() {
  recorder.value = shared.value ? saidToRecord.value ?? null : await meta("person");
}

/** From now on this person records; the phone is nobody else's. @param {string | null} id */
export async function setRecorder(id) {
  await setMeta("person", id);
  await setShared(false);
  recorder.value = id;
}

/** Several people use this phone, or one. @param {boolean} is */
export async function setShared(is) {
  await setMeta("shared", is);
  shared.value = is;
}

/**
 * Somebody says who records this round. The answer holds at once; that it is kept comes after, so
 * that nothing waits for it.
 * @param {string | null} person null for nobody named
 */
export function nameRecorder(person) {
  recording.value = { person, at: Date.parse(nowText()), over: false };
  return setMeta("recording", recording.value);
}

/** The round is done: the next one asks again. */
export async function endRound() {
  if (!shared.value || !recording.value) return;
  recording.value = { ...recording.value, over: true };
  await setMeta("recording", recording.value);
}

/** @param {string} chosen one of `THEMES` */
export function setTheme(chosen) {
  localStorage.setItem("theme", chosen);
  theme.value = chosen;
  document.documentElement.dataset.theme = chosen;
}

/**
 * The crops in use, and the names of all that ship with the program, as last fetched.
 * @returns {Promise<any[]>}
 */
export async function allCrops() {
  const merged = (list) => [...new Map([...list, ...crops()].map((crop) => [crop.id, crop])).values()];
  try {
    const { crops: fetched } = await ask("GET", "/api/v1/crops");
    await setMeta("crops", fetched);
    return merged(fetched);
  } catch (error) {
    console.info("crops:", error.message);
    return merged(await meta("crops", []));
  }
}

/** The sources of a crop's figures by name; empty while the server is not in reach. */
export async function sourcesOf(cropId) {
  try {
    return (await ask("GET", `/api/v1/crops/${encodeURIComponent(cropId)}`)).sources;
  } catch (error) {
    console.info("sources:", error.message);
    return {};
  }
}

/**
 * A link that pairs one more phone, once, and a drawing of it to scan.
 * @param {string} role
 * @param {string | null} person whose phone it is
 * @returns {Promise<{link: string, drawing: string, minutes: number}>}
 * @throws {import("./server.js").Failure}
 */
export const pairingLink = (role, person) => ask("POST", "/api/v1/pairings", { role, person });

/** The paired phones, the last in touch first. @returns {Promise<any[]>} @throws {import("./server.js").Failure} */
export const pairedPhones = async () => (await ask("GET", "/api/v1/phones")).phones;

/** Let a phone in no more. @param {string} id @throws {import("./server.js").Failure} */
export const cutOff = (id) => ask("POST", `/api/v1/phones/${encodeURIComponent(id)}/cut-off`, {});

/** A link by which a person sets a passphrase, once. @param {string} id @throws {import("./server.js").Failure} */
export const passphraseLink = (id) => ask("POST", `/api/v1/people/${encodeURIComponent(id)}/passphrase-link`, {});

/** The tokens of scripts and sensors, without their secrets. @returns {Promise<any[]>} @throws {import("./server.js").Failure} */
export const listTokens = async () => (await ask("GET", "/api/v1/tokens")).tokens;

/** Make a token; it is shown this once. @param {string} name @param {string} role @throws {import("./server.js").Failure} */
export const makeToken = (name, role) => ask("POST", "/api/v1/tokens", { name, role });

/** Let a token in no more. @param {string} id @throws {import("./server.js").Failure} */
export const revokeToken = (id) => ask("POST", `/api/v1/tokens/${encodeURIComponent(id)}/revoke`, {});
