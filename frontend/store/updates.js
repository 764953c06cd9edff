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
let formsOpen = 0;
/** What must happen once no form is open. @type {(() => void) | null} */
let postponed = null;

/** Register the worker and look for a new version whenever the app comes to the front. */
export async function watchForUpdates() {
  if (!("serviceWorker" in navigator)) return;
  const worker = navigator.serviceWorker;
  let hadOne = Boolean(worker.controller);
  registration = await worker.register("/sw.js", { updateViaCache: "none" });
  const settled = () => {
    waiting.value = Boolean(registration?.waiting && worker.controller);
    offlineReady.value = Boolean(registration?.active);
  };
  settled();
  const follow = () => registration?.installing?.addEventListener("statechange", settled);
  follow();
  registration.addEventListener("updatefound", follow);
  // Another tab has switched: this page's code is old now, and goes when no form is open.
  worker.addEventListener("controllerchange", () => {
    if (hadOne) whenFree(() => location.reload());
    hadOne = true;
  });
  // Browsers do not all look by themselves (FAULTS F15).
  addEventListener("pageshow", look);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && look());
  look();
  void worker.ready.then(settled);
}

/** Look for a new version now. */
export function look() {
  registration?.update().catch((error) => {
    // Without a signal there is no new version to be had; the next look asks again.
    if (navigator.onLine) console.info("no look for a new version:", error.message);
  });
}

/** A form is open: nothing is swapped until the returned function is called. */
export function formOpened() {
  formsOpen += 1;
  let open = true;
  return () => {
    if (!open) return;
    open = false;
    formsOpen -= 1;
    if (formsOpen === 0) postponed?.();
  };
}

function whenFree(act) {
  if (formsOpen === 0) act();
  else postponed = act;
}

/** The person agrees: switch to the waiting version as soon as no form is open. */
export function takeOver() {
  whenFree(() => {
    postponed = null;
    registration?.waiting?.postMessage("take-over");
    // The worker's own notice of the change may never come (FAULTS F15).
    setTimeout(() => location.reload(), RELOAD_ANYWAY_MS);
  });
}
