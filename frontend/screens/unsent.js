// @ts-check
/** What has not been sent, and the tray of what needs mending. @module */
import { useState } from "../vendor/preact-hooks.js";
import { contact, lots, pending, tray } from "../store/house.js";
import { giveUp, mend, unsentAsText } from "../store/tray.js";
import { html, t } from "../ui/html.js";
import { saying } from "../ui/history.js";
import { tryNow } from "../ui/keeper.js";
import { Field } from "../ui/number.js";
import { Page, Ways } from "../ui/page.js";
import { when } from "../ui/when.js";

const SHOWN_MAX = 100;

export function Unsent() {
  const { state, detail } = contact.value;
  const waiting = tray.value.filter((entry) => !entry.mending);
  const foot = html`<button type="button" class="act main-act" onClick=${tryNow}><strong>${t("unsent.try")}</strong></button><${Ways} here="more" />`;
  return html`<${Page} name="unsent" title=${t("unsent.title")} back="#/settings" foot=${foot}>
    <p class="quiet">${t(`unsent.state.${state}`, { detail }).replace(/^unsent\.state\./, "")}</p>
    ${waiting.length > 0 && html`<section><h2>${t("unsent.tray")}</h2><p>${t("unsent.tray_why")}</p>
      ${waiting.map((entry) => html`<${Refused} key=${entry.id} entry=${entry} />`)}</section>`}
    <section>${pending.value.length ? html`<p>${t("unsent.waits")}</p><ol class="history">${pending.value.slice(0, SHOWN_MAX).map((event) => html`<li key=${event.id}>
        <p><strong>${t(`act.${event.kind}`)}</strong> ${lots.value.get(event.lot)?.label ?? ""} <small>${when(event.at)}</small></p>
        <p>${saying(event, lots.value.get(event.lot) ?? {})}</p></li>`)}</ol>
      <button type="button" class="act" onClick=${saveFile}>${t("unsent.file")}</button>` : html`<p>${t("unsent.none")}</p>`}</section>
  </${Page}>`;
}

/** A refused record: what the server said, its fields to mend, and sending it again. */
function Refused({ entry }) {
  const [data, setData] = useState(entry.event.data ?? {});
  const numbers = Object.entries(data).filter(([, value]) => value === null || typeof value !== "object");
  const set = (name, before) => (text) => setData({ ...data, [name]: typeof before === "number" && text !== "" && !Number.isNaN(Number(text)) ? Number(text) : text });
  return html`<article class="alert">
    <p><strong>${t(`act.${entry.event.kind}`)}</strong> ${lots.value.get(entry.event.lot)?.label ?? ""}<br />
      <span class="error">${entry.problem?.detail ?? ""}</span></p>
    ${numbers.map(([name, value]) => html`<${Field} key=${name} label=${t(`field.${name}`).replace(/^field\./, "")} value=${value} onInput=${set(name, entry.event.data[name])} />`)}
    <div class="row"><button type="button" class="act main-act" onClick=${() => mend(entry.id, data)}>${t("unsent.mend")}</button>
      <button type="button" class="act" onClick=${() => giveUp(entry.id, "taken back")}>${t("unsent.give_up")}</button></div>
  </article>`;
}

async function saveFile() {
  const url = URL.createObjectURL(new Blob([await unsentAsText()], { type: "application/json" }));
  const link = document.createElement("a");
  link.href = url;
  link.download = `lathhouse-unsent-${new Date().toISOString().slice(0, 10)}.json`;
  link.click();
  URL.revokeObjectURL(url);
}
