// @ts-check
/** Starting one step for several lots at once: each lot gets its own record, all or none. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { maySanitise } from "../core/bench.js";
import { uuid7 } from "../core/ids.js";
import { nextCode } from "../core/labels.js";
import { solutionState } from "../core/solutions.js";
import { all, lots, now, one } from "../store/house.js";
import { record, recordAll } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { stageWords } from "../ui/lot_words.js";
import { Field } from "../ui/number.js";
import { Page } from "../ui/page.js";
import { open } from "../ui/spell_words.js";
import { isLive } from "../ui/to_see.js";
import { today, when } from "../ui/local.js";
import { offerUndo, tellTrouble } from "./walking.js";

const STEPS = ["soak", "sanitise", "cold", "warm"];
const BUCKET_WORDS = { old: "bench.bucket_old", spent: "bench.bucket_spent" };
const USUALLY_FROM = { soak: ["seed"], sanitise: ["soak", "drained"], cold: ["drained", "soak", "warm"], warm: ["drained", "soak", "seed"] };
const MINUTES = [5, 10, 15];
const UNDIPPED_PERCENT = [0, 10, 25];

/** @param {{step?: string, id?: string}} props a step and one lot to begin with */
export function Start({ step: first, id }) {
  const [step, setStep] = useState(first ?? "");
  const [chosen, setChosen] = useState(/** @type {string[]} */ (id ? [id] : []));
  const [said, setSaid] = useState(/** @type {any} */ ({ minutes: 10, where: "fridge", part: 0 }));
  const [error, setError] = useState("");
  useEffect(() => formOpened(), []);
  const fits = step ? [...lots.value.values()].filter((lot) => isLive(lot) && canStart(lot, step)).sort((a, b) => unlikely(a, step) - unlikely(b, step) || (a.label < b.label ? 1 : -1)) : [];
  const picked = fits.filter((lot) => chosen.includes(lot.id) && isAllowed(lot, step));
  const barred = fits.find((lot) => chosen.includes(lot.id) && !isAllowed(lot, step));
  const parts = step === "sanitise" ? undipped(picked, said.part) : [];
  const toggle = (lot) => setChosen(chosen.includes(lot) ? chosen.filter((one) => one !== lot) : [...chosen, lot]);
  const start = async () => {
    const wrong = complaint(step, said);
    setError(wrong);
    if (wrong) return;
    const drafts = [...parts.flatMap(splitDrafts), ...picked.flatMap((lot) => draftsFor(lot, step, said))];
    await recordAll(drafts).then((events) => {
      offerUndo(events, picked.length === 1 ? picked[0] : { id: null, label: t("bench.n_lots", { n: picked.length }) }, [t(`act.${step}_started`)]);
      location.hash = "#/bench";
    }, tellTrouble);
  };
  const foot = html`${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act main-act" disabled=${!picked.length} onClick=${start}>
    <strong>${t("bench.start_n", { n: picked.length })}</strong><span>${step ? t(`act.${step}_started`) : t("bench.which_step")}</span></button>`;
  return html`<${Page} name="start" title=${t(first ? `act.${first}_started` : "bench.start")} back="#/bench" foot=${foot}>
    ${barred && html`<p class="caution grave">${barred.label}: ${t("act.acid_refused")}</p>`}
    ${!first && html`<${Choice} name=${t("bench.which_step")} answers=${STEPS.map((one) => [one, t(`act.${one}_started`)])} value=${step || undefined} onChoose=${(one) => { setStep(one ?? ""); setChosen([]); }} />`}
    ${step === "sanitise" && html`<${Dip} said=${said} parts=${parts} onSay=${(changes) => setSaid({ ...said, ...changes })} />`}
    ${step === "soak" && html`<p class="caution">${t("act.soak_caution")}</p>`}
    ${step === "cold" && html`<${Choice} name=${t("field.where")} answers=${["fridge", "outdoors", "indoors"].map((one) => [one, t(`where.${one}`)])} value=${said.where} onChoose=${(where) => where && setSaid({ ...said, where })} />`}
    ${step && html`<section><h2>${t("bench.which_lots")}</h2>${!fits.length && html`<p class="quiet">${t("bench.no_lots")}</p>`}
      <div class="pick">${fits.map((lot) => html`<${Pick} key=${lot.id} lot=${lot} step=${step} on=${chosen.includes(lot.id)} onToggle=${() => toggle(lot.id)} />`)}</div></section>`}
  </${Page}>`;
}

/** One lot to tick; acid that was not rinsed is refused, and why. */
function Pick({ lot, step, on, onToggle }) {
  const acid = !isAllowed(lot, step);
  const rinse = () => record("rinsed_neutral", lot.id, {}).then((event) => offerUndo([event], lot, [t("act.rinsed_neutral")]), tellTrouble);
  return html`<button type="button" class=${on ? "answer chosen" : "answer"} aria-pressed=${on} disabled=${acid} onClick=${onToggle}>
    <span><span class="code">${lot.label}</span> ${one("protocol", lot.crop)?.botanical ?? lot.crop}</span>
    <small>${acid ? t("act.acid_refused") : stageWords(lot)}</small></button>
    ${acid && html`<button type="button" class="act" onClick=${rinse}>${lot.label}: ${t("act.rinsed_neutral")}</button>`}`;
}

/** The dip: which bucket, how long; and a part left undipped. */
function Dip({ said, parts, onSay }) {
  const buckets = all("solution").filter((bucket) => bucket.mixed_at && !bucket.discarded_at).sort((a, b) => (a.mixed_at < b.mixed_at ? 1 : -1));
  const answers = buckets.slice(0, 5).map((bucket) => [bucket.id, t(BUCKET_WORDS[solutionState(bucket, now.value)] ?? "bench.bucket_of", { ppm: bucket.ppm ?? "?", when: when(bucket.mixed_at) })]);
  const picked = buckets.find((bucket) => bucket.id === said.solution);
  return html`<p class="caution grave">${t("act.bleach_caution")} <a href="#/cautions/bleach">${t("mix.all_cautions")}</a></p>
    ${buckets.length ? html`<${Choice} name=${t("bench.which_bucket")} answers=${answers} value=${said.solution} onChoose=${(solution) => onSay({ solution, why: "" })} />` : html`<p>${t("bench.no_bucket")}</p>`}
    <a class="act" href="#/mixing">${t("mix.title")}</a>
    ${picked && isPast(picked) && html`<${Field} label=${t("bench.why_old")} value=${said.why} onInput=${(why) => onSay({ why })} />`}
    ${picked?.used_for?.length > 0 && html`<p class="caution">${t("bench.used", { n: picked.used_for.length })}</p>`}
    <${Choice} name=${t("bench.dip_minutes")} answers=${MINUTES.map((n) => [n, t("bench.n_minutes", { n })])} value=${said.minutes} onChoose=${(minutes) => minutes && onSay({ minutes })} />
    <${Choice} name=${t("bench.part")} answers=${UNDIPPED_PERCENT.map((n) => [n, n ? t("bench.part_n", { n }) : t("bench.part_none")])} value=${said.part} onChoose=${(part) => onSay({ part: part ?? 0 })} />
    ${parts.length ? parts.map(({ lot, label, quantity }) => html`<p key=${label}>${t("bench.part_label", { n: quantity, label: lot.label, new: label })}</p>`) : html`<p class="quiet">${t("bench.part_why")}</p>`}`;
}

/** Bleach never comes near acid. */
const isAllowed = (lot, step) => step !== "sanitise" || maySanitise(lot);

/** The parts of counted lots that stay undipped, each with the next free code. */
function undipped(picked, percent) {
  if (!percent) return [];
  const labels = [...lots.value.values()].map((lot) => lot.label);
  return picked.filter((lot) => lot.unit === "seeds" && lot.quantity > 1).map((lot) => {
    const label = nextCode(Number(today().slice(0, 4)), labels);
    labels.push(label);
    return { lot, label, quantity: Math.max(1, Math.round((lot.quantity * percent) / 100)) };
  });
}

/** A part becomes a lot of its own, and is drained where its lot soaks. */
function splitDrafts({ lot, label, quantity }) {
  const id = uuid7();
  const start = { crop: lot.crop, label, quantity, unit: lot.unit, place: lot.place ?? undefined, parents: [lot.id] };
  const ends = open(lot, "soak") ? [{ kind: "soak_ended", lot: id, data: {} }] : [];
  return [{ kind: "lot_started", lot: id, data: start }, ...ends];
}

/** Whether a bucket is picked only with a reason. */
const isPast = (bucket) => solutionState(bucket, now.value) !== "usable";

/** What is wrong, and what would be right; "" where nothing is. */
function complaint(step, said) {
  const bucket = step === "sanitise" && said.solution ? one("solution", said.solution) : null;
  return bucket && isPast(bucket) && !said.why?.trim() ? t("bench.old_needs_why") : "";
}

/** Whether a step can begin: seed that is not in it already, and not sown for the bench's steps. */
function canStart(lot, step) {
  if (open(lot, step) || !["seeds", "g", null].includes(lot.unit)) return false;
  return ["warm", "cold"].includes(step) || !lot.sown;
}

/** Lots that come to this step by the usual way stand first. */
const unlikely = (lot, step) => Number(!USUALLY_FROM[step].includes(lot.stage));

/** A soak that is left for another step ends with a record of its own. */
function draftsFor(lot, step, said) {
  const ends = step !== "soak" && open(lot, "soak") ? [{ kind: "soak_ended", lot: lot.id, data: {} }] : [];
  const bucket = said.solution ? one("solution", said.solution) : null;
  const data = {
    sanitise: { solution: said.solution, limit_minutes: said.minutes, percent_by_volume: bucket?.percent_by_volume, why: said.why?.trim() || undefined },
    cold: { where: said.where }, warm: { where: "indoors" }, soak: {},
  }[step];
  return [...ends, { kind: `${step}_started`, lot: lot.id, data }];
}
