// @ts-check
/** Where the parts of the phone are joined: the record, the screens, and the way between them. @module */
import { useErrorBoundary } from "./vendor/preact-hooks.js";
import { render } from "./vendor/preact.js";
import { signal } from "./vendor/signals.js";
import { contact, dismissEmptied, emptied, lots, nameMove, one, openHouse, pending, phone, session, trayCount, trouble, unsentPhotos, wayMade } from "./store/house.js";
import { Round } from "./screens/round.js";
import { html, t } from "./ui/html.js";
import { when } from "./ui/local.js";

/** @type {Record<string, [() => Promise<any>, string, string[]]>} loader, export, names of parts */
const SCREENS = {
  walk: [() => import("./screens/walk.js"), "Walk", ["place", "lot"]],
  photo: [() => import("./screens/photo.js"), "Photo", ["id"]],
  lot: [() => import("./screens/lot.js"), "Lot", ["id"]],
  year: [() => import("./screens/year.js"), "Year", []],
  lots: [() => import("./screens/lots.js"), "Lots", []],
  add: [() => import("./screens/add_lot.js"), "AddLot", []],
  act: [() => import("./screens/act.js"), "Act", ["kind", "id"]],
  alerts: [() => import("./screens/alerts.js"), "Alerts", []],
  ringing: [() => import("./screens/ringing.js"), "Ringing", []],
  season: [() => import("./screens/season.js"), "Season", []],
  unsent: [() => import("./screens/unsent.js"), "Unsent", []],
  take: [() => import("./screens/take_file.js"), "TakeFile", []],
  empty: [() => import("./screens/empty_phone.js"), "EmptyPhone", []],
  reminders: [() => import("./screens/reminders.js"), "Reminders", []],
  settings: [() => import("./screens/settings.js"), "Settings", []],
  watches: [() => import("./screens/watches.js"), "Watches", []],
  watch: [() => import("./screens/watch.js"), "Watch", ["id"]],
  hours: [() => import("./screens/hours.js"), "Hours", []],
  nursery: [() => import("./screens/nursery.js"), "Nursery", []],
  places: [() => import("./screens/places.js"), "Places", []],
  bench: [() => import("./screens/bench.js"), "Bench", []],
  start: [() => import("./screens/start.js"), "Start", ["step", "id"]],
  fridge: [() => import("./screens/fridge.js"), "Fridge", ["id"]],
  mixing: [() => import("./screens/mixing.js"), "Mixing", []],
  tag: [() => import("./screens/tag.js"), "Tag", ["id"]],
  frost: [() => import("./screens/frost.js"), "Frost", []],
  cautions: [() => import("./screens/cautions.js"), "Cautions", ["about"]],
  crops: [() => import("./screens/crops.js"), "Crops", []],
  crop: [() => import("./screens/crop.js"), "Crop", ["id"]],
  calendar: [() => import("./screens/calendar.js"), "Calendar", []],
  morning: [() => import("./screens/morning.js"), "Morning", []],
  typed: [() => import("./screens/typed.js"), "Typed", ["day", "time", "labels", "more"]],
  people: [() => import("./screens/people.js"), "People", []],
  who: [() => import("./screens/who.js"), "Who", []],
  tokens: [() => import("./screens/tokens.js"), "Tokens", []],
  signin: [() => import("./screens/signin.js"), "SignIn", []],
  passphrase: [() => import("./screens/signin.js"), "Passphrase", ["secret"]],
  move: [() => import("./screens/move.js"), "Move", []],
  pair: [() => import("./screens/pair.js"), "Pair", ["secret"]],
};
// What sets the house in motion comes in one go once the round is painted: module by module each
// step inwards would wait for the line once more. A test holds this list to the imports.
const NEXT = ("store/start store/clock core/attribution core/answers core/ids store/deriving core/evening core/grouping store/config core/corrections core/rows"
  + " core/chambers core/chill core/rule_terms core/series core/solutions store/lots core/lot"
  + " core/sun core/nights core/heat core/tender core/weather_rows core/weather_facts store/weather"
  + " core/counts core/spells core/looks core/stock core/overlay store/watching core/facts"
  + " core/seasons core/outdoors core/springs"
  + " core/protocols core/neighbours core/promises core/proportions core/treatments core/watches"
  + " core/winters core/occurrences store/record store/kept_photos store/server store/session store/sync store/engine"
  + " store/queue store/rows store/tabs store/keeping store/updates ui/keeper").split(" ");
// The worker's own fetching of the whole app waits for the first rows, or for this.
const WORKER_WAITS_MS = 8000;
// A record that has not opened by now is held by another tab, or does not open at all.
const OPENS_WITHIN_MS = 15_000;
const SIGNED_OUT_FREE = ["pair", "unsent", "signin", "passphrase", "empty"];
// On a phone whose successor stands at the nursery's new name nothing more is recorded.
const MOVED_FREE = ["move", "unsent", "pair"];

const shown = signal(/** @type {any} */ ({ view: Round, props: {}, name: "" }));
const updateWaits = signal(false);
/** What this phone may do (`store/may.js`); it comes with the first screen beside the round. */
let rights = /** @type {any} */ (null);
/** Why the app cannot go on, and the screen that says so: `{detail, view}`. */
const fallen = signal(/** @type {any} */ (null));

async function route() {
  const asked = location.hash;
  const [name, ...parts] = asked.replace(/^#\//, "").split("/").map(decodeURIComponent);
  const known = Object.hasOwn(SCREENS, name) ? SCREENS[name] : null;
  if (!known) {
    shown.value = { view: Round, props: {}, name: "" };
    return;
  }
  const [load, view, names] = known;
  let module;
  try {
    [module, rights] = await Promise.all([load(), import("./store/may.js"), import("./ui/later.js")]);
  } catch (error) {
    // Before the worker has kept the whole app, a screen may be out of reach.
    trouble.value = t("app.not_here", { detail: error.message });
    return;
  }
  // A slow screen must not take the place of one that was asked for after it.
  if (location.hash !== asked) return;
  const props = Object.fromEntries(names.map((key, index) => [key, parts[index]]));
  shown.value = { view: module[view], props, name };
  scrollTo(0, 0);
}

/** The app cannot go on: show why, and the way to save what is unsent. */
async function fall(detail) {
  trouble.value = t("app.fault", { detail });
  const { Rescue } = await import("./screens/rescue.js");
  fallen.value = { detail, view: Rescue };
}

/** A screen, or nothing of it where it fails. */
function Screen({ view: View, props }) {
  const [error] = useErrorBoundary((problem) => fall(String(problem?.message ?? problem)));
  return !error && html`<${View} ...${props} />`;
}

function App() {
  if (fallen.value) return html`<${fallen.value.view} detail=${fallen.value.detail} />`;
  const { view, props, name } = shown.value;
  const unpaired = contact.value.state === "signed-out" && !session.value && !SIGNED_OUT_FREE.includes(name);
  return html`<${Troubles} />
    ${updateWaits.value && html`<div class="news" role="status">${t("app.new_version")}
      <button type="button" class="act" onClick=${switchVersion}>${t("app.switch")}</button></div>`}
    ${unpaired ? html`<${Unpaired} />` : (phone()?.moved_to || wayMade.value !== null) && !MOVED_FREE.includes(name) ? html`<${Moved} />` : rights && !rights.mayOpen(name) ? html`<${NotYours} name=${name} />` : html`<${Screen} key=${`${name}/${props.step ?? props.kind ?? ""}`} view=${view} props=${props} />`}`;
}

/** What is wrong with this phone's own store, above whatever screen is shown. */
function Troubles() {
  const said = t(`app.${trouble.value}`);
  const lost = emptied.value;
  return html`${trouble.value && html`<div class="trouble" role="alert"><span>${said.startsWith("app.") ? trouble.value : said}
        ${outboxOrTray() && html` <a href="#/unsent">${t("app.save_file")}</a>`}</span>
      <button type="button" class="act" aria-label=${t("app.dismiss")} onClick=${() => (trouble.value = "")}>×</button></div>`}
    ${lost && html`<div class="trouble" role="alert"><span>${emptiedWords(one("phone", lost.device))}</span>
      <button type="button" class="act" aria-label=${t("app.dismiss")} onClick=${dismissEmptied}>×</button></div>`}`;
}

const outboxOrTray = () => hereAlone() > 0;
/** How much is on this phone alone: records, and pictures. */
const hereAlone = () => pending.value.length + trayCount.value + unsentPhotos.value.length;

/** What the server knows of the phone as it was; its row comes with the first pull. */
function emptiedWords(before) {
  if (!before?.last_sync_at || !before.contiguous) return t("app.emptied");
  return t("app.emptied_known", { n: before.contiguous, when: when(before.last_sync_at) });
}

function Unpaired() {
  return html`<div class="page"><header class="top"><h1>${t("app.name")}</h1></header><main><section class="empty">
    <h2>${t(location.search === "?emptied" ? "pair.emptied" : "pair.needed")}</h2><p>${t("pair.how")}</p><a class="act" href="#/signin">${t("signin.instead")}</a>
    ${outboxOrTray() && html`<a class="act" href="#/unsent"><strong>${t("saved.signed_out", { n: hereAlone() })}</strong><small>${t("unsent.file")}</small></a>`}
    ${lots.value.size > 0 && html`<a class="act" href="#/empty">${t("empty.title")}</a>`}</section></main></div>`;
}

/** This phone's successor stands at the new name, or may do so by now; a record that was made here since still goes. */
function Moved() {
  const n = hereAlone();
  const move = nameMove.value;
  const isGone = Boolean(phone()?.moved_to);
  return html`<div class="page page-moved"><header class="top"><h1>${t(isGone ? "move.gone_title" : "move.made_title")}</h1></header><main><section class="empty">
    <p>${t(isGone ? "move.gone" : "move.made", { to: move?.to ?? "", from: move?.from ?? "" })}</p>${move && html`<a class="act main-act" href=${move.address}>${t("move.open", { to: move.to })}</a>`}
    ${n > 0 && html`<a class="act" href="#/unsent"><strong>${t("saved.here", { n })}</strong><small>${t("unsent.file")}</small></a>`}
    <a class="act" href="#/move">${t("move.again")}</a>
    ${!isGone && html`<button type="button" class="act" onClick=${stay}>${t("move.stay")}</button>`}</section></main></div>`;
}

const stay = async () => (await import("./store/name_move.js")).stayHere();

/** A screen that has nothing for this phone's role. */
function NotYours({ name }) {
  return html`<div class="page page-not-yours"><header class="top"><h1>${t("may.title")}</h1></header><main><section class="empty">
    <p class="large">${t(`may.${rights.whose(name)}`)}</p><a class="act main-act" href="#/">${t("walk.home")}</a></section></main></div>`;
}

async function switchVersion() {
  const { takeOver } = await import("./store/updates.js");
  takeOver();
}

function theme() {
  document.documentElement.dataset.theme = localStorage.getItem("theme") ?? "auto";
}

async function start() {
  theme();
  addEventListener("hashchange", route);
  // A touched notification opens its screen in the app that is open already.
  navigator.serviceWorker?.addEventListener("message", ({ data }) => data?.open && (location.hash = data.open));
  render(html`<${App} />`, /** @type {Element} */ (document.getElementById("app")));
  const late = setTimeout(() => fall(t("app.does_not_open")), OPENS_WITHIN_MS);
  try {
    await openHouse();
    fallen.value = null;
  } catch (error) {
    await fall(error.message);
    return;
  } finally {
    clearTimeout(late);
  }
  await route();
  fetchAhead();
  const [{ startHouse }, updates, { keep }] = await Promise.all([
    import("./store/start.js"), import("./store/updates.js"), import("./ui/keeper.js"),
  ]);
  keep(startHouse());
  updates.waiting.subscribe((waits) => (updateWaits.value = waits));
  await firstRows();
  await updates.watchForUpdates();
  // What saves a file of what is unsent must be at hand even before the worker has kept the app.
  await Promise.all([import("./screens/unsent.js"), import("./ui/later.js"), import("./screens/rescue.js")])
    .catch((error) => console.info("not at hand yet:", error.message));
}

function fetchAhead() {
  const links = NEXT.map((name) => Object.assign(document.createElement("link"), { rel: "modulepreload", href: `/${name}.js` }));
  document.head.append(...links);
}

/** Until the record is here, or it is plain that it does not come soon. */
function firstRows() {
  return new Promise((done) => {
    const late = setTimeout(done, WORKER_WAITS_MS);
    const heard = contact.subscribe(({ state }) => {
      if (state === "starting") return;
      clearTimeout(late);
      done(undefined);
      queueMicrotask(() => heard());
    });
  });
}

void start();
