// @ts-check
/**
 * What a page can do to be noticed while it is open: a sound, a shake, a screen that stays awake, a
 * number on the app's icon. Each is asked for when it is switched on, and each may be denied.
 * @module
 */
import { signal } from "../vendor/signals.js";

const BEEPS = 6;
const BEEP_SECONDS = 0.35;
const PITCH_HZ = 1046;
const SHAKE_MS = [500, 200, 500, 200, 500];

/** What can be switched on, each by a key of words. */
export const WAYS = ["ring", "shake", "awake", "badge"];
/** Which of them are on. @type {import("../vendor/signals.js").Signal<string[]>} */
export const on = signal([]);
/** Which of them were denied, or are missing here. @type {import("../vendor/signals.js").Signal<string[]>} */
export const denied = signal([]);
/** @type {AudioContext | null} */
let audio = null;
/** @type {any} */
let lock = null;
let shown = 0;

const isOn = (way) => on.value.includes(way);
const without = (list, way) => list.filter((one) => one !== way);

const ASK = { ring: askSound, shake: askShake, awake: askAwake, badge: askBadge };
const LEAVE = { ring: async () => {}, shake: async () => {}, awake: letSleep, badge: async () => clearBadge() };

/**
 * Switch a way on, asking for what it needs, or off. What is denied stays off and is said.
 * @param {string} way
 */
export async function toggle(way) {
  if (isOn(way)) {
    on.value = without(on.value, way);
    await LEAVE[way]();
    return;
  }
  try {
    await ASK[way]();
    on.value = [...on.value, way];
    denied.value = without(denied.value, way);
  } catch (error) {
    console.info(`${way} is not to be had:`, error.message);
    denied.value = [...without(denied.value, way), way];
  }
}

/** Sound needs a touch to begin with: it rings once at once, so that it is heard that it can. */
async function askSound() {
  audio ??= new AudioContext();
  await audio.resume();
  sound(audio, 1);
}

async function askShake() {
  if (!navigator.vibrate?.(SHAKE_MS)) throw new Error("no vibration");
}

async function askAwake() {
  if (!navigator.wakeLock) throw new Error("no wake lock");
  lock = await navigator.wakeLock.request("screen");
}

async function letSleep() {
  await lock?.release();
  lock = null;
}

/** Some phones show a number only to an app that may notify. */
async function askBadge() {
  if (!navigator.setAppBadge) throw new Error("no badge");
  if (globalThis.Notification?.permission === "default") await Notification.requestPermission();
  await (shown ? navigator.setAppBadge(shown) : navigator.clearAppBadge?.());
}

/** Ring and shake now, as far as each is switched on. */
export function ring() {
  if (isOn("ring") && audio) sound(audio, BEEPS);
  if (isOn("shake")) navigator.vibrate?.(SHAKE_MS);
}

/** A square wave carries through a potting shed further than a soft tone. */
function sound(context, beeps) {
  for (let n = 0; n < beeps; n += 1) {
    const at = context.currentTime + n * 2 * BEEP_SECONDS;
    const tone = context.createOscillator();
    const volume = context.createGain();
    tone.type = "square";
    tone.frequency.value = PITCH_HZ;
    volume.gain.setValueAtTime(0.5, at);
    tone.connect(volume).connect(context.destination);
    tone.start(at);
    tone.stop(at + BEEP_SECONDS);
  }
}

// The browser lets go when the page is hidden: it is asked again when the page comes back.
document.addEventListener("visibilitychange", async () => {
  if (!isOn("awake") || document.visibilityState !== "visible") return;
  on.value = without(on.value, "awake");
  await toggle("awake");
});

/** How many times have come: the number on the app's icon. @param {number} count */
export function setBadge(count) {
  if (count === shown) return;
  shown = count;
  if (!isOn("badge")) return;
  const done = count ? navigator.setAppBadge(count) : clearBadge();
  done?.catch((error) => console.info("no badge:", error.message));
}

function clearBadge() {
  return navigator.clearAppBadge?.();
}
