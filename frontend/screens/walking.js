// @ts-check
/** The walk under way: which lots of which place, where one is, what was done; and its acts. @module */
import { computed, signal } from "../vendor/signals.js";
import { NoRoomForPhoto, StorageFull } from "../store/database.js";
import { trouble } from "../store/house.js";
import { endRound } from "../store/preferences.js";
import { record, recordAll, undo } from "../store/record.js";
import { t } from "../ui/html.js";
import { saidOf } from "../ui/lot_words.js";
import { LOOSE, stops } from "../ui/to_see.js";
import { today } from "../ui/local.js";

// A second touch of a wet thumb comes within this time, and was meant for what stood here before.
const DEAF_MS = 400;
// Nobody reads a label, opens a bag and closes it in less: worth asking once more at the end.
const QUICK_MS = 2000;
const UNDO_MS = 10_000;

/** `{place, lot, day, ids, at, since, seen, skipped, quick, closed}` */
export const walk = signal(/** @type {any} */ (null));
/** What has been answered of the lot that is shown, not yet saved. */
export const draft = signal(/** @type {Record<string, any>} */ ({}));
/** Whether everything that can be said of a look is open. */
export const whole = signal(false);
export const saving = signal(false);
/** What was saved last, while it can be taken back: `{events, lot, at, words}`. */
export const last = signal(/** @type {any} */ (null));
let changedAt = 0;
/** When the offer to take back came or went. */
let offeredAt = 0;
computed(() => last.value !== null).subscribe(() => {
  offeredAt = performance.now();
});

/** Begin to walk a place, or to look at one lot of it only. */
export function begin(place, lot = null) {
  const here = stops().find((one) => one.place.id === place);
  const held = here?.toSee.length ? here.toSee : here?.lots ?? [];
  const ids = lot ? [lot] : held.map((one) => one.id);
  walk.value = { place, lot, day: today(), ids, at: 0, seen: [], skipped: [], quick: [], closed: null };
  shown();
}

/** Whether the walk that is under way is this one, and of today. */
export function goesOn(place, lot = null) {
  const now = walk.value;
  return now !== null && now.place === place && now.lot === lot && now.day === today();
}

function shown() {
  draft.value = {};
  whole.value = false;
  walk.value = { ...walk.value, since: performance.now() };
  changedAt = performance.now();
}

/** Swallow a touch that comes too soon after what is under the thumb has changed. */
export function deaf(event) {
  if (performance.now() - changedAt >= DEAF_MS) return;
  event.stopPropagation();
  event.preventDefault();
}

/**
 * The act of a control where the offer to take back stands in another's place: none just after they
 * changed places, for a thumb that is under way goes for what stood there. @param {() => any} act
 */
export const unlessSwapped = (act) => () => performance.now() - offeredAt >= DEAF_MS && act();

/** Answer a question; the next one takes its place under the thumb. */
export function answer(field, value) {
  draft.value = { ...draft.value, [field]: value };
  changedAt = performance.now();
}

/** Open or close everything that can be said. */
export function open(is) {
  whole.value = is;
  changedAt = performance.now();
}

function step(by, changed = {}) {
  walk.value = { ...walk.value, ...changed, at: Math.max(0, walk.value.at + by) };
  shown();
}

/** Go on without a look. */
export function skip() {
  const id = walk.value.ids[walk.value.at];
  step(1, { skipped: [...new Set([...walk.value.skipped, id])] });
}

/** Back to the lot before. */
export function back() {
  step(-1);
}

/**
 * Save a look and what was done beside it, all or none, and go on to the next lot.
 * @param {any} lot
 * @param {Record<string, any>} said
 * @param {[string, Record<string, any>, Blob?][]} also kind, data, and the picture that it names
 */
export async function save(lot, said, also = []) {
  if (saving.value) return;
  const spent = performance.now() - walk.value.since;
  saving.value = true;
  try {
    const drafts = [["looked", said], ...also].map(([kind, data, photo]) => ({ kind, lot: lot.id, data, photo }));
    const events = await recordAll(drafts);
    offerUndo(events, lot, [...saidOf(said, lot), ...also.map(([kind]) => t(`say.${kind}`))], walk.value.at);
    const { quick, seen, skipped } = walk.value;
    step(1, {
      seen: [...new Set([...seen, lot.id])],
      quick: spent < QUICK_MS ? [...new Set([...quick, lot.id])] : quick,
      skipped: skipped.filter((id) => id !== lot.id),
    });
  } catch (error) {
    tellTrouble(error);
  } finally {
    saving.value = false;
  }
}

/** Say above the screen that a record was not saved, and why. */
export function tellTrouble(error) {
  if (error instanceof NoRoomForPhoto) trouble.value = "full_for_photos";
  else trouble.value = error instanceof StorageFull ? "full" : t("app.fault", { detail: error.message });
}

/**
 * Offer for ten seconds to take back what was just saved.
 * @param {any[]} events
 * @param {any} lot
 * @param {string[]} words
 * @param {number | null} at which lot of the walk it was, if it was one of its looks
 * @param {() => Promise<any>} [otherwise] how it is taken back, where no void does it
 */
export function offerUndo(events, lot, words, at = null, otherwise = undefined) {
  const kept = { events, lot, at, otherwise, words: words.join(", ") || t("say.nothing") };
  last.value = kept;
  setTimeout(() => {
    if (last.value === kept) last.value = null;
  }, UNDO_MS);
}

/** Take back what was saved last, and return to its lot. */
export async function takeBack() {
  const done = last.value;
  last.value = null;
  try {
    if (done.otherwise) await done.otherwise();
    else for (const event of done.events) await undo(event);
  } catch (error) {
    tellTrouble(error);
    return;
  }
  if (done.at === null || walk.value?.ids[done.at] !== done.lot.id) return;
  const { seen } = walk.value;
  walk.value = { ...walk.value, at: done.at, seen: seen.filter((id) => id !== done.lot.id) };
  shown();
}

/** Walk again the lots that went by too fast to have been looked at. */
export function again() {
  walk.value = { ...walk.value, ids: walk.value.quick, at: 0, quick: [] };
  shown();
}

/** Record that the place was walked, and which of its lots were skipped. */
export async function close() {
  const { place, skipped } = walk.value;
  try {
    const event = await record("round_closed", null, { ...(place === LOOSE ? {} : { place }), skipped });
    walk.value = { ...walk.value, closed: event.at };
    changedAt = performance.now();
    if (stops().every((stop) => !stop.toSee.length)) await endRound();
  } catch (error) {
    tellTrouble(error);
  }
}
