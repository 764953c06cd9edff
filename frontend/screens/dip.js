// @ts-check
/** What a dip says of its bucket: which one it was, or the strength of one that is not on record. @module */
import { solutionState } from "../core/solutions.js";
import { all, one } from "../store/house.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { when } from "../ui/local.js";
import { Field } from "../ui/number.js";

const BUCKET_WORDS = { old: "bench.bucket_old", spent: "bench.bucket_spent" };
const MINUTES = [5, 10, 15];
const BUCKETS_MAX = 5;
/** In place of a bucket's id: one that nobody recorded. */
const NOT_ON_RECORD = "not on record";

/** The buckets that stood ready at an instant, the last that was mixed first. @param {string} at */
export const bucketsAt = (at) => all("solution").filter((one) => one.mixed_at && one.mixed_at <= at && !(one.discarded_at && one.discarded_at <= at))
  .sort((a, b) => (a.mixed_at < b.mixed_at ? 1 : -1));

/** What a bucket was at an instant; whether it was thrown away since is no matter. */
const stateAt = (bucket, at) => solutionState({ ...bucket, discarded_at: null }, at);

/** Whether a bucket is picked only with a reason. */
const isPast = (bucket, at) => stateAt(bucket, at) !== "usable";

/**
 * Which bucket, its strength where it is not on record, and why it was picked where it was past its life.
 * @param {{said: any, at: string, wrong?: string, onSay: (changes: any) => void}} props `wrong`: the field that is
 */
export function Bucket({ said, at, wrong = "", onSay }) {
  const buckets = bucketsAt(at);
  const known = buckets.slice(0, BUCKETS_MAX).map((bucket) => [bucket.id, t(BUCKET_WORDS[stateAt(bucket, at)] ?? "bench.bucket_of", { ppm: bucket.ppm ?? "?", when: when(bucket.mixed_at) })]);
  const answers = [...known, [NOT_ON_RECORD, t("bench.bucket_unrecorded")]];
  const picked = buckets.find((bucket) => bucket.id === said.solution);
  return html`<div data-field="bucket"><${Choice} name=${t("bench.which_bucket")} answers=${answers} value=${said.solution} onChoose=${(solution) => onSay({ solution, why: "" })} /></div>
    ${said.solution === NOT_ON_RECORD && html`<div data-field="strength"><${Field} label=${t("bench.strength")} value=${said.strength} inputmode="decimal" invalid=${wrong === "strength"} onInput=${(strength) => onSay({ strength })} /></div>`}
    ${picked && isPast(picked, at) && html`<div data-field="why"><${Field} label=${t("bench.why_old")} value=${said.why} invalid=${wrong === "why"} onInput=${(why) => onSay({ why })} /></div>`}`;
}

/** For how long it is to lie in it. @param {{said: any, onSay: (changes: any) => void}} props */
export const Minutes = ({ said, onSay }) => html`<${Choice} name=${t("bench.dip_minutes")} answers=${MINUTES.map((n) => [n, t("bench.n_minutes", { n })])} value=${said.minutes} onChoose=${(minutes) => minutes && onSay({ minutes })} />`;

/**
 * Which field is wrong, and what would be right; null where nothing is.
 * @param {any} said @param {string} at @param {boolean} [isOver] of a dip that is over a strength may stay unsaid
 * @returns {{field: string, says: string} | null}
 */
export function bucketComplaint(said, at, isOver = false) {
  const strength = numberIn(said.strength);
  if (said.solution === NOT_ON_RECORD && isOver && !said.strength?.trim()) return null;
  if (said.solution === NOT_ON_RECORD) return strength > 0 && strength <= 100 ? null : { field: "strength", says: t("bench.needs_strength") };
  // It may have been chosen before an earlier time was typed, at which it was not mixed yet.
  const bucket = bucketsAt(at).find((one) => one.id === said.solution);
  if (!bucket) return { field: "bucket", says: t("bench.needs_bucket") };
  return isPast(bucket, at) && !said.why?.trim() ? { field: "why", says: t("bench.old_needs_why") } : null;
}

/** What the record of a dip holds: the bucket on record, or the strength of one that is not. */
export function dipData(said) {
  const more = { limit_minutes: said.minutes, why: said.why?.trim() || undefined };
  if (said.solution === NOT_ON_RECORD) return { percent_by_volume: numberIn(said.strength) || undefined, ...more };
  return { solution: said.solution, percent_by_volume: one("solution", said.solution)?.percent_by_volume, ...more };
}

/** A number as typed, with a comma or a point; NaN where it is none. */
export const numberIn = (text) => (text?.trim() ? Number(text.trim().replace(",", ".")) : NaN);
