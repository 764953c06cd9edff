// @ts-check
/** Walking: one lot at a time, so that the same thumb presses in the same region. @module */
import { computed, signal } from "../vendor/signals.js";
import { trouble } from "../store/house.js";
import { StorageFull } from "../store/database.js";
import { record, undo } from "../store/record.js";
import { allShown, findingsOf, stops } from "../ui/to_see.js";
import { html, t } from "../ui/html.js";
import { Label } from "../ui/label.js";
import { expectedState, saidOf, sentence } from "../ui/lot_words.js";
import { Page } from "../ui/page.js";
import { LookForm } from "./look_form.js";

const DEAF_MS = 400;
const QUICK_MS = 2000;
const UNDO_MS = 10_000;

/** The walk under way: which lots of which place, where one is, what was done. */
const walk = signal(/** @type {any} */ (null));
const formOpen = signal(false);
const saving = signal(false);
const last = signal(/** @type {any} */ (null));
const stop = computed(() => stops().find((one) => one.place.id === walk.value?.place) ?? null);

function begin(place) {
  const here = stops().find((one) => one.place.id === place);
  const ids = (here?.toSee.length ? here.toSee : here?.lots ?? []).map((lot) => lot.id);
  walk.value = { place, ids, at: 0, since: performance.now(), seen: [], skipped: [], quick: [] };
  formOpen.value = false;
}

/** Walk one place. @param {{place: string}} props */
export function Walk({ place }) {
  if (walk.value?.place !== place) begin(place);
  const here = stop.value;
  if (!here) return html`<${Page} name="walk" title="" back="#/"><p class="quiet">${t("walk.empty")}</p></${Page}>`;
  const { ids, at } = walk.value;
  if (at >= ids.length) return html`<${PlaceDone} here=${here} />`;
  const lot = here.lots.find((one) => one.id === ids[at]);
  if (!lot) return html`<${PlaceDone} here=${here} />`;
  return html`<${One} key=${lot.id} here=${here} lot=${lot} left=${ids.length - at} />`;
}

function One({ here, lot, left }) {
  const found = findingsOf(lot);
  const expected = expectedState(lot, found);
  const asking = formOpen.value || !expected;
  const side = html`<span class="left">${left > 1 ? t("walk.to_see", { n: left }) : t("walk.last")}</span>`;
  const foot = asking ? null : html`
    <${UndoBar} />
    <button type="button" class="act main-act round-act" disabled=${saving.value}
      onClick=${() => save(lot, { as_expected: true, ...expected })}>
      <strong>${sentence(saidOf(expected, lot).join(", "))}</strong><span>${t("walk.goes_on")}</span></button>
    <div class="row three">
      ${lot.sown && !lot.emergence_closed_at ? html`<a class="act round-act" href=${`#/act/counted/${lot.id}`}>${t("act.counted")}</a>`
        : html`<button type="button" class="act round-act" disabled=${walk.value.at === 0} onClick=${back}>${t("walk.previous")}</button>`}
      <button type="button" class="act round-act" onClick=${() => (formOpen.value = true)}>${t("walk.else")}</button>
      <button type="button" class="act round-act" onClick=${skip}>${t("walk.skip")}</button>
    </div>`;
  return html`<${Page} name="walk" title=${here.place.name} back="#/" side=${side} foot=${foot}>
    <${Label} lot=${lot} findings=${found} full=${!asking} />
    ${asking && html`<${LookForm} lot=${lot} must=${!expected} undoBar=${html`<${UndoBar} />`}
      onSave=${(said, also) => save(lot, said, also)} onSkip=${skip}
      onCancel=${expected ? () => (formOpen.value = false) : null} onBack=${walk.value.at > 0 ? back : null} />`}
  </${Page}>`;
}

async function save(lot, said, also = []) {
  const spent = performance.now() - walk.value.since;
  if (spent < DEAF_MS || saving.value) return;
  saving.value = true;
  try {
    const event = await record("looked", lot.id, said);
    const more = [];
    for (const [kind, data] of also) more.push(await record(kind, lot.id, data));
    const words = saidOf(said, lot).join(", ") || t("say.nothing");
    last.value = { events: [event, ...more], lot, at: walk.value.at, until: performance.now() + UNDO_MS, words };
    setTimeout(() => (last.value = last.value?.events[0] === event ? null : last.value), UNDO_MS);
    const quick = spent < QUICK_MS ? [...walk.value.quick, lot.id] : walk.value.quick;
    step(1, { seen: [...walk.value.seen, lot.id], quick, skipped: walk.value.skipped.filter((id) => id !== lot.id) });
  } catch (error) {
    trouble.value = error instanceof StorageFull ? "full" : error.message;
  } finally {
    saving.value = false;
  }
}

function step(by, changed = {}) {
  walk.value = { ...walk.value, ...changed, at: Math.max(0, walk.value.at + by), since: performance.now() };
  formOpen.value = false;
}

function skip() {
  if (performance.now() - walk.value.since < DEAF_MS) return;
  const id = walk.value.ids[walk.value.at];
  step(1, { skipped: [...new Set([...walk.value.skipped, id])] });
}

function back() {
  step(-1);
}

/** For ten seconds: what was just saved, and the button that takes it back. */
function UndoBar() {
  const done = last.value;
  if (!done) return html`<p class="undo-bar"></p>`;
  const take = async () => {
    last.value = null;
    for (const event of done.events) await undo(event);
    const seen = walk.value.seen.filter((id) => id !== done.lot.id);
    if (walk.value.ids[done.at] === done.lot.id) walk.value = { ...walk.value, at: done.at, seen, since: performance.now() };
  };
  return html`<p class="undo-bar"><span>${t("walk.saved", { what: `${done.lot.label} ${done.words}` })}</span>
    <button type="button" class="undo" onClick=${take}>${t("walk.undo")}</button></p>`;
}

/** After the last lot of a place: what was skipped, then closing. */
function PlaceDone({ here }) {
  const { seen, skipped, quick, closed } = walk.value;
  if (closed) return html`<${After} here=${here} />`;
  const labels = here.lots.filter((lot) => skipped.includes(lot.id)).map((lot) => lot.label);
  const again = () => {
    walk.value = { ...walk.value, ids: quick, at: 0, quick: [], since: performance.now() };
  };
  const close = async () => {
    const place = here.place.id === "-" ? {} : { place: here.place.id };
    await record("round_closed", null, { ...place, skipped });
    walk.value = { ...walk.value, closed: true };
  };
  const foot = html`<${UndoBar} />
    <button type="button" class="act main-act round-act" onClick=${close}>
      <strong>${t("walk.close", { place: here.place.name })}</strong><span>${t("walk.close_why")}</span></button>
    <div class="row"><button type="button" class="act round-act wide" onClick=${back}>${t("walk.previous")}</button></div>`;
  return html`<${Page} name="walk" title=${here.place.name} back="#/" foot=${foot}>
    <section class="told"><h2>${t("walk.place_done", { place: here.place.name })}</h2>
      <p class="large">${t("walk.seen_n", { n: seen.length })}</p>
      ${labels.length > 0 && html`<p>${t("walk.skipped_n", { labels: labels.join(", ") })}</p>`}
      ${quick.length > 0 && html`<p>${t("walk.quick", { n: quick.length })}</p>
        <button type="button" class="act" onClick=${again}>${t("walk.quick_again")}</button>`}
    </section></${Page}>`;
}

/** The place is closed: on to the next one, or home with the things to do. */
function After({ here }) {
  const path = stops();
  const from = path.findIndex((one) => one.place.id === here.place.id);
  const next = [...path.slice(from + 1), ...path.slice(0, from)].find((one) => one.toSee.length);
  const things = allShown().filter((one) => one.level !== "due").length;
  const words = things === 1 ? t("walk.thing") : things ? t("walk.things", { n: things }) : t("walk.no_things");
  const go = next ? html`<a class="act main-act round-act" href=${`#/walk/${encodeURIComponent(next.place.id)}`}>
      <strong>${t("walk.then", { place: next.place.name })}</strong><span>${t("walk.to_see", { n: next.toSee.length })}</span></a>`
    : html`<a class="act main-act round-act" href="#/alerts"><strong>${words}</strong></a>`;
  return html`<${Page} name="walk" title=${here.place.name} back="#/" foot=${html`${go}
      <div class="row"><a class="act round-act wide" href="#/">${t("walk.home")}</a></div>`}>
    <section class="told"><h2>${next ? t("round.closed", { time: "" }) : t("walk.done_title")}</h2>
      <p class="large">${words}</p></section></${Page}>`;
}
