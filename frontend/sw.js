/*
 * The worker: keeps the whole app, one version at a time, so that it opens with no network.
 * Its list of files comes from the server with a hash over all of them; any changed file makes a
 * new version, which is fetched whole or not at all and waits until the page says "take over".
 * It decides nothing by the clock and never touches the record.
 */
importScripts("/shell.js");

const CACHE = `lathhouse-${self.SHELL.version}`;
const HOME = "/index.html";
// For whoever looks after the server: never from what is kept here.
const OPERATIONS = ["/health", "/ready", "/metrics"];

self.addEventListener("install", (event) => {
  event.waitUntil(keepAll());
});

async function keepAll() {
  const answers = await Promise.all(
    self.SHELL.files.map(async (path) => [path, await fresh(path)]),
  );
  // Where the version changed while we fetched, these files are of two versions (FAULTS F16).
  const list = await (await fresh("/shell.js")).text();
  if (!list.includes(`"${self.SHELL.version}"`)) throw new Error("the version changed meanwhile");
  const cache = await caches.open(CACHE);
  await Promise.all(answers.map(([path, answer]) => cache.put(path, answer)));
}

/** A file from the server itself: the browser's own cache may hold old bytes (FAULTS F16). */
async function fresh(path) {
  const answer = await fetch(path, { cache: "reload" });
  if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
  return answer;
}

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      const names = await caches.keys();
      const old = names.filter((name) => name.startsWith("lathhouse-") && name !== CACHE);
      await Promise.all(old.map((name) => caches.delete(name)));
      await self.clients.claim();
    })(),
  );
});

self.addEventListener("message", (event) => {
  if (event.data === "take-over") void self.skipWaiting();
});

self.addEventListener("push", (event) => {
  event.waitUntil(show(event.data));
});

/** Every push is shown, even one that cannot be read: a silent one has the next ones stopped. */
async function show(data) {
  let said = {};
  try {
    said = data?.json() ?? {};
  } catch (error) {
    console.warn("a push that is no JSON:", error.message);
  }
  await self.registration.showNotification(said.title ?? "Lathhouse", {
    body: said.body ?? "",
    // The same message again takes the place of the first, and does not ring.
    tag: said.tag ?? "lathhouse",
    icon: "/icons/icon-192.png",
    requireInteraction: said.grave === true,
    data: { open: typeof said.url === "string" && said.url.startsWith("/#/") ? said.url.slice(1) : "#/" },
  });
}

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(open(event.notification.data?.open ?? "#/"));
});

async function open(hash) {
  const pages = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  const [page] = pages.filter((one) => new URL(one.url).pathname === "/");
  if (!page) return self.clients.openWindow(`/${hash}`);
  page.postMessage({ open: hash });
  return page.focus();
}

// A browser may move a subscription by itself; the server must hear of it from here.
self.addEventListener("pushsubscriptionchange", (event) => {
  event.waitUntil(movedTo(event));
});

async function movedTo(event) {
  const how = event.oldSubscription?.options;
  const moved = event.newSubscription ?? (how && (await self.registration.pushManager.subscribe(how)));
  if (!moved) return;
  await fetch("/api/v1/reminders/subscriptions", {
    method: "POST",
    credentials: "same-origin",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(moved),
  });
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  const ours = url.origin === self.location.origin && event.request.method === "GET";
  if (!ours || url.pathname.startsWith("/api/") || OPERATIONS.includes(url.pathname)) return;
  event.respondWith(answer(event.request, url));
});

async function answer(request, url) {
  const path = request.mode === "navigate" ? HOME : url.pathname;
  const kept = await (await caches.open(CACHE)).match(path);
  return kept ?? fetch(request);
}
