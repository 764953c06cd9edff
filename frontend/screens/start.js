// @ts-check
/** Starting one step for several lots at once: each lot gets its own record, all or none. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { uuid7 } from "../core/ids.js";
import { nextCode } from "../core/labels.js";
import { dipRefusal } from "../core/spells.js";
import { hasRoots } from "../ui/acts.js";
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
import { today } from "../ui/local.js";
import { Bucket, bucketComplaint, dipData, Minutes, numberIn } from "./dip.js";
import { offerUndo, tellTrouble } from "./walking.js";

const STEPS = ["soak", "sanitise", "cold", "warm"];
const USUALLY_FROM = { soak: ["seed"], sanitise: ["soak", "drained"], cold: ["drained", "soak", "warm"], warm: ["drained", "soak", "seed"] };
const UNDIPPED_PERCENT = [0, 10, 25];
/** @param {{step?: string, id?: string}} props a step and one lot to begin with */
export function Start({ step: first, id }) {
  const [step, setStep] = useState(first ?? "");
  const [chosen, setChosen] = useState(/** @type {string[]} */ (id ? [id] : []));
  const [said, setSaid] = useState(/** @type {any} */ ({ minutes: 10, where: "fridge", part: 0, counts: {} }));
  const [error, setError] = useState(/** @type {{field: string, says: string} | null} */ (null));
  useEffect(() => formOpened(), []);
  const fits = step ? [...lots.value.values()].filter((lot) => isLive(lot) && canStart(lot, step)).sort((a, b) => unlikely(a, step) - unlikely(b, step) || (a.label < b.label ? 1 : -1)) : [];
  const picked = fits.filter((lot) => chosen.includes(lot.id) && isAllowed(lot, step));
  const barred = fits.find((lot) => chosen.includes(lot.id) && !isAllowed(lot, step));
  const parts = step === "sanitise" ? undipped(picked, said) : [];
  const say = (changes) => {
    setSaid({ ...said, ...changes });
    setError(null);
  };
  const toggle = (lot) => setChosen(chosen.includes(lot) ? chosen.filter((one) => one !== lot) : [...chosen, lot]);
  const start = async () => {
    const wrong = complaint(step, said, parts);
    setError(wrong);
    if (wrong) {
      showField(wrong.field);
      return;
    }
    const drafts = [...parts.flatMap(splitDrafts), ...picked.flatMap((lot) => draftsFor(lot, step, said))];
    await recordAll(drafts).then((events) => {
      offerUndo(events, picked.length === 1 ? picked[0] : { id: null, label: t("bench.n_lots", { n: picked.length }) }, [t(`act.${step}_started`)]);
      location.hash = "#/bench";
    }, tellTrouble);
  };
  const foot = html`${error && html`<p class="error" role="alert">${error.says}</p>`}
    <button type="button" class="act main-act" disabled=${!picked.length} onClick=${start}>
    <strong>${picked.length ? t("bench.start_n", { n: picked.length }) : t("bench.pick")}</strong><span>${step ? t(`act.${step}_started`) : t("bench.which_step")}</span></button>`;
  return html`<${Page} name="start" title=${t(first ? `act.${first}_started` : "bench.start")} back="#/bench" foot=${foot}>
    ${barred && html`<p class="caution grave">${barred.label}: ${t(`act.${refusalOf(barred, step)}`)}</p>`}
    ${!first && html`<${Choice} name=${t("bench.which_step")} answers=${STEPS.map((one) => [one, t(`act.${one}_started`)])} value=${step || undefined} onChoose=${(one) => { setStep(one ?? ""); setChosen([]); }} />`}
    ${step === "sanitise" && html`<${Dip} said=${said} parts=${parts} error=${error} onSay=${say} />`}
    ${step === "soak" && html`<p class="caution">${t("act.soak_caution")}</p>`}
    ${step === "cold" && html`<${Choice} name=${t("field.where")} answers=${["fridge", "outdoors", "indoors"].map((one) => [one, t(`where.${one}`)])} value=${said.where} onChoose=${(where) => where && setSaid({ ...said, where })} />`}
    ${step && html`<section><h2>${t("bench.which_lots")}</h2>${!fits.length && html`<p class="quiet">${t("bench.no_lots")}</p>`}
      <div class="pick">${fits.map((lot) => html`<${Pick} key=${lot.id} lot=${lot} step=${step} on=${chosen.includes(lot.id)} onToggle=${() => toggle(lot.id)} />`)}</div></section>`}
  </${Page}>`;
}

/** One lot to tick; where bleach may not come near it, why. */
function Pick({ lot, step, on, onToggle }) {
  const refused = refusalOf(lot, step);
  const rinse = () => record("rinsed_neutral", lot.id, {}).then((event) => offerUndo([event], lot, [t("act.rinsed_neutral")]), tellTrouble);
  return html`<button type="button" class=${on ? "answer chosen" : "answer"} aria-pressed=${on} disabled=${refused !== null} onClick=${onToggle}>
    <span><span class="code">${lot.label}</span> ${one("protocol", lot.crop)?.botanical ?? lot.crop}</span>
    <small>${refused ? t(`act.${refused}`) : stageWords(lot)}</small></button>
    ${refused === "acid_refused" && html`<button type="button" class="act" onClick=${rinse}>${lot.label}: ${t("act.rinsed_neutral")}</button>`}`;
}

/** The dip: which bucket, how long; and a part left undipped. */
function Dip({ said, parts, error, onSay }) {
  const wrong = (field) => error?.field === field;
  const picked = all("solution").find((bucket) => bucket.id === said.solution);
  return html`<p class="caution grave">${t("act.bleach_caution")} <a href="#/cautions/bleach">${t("mix.all_cautions")}</a></p>
    <${Bucket} said=${said} at=${now.value} wrong=${error?.field} onSay=${onSay} />
    <a class="act" href="#/mixing">${t("bench.mix_now")}</a>
    ${picked?.used_for?.length > 0 && html`<p class="caution">${t("bench.used", { n: picked.used_for.length })}</p>`}
    <${Minutes} said=${said} onSay=${onSay} />
    <${Choice} name=${t("bench.part")} answers=${UNDIPPED_PERCENT.map((n) => [n, n ? t("bench.part_n", { n }) : t("bench.part_none")])} value=${said.part} onChoose=${(part) => onSay({ part: part ?? 0 })} />
    ${parts.length ? parts.map((part) => html`<${Part} key=${part.label} part=${part} said=${said} invalid=${wrong(part.lot.id)} onSay=${onSay} />`) : html`<p class="quiet">${t("bench.part_why")}</p>`}`;
}

/** A part that stays undipped: how much of its lot, asked for where the lot has no count. */
function Part({ part, said, invalid, onSay }) {
  const { lot, label, quantity } = part;
  const words = html`<p>${t(lot.unit === "g" ? "bench.part_label_g" : "bench.part_label", { n: quantity || "?", label: lot.label, new: label })}</p>`;
  if (lot.quantity !== null) return words;
  const count = (text) => onSay({ counts: { ...said.counts, [lot.id]: text } });
  return html`<div class="part" data-field=${lot.id}><p class="caution">${t("bench.part_uncounted", { label: lot.label })}</p>
    <${Field} label=${t(lot.unit === "g" ? "bench.part_grams" : "bench.part_seeds")} value=${said.counts[lot.id]} inputmode="decimal" invalid=${invalid} onInput=${count} />${words}</div>`;
}

/** Why bleach may not come near a lot, or null: acid on it, or roots that it would kill. */
function refusalOf(lot, step) {
  if (step !== "sanitise") return null;
  return dipRefusal(lot) ? "acid_refused" : hasRoots(lot) ? "roots_refused" : null;
}

const isAllowed = (lot, step) => refusalOf(lot, step) === null;

/** The parts that stay undipped, each with the next free code; 0 where its number is still asked. */
function undipped(picked, said) {
  if (!said.part) return [];
  const labels = [...lots.value.values()].map((lot) => lot.label);
  return picked.filter((lot) => lot.quantity === null || lot.quantity > (lot.unit === "g" ? 0 : 1)).map((lot) => {
    const label = nextCode(Number(today().slice(0, 4)), labels);
    labels.push(label);
    return { lot, label, quantity: partOf(lot, said) };
  });
}

/** Whole seeds, or grams to a tenth. */
function partOf(lot, said) {
  const scale = lot.unit === "g" ? 10 : 1;
  const amount = lot.quantity === null ? numberIn(said.counts[lot.id]) : (lot.quantity * said.part) / 100;
  if (lot.quantity === null && !(amount > 0)) return 0;
  const least = Math.min(1 / scale, lot.quantity ?? 1);
  return Math.max(least, Math.round(amount * scale) / scale);
}

/** Bring the field that is wrong before the eyes and under the thumb. */
function showField(field) {
  const found = document.querySelector(`.page-start [data-field="${field}"]`);
  if (!found) return;
  found.scrollIntoView({ block: "center" });
  /** @type {HTMLElement | null} */ (found.querySelector("input, button"))?.focus({ preventScroll: true });
}

/** A part becomes a lot of its own, and is drained where its lot soaks. */
function splitDrafts({ lot, label, quantity }) {
  const id = uuid7();
  const start = { crop: lot.crop, label, quantity, unit: lot.unit ?? "seeds", place: lot.place ?? undefined, parents: [lot.id] };
  const ends = open(lot, "soak") ? [{ kind: "soak_ended", lot: id, data: {} }] : [];
  return [{ kind: "lot_started", lot: id, data: start }, ...ends];
}

/** Which field is wrong, and what would be right; null where nothing is. */
function complaint(step, said, parts) {
  if (step !== "sanitise") return null;
  const wrong = bucketComplaint(said, now.value);
  if (wrong) return wrong;
  const uncounted = parts.find((part) => !part.quantity);
  return uncounted ? { field: uncounted.lot.id, says: t("bench.needs_part", { label: uncounted.lot.label }) } : null;
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
  const data = {
    sanitise: dipData(said),
    cold: { where: said.where }, warm: { where: "indoors" }, soak: {},
  }[step];
  return [...ends, { kind: `${step}_started`, lot: lot.id, data }];
}
