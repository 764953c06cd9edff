// @ts-check
/** One box of a paper that is no lot's look: a cover or a running step, whether it was done and when. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { benchRow } from "../core/bench.js";
import { STEPS, tickedOn } from "../core/boxes.js";
import { nextDay, toMs, HOUR_MS, MINUTE_MS } from "../core/instants.js";
import { dipRefusal } from "../core/spells.js";
import { lots, now, one } from "../store/house.js";
import { formOpened } from "../store/updates.js";
import { hasRoots } from "../ui/acts.js";
import { Choice } from "../ui/choice.js";
import { coverDrafts } from "../ui/frost_list.js";
import { html, t } from "../ui/html.js";
import { clock, date, dayOf, today, when } from "../ui/local.js";
import { Field } from "../ui/number.js";
import { Page } from "../ui/page.js";
import { Bucket, bucketComplaint, dipData, Minutes } from "./dip.js";
import { busy, instantOf, isMoment, lastTyped, saveBox, siteText, step, takeBack, typing, wrongTime } from "./typing.js";

const WHERE = { cold_started: { where: "fridge" }, warm_started: { where: "indoors" } };
const COVERS = { cover: "act.covered", uncover: "act.uncovered", second: "frost.second" };
const DIP = "sanitise_started";
// What drained seed goes on to; the last where no acid and no roots forbid it.
const ONWARD = [["cold_started"], ["warm_started"], ["sown"], [DIP]];

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
  const [dip, setDip] = useState(/** @type {any} */ ({ minutes: 10, rinsed: "" }));
  useEffect(() => {
    scrollTo(0, 0);
    return formOpened();
  }, []);
  const of = day ?? (time ? tickedOn(paper, time, today()) : paper.day);
  const runs = STEPS.includes(box.act) ? runningOf(box, paper) : null;
  const ways = runs ? waysOf(runs, lots.value.get(box.id)) : [];
  const kinds = runs ? ways[ways.length === 1 ? 0 : way ?? -1] : [];
  const sows = Boolean(kinds?.includes("sown"));
  const wrongFlats = sows && flats.trim() !== "" && !(Number.isInteger(Number(flats)) && Number(flats) >= 0) ? t("error.whole", { field: t("field.flats") }) : "";
  const dips = Boolean(kinds?.includes(DIP));
  const at = instantOfSaid(of, time);
  const wrong = time ? wrongTick(of, time, runs) : "";
  const wrongDip = dips && !wrong ? wrongBleach(dip, of, time, at) : "";
  const drafts = kinds && (runs ? stepDrafts(box.id, kinds, { flats, dip, rinsedOn: rinseDay(of, time, dip.rinsed) }) : coverDrafts(box, at, paper.low_c));
  const ready = Boolean(time && !wrong && drafts?.length && (!sows || (flats.trim() && !wrongFlats)) && !(dips && (wrongDip || !dip.solution)));
  const save = () => saveBox(box, drafts, boxName(box), of, time);
  const asks = runs || (!STEPS.includes(box.act) && drafts.length > 0);
  const again = !time && before && !STEPS.includes(box.act);
  const chosen = time !== "" || (ways.length > 1 && way !== undefined);
  return html`<${Page} name="typed" title=${titleOf(box)} back="#/morning" side=${progress()} foot=${html`<${Foot} box=${box} said=${chosen} ready=${ready} what=${saying(box, kinds, time)} when=${time && t("typed.as_of", { date: date(of), time })} onSave=${save} />`}>
    ${STEPS.includes(box.act) && html`<${Label} id=${box.id} />`}
    <h2 class="large">${t(`typed.box.${box.act}`, { name: boxName(box) })}</h2>
    ${runs && html`<p>${t(`morning.text.run_${box.act}`, { since: when(runs.started_at), until: when(runs.target_at) })}</p>`}
    ${isTyped(box) ? html`<p><strong>${t("typed.already")}</strong></p>` : !asks && html`<p>${t("typed.over")}</p>`}
    ${asks && html`${ways.length > 1 && html`<${Choice} name=${t("typed.what_done")} answers=${ways.map((one, index) => [index, wayWords(one)])} value=${way} onChoose=${setWay} />`}
    <div class="fields moment"><${Field} label=${t("typed.done_at")} type="time" value=${time} onInput=${setTime} />
      <${Field} label=${t("typed.on")} type="date" value=${of} onInput=${setDay} /></div>
    ${wrong && html`<p class="error" role="alert">${wrong}</p>`}
    ${again && html`<button type="button" class="act" onClick=${() => { setTime(before.time); setDay(before.day); }}>${t("typed.as_before", { time: before.time })}</button>`}
    ${dips && html`<${Bleach} dip=${dip} day=${of} time=${time} at=${at} wrong=${wrongDip} onSay=${(changes) => setDip({ ...dip, ...changes })} />`}
    ${sows && html`<${Field} label=${t("field.flats")} value=${flats} inputmode="numeric" onInput=${setFlats} error=${wrongFlats} />`}`}
  </${Page}>`;
}

/** The records of a step's end and of what came next; a dip's rinse has a time of its own. */
function stepDrafts(lot, kinds, { flats, dip, rinsedOn }) {
  const dataOf = (kind) => (kind === "sown" ? { flats: Number(flats) } : kind === DIP ? dipData(dip) : WHERE[kind] ?? {});
  const rinse = kinds.includes(DIP) && dip.rinsed ? [{ kind: "sanitise_ended", lot, data: {}, on: rinsedOn, at: dip.rinsed }] : [];
  return [...kinds.map((kind) => ({ kind, lot, data: dataOf(kind) })), ...rinse];
}

function Label({ id }) {
  const lot = lots.value.get(id);
  return lot ? html`<p class="label-code"><span class="code">${lot.label}</span> ${one("protocol", lot.crop)?.botanical ?? lot.crop}</p>` : null;
}

/** Which bucket it lay in, for how long it was meant to, and when it was rinsed, where the paper says so. */
function Bleach({ dip, day, time, at, wrong, onSay }) {
  const isNext = time && dip.solution && !wrong && rinseDay(day, time, dip.rinsed) !== day;
  return html`<p class="caution grave">${t("act.bleach_caution")} <a href="#/cautions/bleach">${t("mix.all_cautions")}</a></p>
    <${Bucket} said=${dip} at=${at} onSay=${onSay} />
    <${Minutes} said=${dip} onSay=${onSay} />
    <${Field} label=${t("typed.rinsed_at")} type="time" value=${dip.rinsed} onInput=${(rinsed) => onSay({ rinsed })} />
    ${isNext && html`<p role="status">${rinsedNext(day, time, dip.rinsed)}</p>`}
    ${wrong && html`<p class="error" role="alert">${wrong}</p>`}`;
}

/** What is wrong with what is said of a dip, in a sentence, or "". */
function wrongBleach(dip, day, time, at) {
  if (!dip.solution) return "";
  const wrong = bucketComplaint(dip, at, true);
  if (wrong || !dip.rinsed || !time) return wrong?.says ?? "";
  const on = rinseDay(day, time, dip.rinsed);
  const late = wrongTime(on, dip.rinsed);
  const isBefore = dip.rinsed === time || (late && on !== day);
  return isBefore ? t("typed.rinsed_before", { rinsed: dip.rinsed, time }) : late;
}

/** The day of the rinse: of a dip before midnight it may be the next. @param {string} day @param {string} time @param {string} rinsed */
const rinseDay = (day, time, rinsed) => (isMoment(day, rinsed) && rinsed < time ? nextDay(day) : day);

/** The rinse's own day in words, and how long the dip was by it: a slip of the thumb is seen there. */
function rinsedNext(day, time, rinsed) {
  const minutes = (toMs(instantOf(nextDay(day), rinsed)) - toMs(instantOf(day, time))) / MINUTE_MS;
  const length = { h: Math.floor((minutes * MINUTE_MS) / HOUR_MS), min: minutes % 60 };
  return t("typed.rinsed_next", { date: date(nextDay(day)), rinsed, ...length });
}

/** "Not done" until something is said; then the button that saves it. */
function Foot({ box, said, ready, what, when: at, onSave }) {
  const skip = (name) => html`<button type="button" class=${name} onClick=${() => step(1)}><strong>${t(box.act === "drained" ? "typed.not_moved" : "typed.not_done")}</strong>${!said && html`<span>${t("typed.blank_what")}</span>`}</button>`;
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
function waysOf(row, lot) {
  const mayDip = dipRefusal(lot) === null && !hasRoots(lot);
  const found = [...row.next, ...(row.kind === "drained" ? ONWARD : [])].filter((kinds) => mayDip || !kinds.includes(DIP));
  return found.filter((kinds, index) => found.findIndex((other) => other.join() === kinds.join()) === index);
}

/** Into where, or what was done: a paper says what is over. */
const wayWords = (kinds) => (kinds.at(-1).endsWith("_ended") || kinds.length > 1 ? t(`bench.go.${kinds.join("+")}`) : t(`typed.way.${kinds[0]}`));
/** What the button saves, or what is still to be said. */
function saying({ act }, kinds, time) {
  if (!kinds) return t("typed.what_done");
  if (!time) return t("typed.when_done");
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
