// @ts-check
/**
 * Updates: a new version waits until no form is open and the person agrees. Nothing is swapped
 * under a hand at work, and the outbox is never touched.
 * @module
 */
import { signal } from "../vendor/signals.js";

const RELOAD_ANYWAY_MS = 2000;

/** A new version is here and waits. */
export const waiting = signal(false);
/** Offline use is ready: the worker holds the whole app. */
export const offlineReady = signal(false);
/** @type {ServiceWorkerRegistration | null} */
let registration = null;

/** Register the worker and look for a new version whenever the app comes to the front. */
export async function watchForUpdates() {
  if (!("serviceWorker" in navigator)) return;
  registration = await navigator.serviceWorker.register("/sw.js", { updateViaCache: "none" });
  const settled = () => {
    waiting.value = Boolean(registration?.waiting && navigator.serviceWorker.controller);
    offlineReady.value = Boolean(registration?.active);
  };
  settled();
  registration.addEventListener("updatefound", () => {
    registration?.installing?.addEventListener("statechange", settled);
  });
  const look = () => registration?.update().catch((error) => {
    // Without a signal there is no new version to be had; the next look asks again.
    if (navigator.onLine) console.info("no look for a new version:", error.message);
  });
  addEventListener("pageshow", look);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && look());
  void navigator.serviceWorker.ready.then(settled);
}

/** Switch to the waiting version now. */
export function takeOver() {
  navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
  registration?.waiting?.postMessage("take-over");
  setTimeout(() => location.reload(), RELOAD_ANYWAY_MS);
}
