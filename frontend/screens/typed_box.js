// @ts-check
/** One box of a paper that is no lot's look: a cover or a running step, whether it was done and when. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { benchRow } from "../core/bench.js";
import { STEPS, tickedOn } from "../core/boxes.js";
import { lots, now, one } from "../store/house.js";
import { formOpened } from "../store/updates.js";
import { Choice } from "../ui/choice.js";
import { coverDrafts } from "../ui/frost_list.js";
import { html, t } from "../ui/html.js";
import { clock, date, dayOf, today, when } from "../ui/local.js";
import { Field } from "../ui/number.js";
import { Page } from "../ui/page.js";
import { busy, instantOf, isMoment, lastTyped, saveBox, siteText, step, takeBack, typing, wrongTime } from "./typing.js";

const WHERE = { cold_started: { where: "fridge" }, warm_started: { where: "indoors" } };
const COVERS = { cover: "act.covered", uncover: "act.uncovered", second: "frost.second" };
// What drained seed goes on to; bleach asks for more than a paper says.
const ONWARD = [["cold_started"], ["warm_started"], ["sown"]];

/** What a box is about, as its name: "26-001-A" or "Frost corner". @param {{act: string, id: string}} box */
export function boxName({ act, id }) {
  if (STEPS.includes(act)) return lots.value.get(id)?.label ?? "?";
  return id ? one("place", id)?.name ?? "?" : t("round.loose");
}

/** @param {{box: {act: string, id: string}}} props */
export function Box({ box }) {
  const { ticked, paper } = typing.value;
  const before = ticked[box.act];
  const [time, setTime] = useState("");
  const [day, setDay] = useState(/** @type {string | null} */ (null));
  const [way, setWay] = useState(/** @type {number | undefined} */ (undefined));
  const [flats, setFlats] = useState("");
  useEffect(() => {
    scrollTo(0, 0);
    return formOpened();
  }, []);
  const of = day ?? (time ? tickedOn(paper, time, today()) : paper.day);
  const runs = STEPS.includes(box.act) ? runningOf(box, paper) : null;
  const ways = runs ? waysOf(runs) : [];
  const kinds = runs ? ways[ways.length === 1 ? 0 : way ?? -1] : [];
  const sows = Boolean(kinds?.includes("sown"));
  const wrongFlats = sows && flats.trim() !== "" && !(Number.isInteger(Number(flats)) && Number(flats) >= 0) ? t("error.whole", { field: t("field.flats") }) : "";
  const wrong = time ? wrongTick(of, time, runs) : "";
  const drafts = kinds && (runs ? kinds.map((kind) => ({ kind, lot: box.id, data: kind === "sown" ? { flats: Number(flats) } : WHERE[kind] ?? {} }))
    : coverDrafts(box, instantOfSaid(of, time), paper.low_c));
  const ready = Boolean(time && !wrong && drafts?.length && (!sows || (flats.trim() && !wrongFlats)));
  const save = () => saveBox(box, drafts, boxName(box), of, time);
  const asks = runs || (!STEPS.includes(box.act) && drafts.length > 0);
  const again = !time && before && !STEPS.includes(box.act);
  return html`<${Page} name="typed" title=${titleOf(box)} back="#/morning" side=${progress()} foot=${html`<${Foot} box=${box} said=${time} ready=${ready} what=${saying(box, kinds)} when=${t("typed.as_of", { date: date(of), time })} onSave=${save} />`}>
    ${STEPS.includes(box.act) && html`<${Label} id=${box.id} />`}
    <h2 class="large">${t(`typed.box.${box.act}`, { name: boxName(box) })}</h2>
    ${runs && html`<p>${t(`morning.text.run_${box.act}`, { since: when(runs.started_at), until: when(runs.target_at) })}</p>`}
    ${isTyped(box) ? html`<p><strong>${t("typed.already")}</strong></p>` : !asks && html`<p>${t("typed.over")}</p>`}
    ${asks && html`<div class="fields pair"><${Field} label=${t("typed.done_at")} type="time" value=${time} onInput=${setTime} />
      <${Field} label=${t("typed.on")} type="date" value=${of} onInput=${setDay} /></div>
    ${wrong && html`<p class="error" role="alert">${wrong}</p>`}
    ${again && html`<button type="button" class="act" onClick=${() => { setTime(before.time); setDay(before.day); }}>${t("typed.as_before", { time: before.time })}</button>`}
    ${ways.length > 1 && html`<${Choice} name=${t("typed.what_done")} answers=${ways.map((one, index) => [index, wayWords(one)])} value=${way} onChoose=${setWay} />`}
    ${sows && html`<${Field} label=${t("field.flats")} value=${flats} inputmode="numeric" onInput=${setFlats} error=${wrongFlats} />`}`}
  </${Page}>`;
}

function Label({ id }) {
  const lot = lots.value.get(id);
  return lot ? html`<p class="label-code"><span class="code">${lot.label}</span> ${one("protocol", lot.crop)?.botanical ?? lot.crop}</p>` : null;
}

/** "Not done" until a time is said; then the button that saves it. */
function Foot({ said, ready, what, when: at, onSave }) {
  const skip = (name) => html`<button type="button" class=${name} onClick=${() => step(1)}><strong>${t("typed.not_done")}</strong>${!said && html`<span>${t("typed.blank_what")}</span>`}</button>`;
  return html`<${TypedBar} />
    ${said ? html`<button type="button" class="act main-act" disabled=${!ready || busy.value} onClick=${onSave}><strong>${what}</strong><span>${at}</span></button>` : skip("act main-act")}
    <div class="two"><button type="button" class="act" disabled=${typing.value.at === 0} onClick=${() => step(-1)}>${t("walk.previous")}</button>
      ${said && skip("act")}</div>`;
}

const progress = () => t("typed.progress", { n: typing.value.at + 1, m: typing.value.ids.length + typing.value.boxes.length });
const isTyped = ({ act, id }) => typing.value.done.includes(`${act}:${id}`);

const titleOf = (box) => (STEPS.includes(box.act) ? one("place", lots.value.get(box.id)?.place)?.name ?? t("round.loose") : t("morning.text.evening"));

/** The step of the paper, where it still runs on record. */
function runningOf(box, paper) {
  const lot = lots.value.get(box.id);
  const row = lot ? benchRow(lot, one("protocol", lot.crop)) : null;
  const onPaper = row && `${dayOf(row.started_at)} ${clock(row.started_at)}` <= `${paper.day} ${paper.time}`;
  return row?.kind === box.act && onPaper ? row : null;
}

/** The ways on that a paper can say, each as the kinds of records it makes, the likeliest first. */
function waysOf(row) {
  const found = [...row.next, ...(row.kind === "drained" ? ONWARD : [])].filter((kinds) => kinds.at(-1) !== "sanitise_started");
  return found.filter((kinds, index) => found.findIndex((other) => other.join() === kinds.join()) === index);
}

const wayWords = (kinds) => (kinds[0] === "sown" ? t("act.sown") : t(`bench.go.${kinds.join("+")}`));
/** What the button saves, or what is still to be said. */
function saying({ act }, kinds) {
  if (!kinds) return t("typed.what_done");
  return t("save.button", { what: STEPS.includes(act) && kinds.length ? wayWords(kinds) : t(COVERS[act] ?? "typed.what_done") });
}

/** The instant of a day and time that are being typed, or now. */
const instantOfSaid = (day, time) => (isMoment(day, time) ? instantOf(day, time) : now.value);

/** What is wrong with when a box was ticked, in a sentence, or "". */
function wrongTick(day, time, runs) {
  const { paper } = typing.value;
  const wrong = wrongTime(day, time);
  if (wrong) return wrong;
  if (runs && instantOf(day, time) <= runs.started_at) return t("typed.before_step", { date: date(day), time, began: `${date(dayOf(runs.started_at))} ${clock(runs.started_at)}` });
  const isBefore = `${day} ${time}` < `${paper.day} ${paper.time}`;
  return isBefore ? t("typed.before_list", { date: date(day), time, began: `${date(paper.day)} ${paper.time}` }) : "";
}

/** What was typed in last, and the button that takes it back. */
export function TypedBar() {
  const last = lastTyped.value;
  if (!last) return null;
  return html`<div class="undo-bar"><p role="status">${t("walk.saved", { what: last.label })}, ${siteText(Date.parse(last.events[0].at)).slice(11, 16)}</p>
    <button type="button" class="act undo" onClick=${takeBack}>${t("walk.undo")}</button></div>`;
}
