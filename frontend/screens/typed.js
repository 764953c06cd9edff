// @ts-check
/** Typing in what was written on paper: the day and time once, then lot by lot in the paper's order. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { lots, one, people } from "../store/house.js";
import { readRecorder, recorder } from "../store/preferences.js";
import { boxesAt, papers, scannedPaper } from "../store/sheet.js";
import { formOpened } from "../store/updates.js";
import { FIELDS } from "../ui/acts.js";
import { answersTo, Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { date, today } from "../ui/local.js";
import { isSeed, questions, saidOf } from "../ui/lot_words.js";
import { Field } from "../ui/number.js";
import { Page } from "../ui/page.js";
import { Box, boxName, TypedBar } from "./typed_box.js";
import { allInOrder, begin, busy, keyAt, save, setTime, step, typing, wrongTime } from "./typing.js";

const MORNING = "07:00";
/** No look that is written on a sheet was made before the sheet. @param {{time: string} | null | undefined} sheet */
const startOf = (sheet) => (sheet && sheet.time > MORNING ? sheet.time : MORNING);

/** @param {{day?: string, time?: string, labels?: string, more?: string}} props of the sheet that was scanned, if one was: its lots, and its boxes and places */
export function Typed({ day, time, labels = "", more = "" }) {
  const now = typing.value;
  const link = day && time && (labels || more) ? `${day}/${time}/${labels}/${more}` : null;
  // Another sheet that is scanned begins afresh.
  if (!now || (link && now.link !== link)) return html`<${Beginning} key=${link} link=${link} scanned=${link && scannedPaper(day ?? "", time ?? "", labels, more)} />`;
  const box = now.boxes[now.at - now.ids.length];
  if (box) return html`<${Box} key=${keyAt(now)} box=${box} />`;
  const lot = lots.value.get(now.ids[now.at]);
  if (!lot) return html`<${Done} />`;
  return html`<${One} key=${`${lot.id}${now.at}`} lot=${lot} />`;
}

/** Which paper, which day, what time, and who walked. */
function Beginning({ scanned, link }) {
  const [kept, setKept] = useState(/** @type {any[]} */ ([]));
  const [chosen, setChosen] = useState(0);
  const [day, setDay] = useState(scanned?.day ?? today());
  const [time, setTime_] = useState(startOf(scanned));
  const [by, setBy] = useState(/** @type {string | undefined} */ (undefined));
  const [error, setError] = useState("");
  useEffect(() => {
    void readRecorder();
    void papers().then((found) => {
      setKept(found);
      if (found.length && !scanned) {
        setDay(found[0].day);
        setTime_(startOf(found[0]));
      }
    });
  }, []);
  const sheets = [...(scanned ? [scanned] : []), ...kept].map((paper) => ({ ...paper, held: heldOf(paper) })).filter(({ held, boxes }) => held.length + boxes.length);
  // A sheet whose lots are all unknown here is no reason to offer every lot instead.
  const isLost = scanned && heldOf(scanned).length + scanned.boxes.length === 0 && chosen === 0;
  const sheet = isLost ? { held: [], boxes: [] } : sheets[chosen] ?? { held: allInOrder(), ...everyBox(day, time) };
  const ids = sheet.held;
  const choose = (index) => {
    setChosen(index ?? chosen);
    if (!sheets[index]) return;
    setDay(sheets[index].day);
    setTime_(startOf(sheets[index]));
  };
  const who = by ?? recorder.value ?? undefined;
  const start = () => {
    const wrong = wrongTime(day, time);
    setError(wrong);
    const { boxes, low_c = null } = sheet;
    if (!wrong) begin({ ids, boxes, day, time, by: who ?? null, link, paper: { day: sheet.day ?? day, time: sheet.time ?? time, low_c } });
  };
  const foot = html`${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act main-act" disabled=${!ids.length && !sheet.boxes.length} onClick=${start}><strong>${t("typed.begin")}</strong><span>${howMany(ids, sheet.boxes)}</span></button>`;
  return html`<${Page} name="typed" title=${t("typed.title")} back="#/morning" foot=${foot}>
    <p>${t("typed.why")}</p>
    ${scanned?.unknown.length > 0 && html`<p class="error" role="alert">${t("typed.unknown", { n: scanned.unknown.length, labels: scanned.unknown.join(", ") })}</p>`}
    ${scanned?.walked.length > 0 && html`<p>${t("typed.walked")}</p>`}
    ${sheets.length > 0 && html`<${Choice} name=${t("typed.which")} value=${chosen} onChoose=${choose}
      answers=${[...sheets.map((paper, index) => [index, t("typed.paper", { date: date(paper.day), time: paper.time, what: howMany(paper.held, paper.boxes) })]), [sheets.length, t("typed.all")]]} />`}
    ${!scanned && html`<p class="quiet">${t("typed.scan")}</p>`}
    <div class="fields moment"><${Field} label=${t("typed.day")} type="date" value=${day} onInput=${setDay} />
      <${Field} label=${t("typed.time")} type="time" value=${time} onInput=${setTime_} /></div>
    ${people().length > 0 && html`<${Choice} name=${t("typed.who")} answers=${people().map((person) => [person.id, person.name])} value=${who} onChoose=${setBy} />`}
  </${Page}>`;
}

/** The lots of a paper that are on this phone; of one that names places, all that stand in them. */
const heldOf = ({ lots: named, walked = [] }) => (named.length || !walked.length ? named.filter((id) => lots.value.has(id)) : allInOrder(walked));

/** "5 lots, 2 other boxes". */
const howMany = (held, boxes) => [t("typed.n_lots", { n: held.length }), ...(boxes.length ? [t("typed.n_boxes", { n: boxes.length })] : [])].join(", ");

/** The boxes of a paper that nothing is known of, once a day and a time are said. */
const everyBox = (day, time) => (wrongTime(day, time) ? { boxes: [], low_c: null } : boxesAt(day, time));

/** The questions of a look in the order of the paper's blanks; what it has none for comes last. */
function inPaperOrder(fields) {
  const order = ["moisture", "fungus", "sprouted_percent"];
  const rank = (field) => (order.includes(field) ? order.indexOf(field) : order.length);
  return [...fields].sort((a, b) => rank(a) - rank(b));
}

/** One lot of the paper: what its blanks say. */
function One({ lot }) {
  const [said, setSaid] = useState(/** @type {Record<string, any>} */ ({}));
  const [up, setUp] = useState("");
  const [note, setNote] = useState("");
  useEffect(() => formOpened(), []);
  const { ids, boxes, at, day, time, done } = typing.value;
  const counts = Boolean(lot.sown) && !lot.emergence_closed_at && lot.unit !== "plants";
  const count = up.trim() === "" ? null : { emerged: Number(up), out_of: FIELDS.counted[1].start(lot) };
  const wrongUp = count ? wrongCount(count) : "";
  const wrongWhen = wrongTime(day, time);
  const look = { ...said, note: note.trim() || undefined };
  const words = [...saidOf(look, lot), ...(count ? [t("typed.up", { n: up })] : [])].join(", ");
  const records = /** @type {[string, any][]} */ ([["looked", look], ...(count ? [["counted", count]] : [])]);
  const written = Boolean(words || look.note || up.trim());
  const heading = words ? t("save.button", { what: words }) : t("save.note");
  const cannot = Boolean(wrongUp || wrongWhen) || busy.value;
  // Nothing is recorded unless something is said: the large button goes on, a tick alone has its own.
  const blank = (name) => html`<button type="button" class=${name} onClick=${() => step(1)}><strong>${t("typed.blank")}</strong>${!written && html`<span>${t("typed.blank_what")}</span>`}</button>`;
  const foot = html`<${TypedBar} />
    ${written ? html`<button type="button" class="act main-act" disabled=${cannot} onClick=${() => save(lot, records)}>
      <strong>${heading}</strong><span>${t("typed.as_of", { date: date(day), time })}</span></button>` : blank("act main-act")}
    <div class="two"><button type="button" class="act" disabled=${at === 0} onClick=${() => step(-1)}>${t("walk.previous")}</button>
      ${written ? blank("act") : html`<button type="button" class="act" disabled=${cannot} onClick=${() => save(lot, records)}>${t("typed.ticked")}</button>`}</div>`;
  return html`<${Page} name="typed" title=${one("place", lot.place)?.name ?? t("round.loose")} back="#/morning" side=${t("typed.progress", { n: at + 1, m: ids.length + boxes.length })} foot=${foot}>
    <p class="label-code"><span class="code">${lot.label}</span> ${one("protocol", lot.crop)?.botanical ?? lot.crop}${done.includes(lot.id) && html` <strong>${t("typed.already")}</strong>`}</p>
    <${Field} label=${t("typed.time_here", { date: date(day) })} type="time" value=${time} onInput=${setTime} error=${wrongWhen} />
    ${inPaperOrder(questions(lot)).map((field) => {
      const [name, answers] = answersTo(field, isSeed(lot));
      return html`<${Choice} key=${field} name=${name} answers=${answers} value=${said[field]} onChoose=${(value) => setSaid({ ...said, [field]: value })} />`;
    })}
    ${counts && html`<${Field} label=${t("field.emerged")} value=${up} inputmode="numeric" onInput=${setUp} error=${wrongUp} />`}
    <${Field} label=${t("field.note")} value=${note} onInput=${setNote} />
  </${Page}>`;
}

/** What is wrong with a count, in a sentence, or "". */
function wrongCount({ emerged, out_of }) {
  const field = t("field.emerged");
  if (!(Number.isInteger(emerged) && emerged >= 0)) return t("error.whole", { field });
  return emerged > out_of ? t("error.at_most", { field, n: out_of }) : "";
}

function Done() {
  const { ids, boxes, done, skipped } = typing.value;
  const boxOf = (key) => boxes.find(({ act, id }) => `${act}:${id}` === key);
  const labels = skipped.map((key) => lots.value.get(key)?.label ?? (boxOf(key) ? boxName(boxOf(key)) : "?")).join(", ");
  const leave = () => {
    typing.value = null;
  };
  const foot = html`<${TypedBar} /><a class="act main-act" href="#/" onClick=${leave}><strong>${t("walk.home")}</strong></a>
    <div class="two"><button type="button" class="act" onClick=${() => step(-1)}>${t("walk.previous")}</button>
      <button type="button" class="act" onClick=${leave}>${t("typed.again")}</button></div>`;
  return html`<${Page} name="typed" title=${t("typed.title")} back="#/morning" foot=${foot}>
    <section class="told"><h2>${t("typed.done", { n: done.length, m: ids.length + boxes.length })}</h2>
      <p>${labels ? t("typed.left_blank", { labels }) : t("walk.none_skipped")}</p></section></${Page}>`;
}
