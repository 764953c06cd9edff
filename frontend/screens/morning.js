// @ts-check
/** The morning list: one sheet to print or to send, for the day on which the phone is dead. @module */
import { useState } from "../vendor/preact-hooks.js";
import { above, alarmLine, below, longDate, runningBlank, runningLine, sentence, text, title } from "../core/morning_text.js";
import { mayOpen } from "../store/may.js";
import { keepPaper, morningNow, names } from "../store/sheet.js";
import { html, t, wordsUnder } from "../ui/html.js";
import { Page } from "../ui/page.js";
import { saveFile } from "./save_file.js";
import { tellTrouble } from "./walking.js";

const WORDS = wordsUnder("morning.text.");
const BLANKS = ["moisture", "mould", "up", "note"];

export function Morning() {
  const [done, setDone] = useState("");
  const found = morningNow();
  if (!found) return html`<${Page} name="morning" title=${t("morning.title")} back="#/"><p class="large">${t("round.not_here_yet")}</p></${Page}>`;
  const people = names();
  const n = found.stops.reduce((sum, stop) => sum + stop.lots.length, 0);
  // On paper it is the last one: what is typed in later comes in its order.
  // With a full storage its order is not kept; it is printed all the same.
  const put = (way) => () => keepPaper(found).catch(tellTrouble).then(() => way(found, people)).then((key) => setDone(key ? t(key) : ""), tellTrouble);
  const foot = html`${done && html`<p role="status">${done}</p>`}
    <button type="button" class="act main-act" onClick=${put(printed)}><strong>${t("morning.print")}</strong><span>${t("morning.print_what", { n })}</span></button>
    <div class="three"><button type="button" class="act" onClick=${put(sent)}>${t("morning.send")}</button>
      <button type="button" class="act" onClick=${put(copied)}>${t("tag.copy")}</button>
      <button type="button" class="act" onClick=${put(filed)}>${t("morning.file")}</button></div>`;
  return html`<${Page} name="morning" title=${t("morning.title")} back="#/" foot=${foot}>
    <p class="quiet">${t("morning.why")}</p>
    ${mayOpen("typed") && html`<a class="act" href="#/typed"><strong>${t("morning.typed")}</strong><small>${t("morning.typed_what")}</small></a>`}
    <${Sheet} found=${found} people=${people} />
  </${Page}>`;
}

async function printed() {
  print();
  return "";
}

async function sent(found, people) {
  const said = { title: title(found, WORDS), text: text(found, WORDS, people) };
  if (!navigator.share) return copied(found, people);
  // Whoever closes the sheet of ways to send has not met a fault.
  return navigator.share(said).then(() => "", () => "morning.not_sent");
}

async function copied(found, people) {
  return navigator.clipboard.writeText(text(found, WORDS, people)).then(() => "tag.copied", () => "tag.copy_denied");
}

async function filed(found, people) {
  saveFile(`lathhouse-morning-${found.day}.txt`, text(found, WORDS, people), "text/plain");
  return "morning.filed";
}

/** The sheet itself: on the screen to read, on paper with its boxes and blanks. */
function Sheet({ found, people }) {
  const said = (one) => sentence(one, WORDS, people);
  return html`<article class="sheet">
    <h2>${title(found, WORDS)}</h2>
    <p class="on-paper">${t("morning.text.made", { time: found.made.time })} ${WORDS.walker}</p><p class="on-paper">${WORDS.legend}</p>
    ${found.alarms.length > 0 && html`<section class="sheet-alarms"><h3>${WORDS.alarms}</h3>
      <ul>${found.alarms.map((one) => html`<li>${alarmLine(one, WORDS, people)}</li>`)}</ul>
      ${found.alarms_left > 0 && html`<p>${t("morning.text.more", { n: found.alarms_left })}</p>`}</section>`}
    ${found.running.length > 0 && html`<section class="sheet-running"><h3>${WORDS.running}</h3>
      <ul>${found.running.map((one) => html`<li key=${one.lot}><span class="tick">☐</span> ${runningLine(one, WORDS, found.day)} <span class="on-paper">${runningBlank(one, WORDS)}</span></li>`)}</ul>
      ${found.running_left > 0 && html`<p>${t("morning.text.more", { n: found.running_left })}</p>`}</section>`}
    ${above(found, WORDS, people).map((part) => html`<${Part} key=${part[0]} part=${part} />`)}
    ${found.stops.map((stop) => html`<${Stop} key=${stop.place} stop=${stop} said=${said} />`)}
    ${!found.stops.length && html`<p>${WORDS.none}</p>`}
    ${found.lots_left > 0 && html`<p>${t("morning.text.more", { n: found.lots_left })}</p>`}
    ${found.nothing_due.length > 0 && html`<p>${t("morning.text.nothing_in", { places: found.nothing_due.join(", ") })}</p>`}
    ${below(found, WORDS).map((part) => html`<${Part} key=${part[0]} part=${part} />`)}
    <p class="on-paper sheet-notes">${WORDS.notes}</p>
    <p class="quiet">${t("morning.made", { date: longDate(found, WORDS) })}</p>
  </article>`;
}

/** What is no place's: the nursery's own, the night to come, what was left until later. */
const Part = ({ part: [head, lines] }) => html`<section class="sheet-part"><h3>${WORDS[head]}</h3>
  <ul>${lines.map((line) => html`<li key=${line}>${line.replace("[ ]", "☐").replace(WORDS.at, "")}${line.endsWith(WORDS.at) && html`<span class="on-paper">${WORDS.at}</span>`}</li>`)}</ul></section>`;

function Stop({ stop, said }) {
  return html`<section><h3><span>${stop.number}. ${stop.name || WORDS.loose}</span> <span class="on-paper">${WORDS.at}</span></h3>
    ${stop.says.map((one) => html`<p>! ${said(one)}</p>`)}
    ${stop.lots.length > 0 && html`<ul class="sheet-lots">${stop.lots.map((lot) => html`<li key=${lot.lot} class="sheet-lot"><span class="tick">☐</span>
      <div><p><strong>${lot.label}</strong> ${lot.crop}${lot.todo.length ? "" : html` <span class="quiet">${WORDS.look}</span>`}</p>
        ${lot.todo.map((one) => html`<p>${said(one)}</p>`)}
        <p class="on-paper blanks">${BLANKS.map((name) => (name !== "up" || lot.counts) && html`<span class=${name}>${WORDS[`head_${name}`]}</span>`)}</p></div></li>`)}</ul>`}
  </section>`;
}
