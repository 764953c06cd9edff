// @ts-check
/** What has not been sent, and the tray of what needs mending. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { contact, lots, pending, tray, trayCount, unsentPhotos } from "../store/house.js";
import { mayOpen } from "../store/may.js";
import { forgetRefusals, photoTrouble } from "../store/photos.js";
import { giveUp, mend } from "../store/tray.js";
import { EventFields } from "../ui/event_fields.js";
import { html, t } from "../ui/html.js";
import { saying } from "../ui/history.js";
import { tryNow } from "../ui/keeper.js";
import { when } from "../ui/local.js";
import { Shown } from "../ui/only.js";
import { Page, Ways } from "../ui/page.js";
import { Risks } from "./risks.js";
import { SaveUnsent } from "./save_unsent.js";
import { tellTrouble } from "./walking.js";

const SHOWN_MAX = 50;

/** Whether the browser knows of a network at all: sooner than a try that comes to nothing. */
function useOnline() {
  const [online, setOnline] = useState(navigator.onLine);
  useEffect(() => {
    const look = () => setOnline(navigator.onLine);
    for (const name of ["online", "offline"]) addEventListener(name, look);
    return () => ["online", "offline"].forEach((name) => removeEventListener(name, look));
  }, []);
  return online;
}

export function Unsent() {
  const online = useOnline();
  const foot = html`<button type="button" class="act main-act" onClick=${again}><strong>${t("unsent.try")}</strong></button><${Ways} here="more" />`;
  const n = pending.value.length;
  return html`<${Page} name="unsent" title=${t("unsent.title")} back="#/settings" foot=${foot}>
    <p>${stateWords(contact.value, online)}</p>
    ${contact.value.time_doubted && html`<p class="caution">${t("contact.time_doubted")}</p>`}
    <${Risks} />
    ${n + trayCount.value + unsentPhotos.value.length > 0 && html`<section><h2>${t("unsent.as_file")}</h2><p>${t("unsent.as_file_why")}</p><${SaveUnsent} /></section>`}
    ${trayCount.value > 0 && html`<section><h2>${t("unsent.tray")}</h2><p>${t("unsent.tray_why")}</p>
      ${tray.value.filter((entry) => !entry.mending).slice(0, SHOWN_MAX).map((entry) => html`<${Refused} key=${entry.id} entry=${entry} />`)}</section>`}
    ${n ? html`<section><h2>${t("saved.here", { n })}</h2><p>${t(WAITS[contact.value.state] ?? "unsent.waits")}</p>
      <ol>${pending.value.slice(0, SHOWN_MAX).map((event) => html`<li key=${event.id} class="record"><p><strong>${named(event)}</strong> <small>${when(event.at)}</small></p>
        <p>${saying(event, lots.value.get(event.lot) ?? BLANK)}</p></li>`)}</ol>
      ${n > SHOWN_MAX && html`<p class="quiet">${t("unsent.more", { n: n - SHOWN_MAX })}</p>`}
</section>` : trayCount.value + unsentPhotos.value.length === 0 && html`<p class="large">${t("unsent.none")}</p>`}
    <${Photos} />
    ${mayOpen("take") && html`<a class="act" href="#/take"><strong>${t("take.title")}</strong><small>${t("take.what")}</small></a>`}
    ${contact.value.state === "signed-out" && html`<a class="act" href="#/empty"><strong>${t("empty.title")}</strong><small>${t("empty.when")}</small></a>`}
  </${Page}>`;
}

const WAITS = { "signed-out": "unsent.waits_out", "not-allowed": "unsent.waits_looking" };

// Of a lot that this phone does not hold, only the words are needed.
const BLANK = { unit: "seeds", first_emerged_at: null };

function again() {
  forgetRefusals();
  tryNow();
}

/** How many pictures wait, how much that is, and why the server did not take one. */
function Photos() {
  const waiting = unsentPhotos.value;
  if (!waiting.length) return null;
  const kb = Math.ceil(waiting.reduce((sum, { bytes }) => sum + bytes, 0) / 1000);
  return html`<section><h2>${t("photo.unsent", { n: waiting.length })}</h2><p>${t("photo.unsent_waits", { kb: kb.toLocaleString("en-AU") })}</p>
    ${photoTrouble.value && html`<p class="error">${t("photo.unsent_why", { detail: photoTrouble.value })}</p>`}</section>`;
}

function stateWords({ state, detail, last_sync_at: last }, online) {
  const known = state === "in-touch" && !online ? "unreachable" : state;
  const words = t(`unsent.state.${known}`, { detail });
  const said = words.startsWith("unsent.state.") ? t("unsent.state.fault", { detail: detail || state }) : words;
  return last && known !== "in-touch" ? `${said} ${t("unsent.last", { when: when(last) })}` : said;
}

function named(event) {
  return [t(`act.${event.kind}`).replace(/^act\./, ""), lots.value.get(event.lot)?.label].filter(Boolean).join(" ");
}

/** A refused record: what the server said, its fields to mend, and sending it again. */
function Refused({ entry }) {
  const { event, problem } = entry;
  return html`<article class="alert">
    <p><strong>${named(event)}</strong> <small>${when(event.at)}</small></p>
    <p class="error">${problem?.detail ?? problem?.title ?? ""}</p>
    <${Shown} what="amended"><${EventFields} data=${event.data ?? {}} save=${t("unsent.mend")} onSave=${(data) => mend(entry.id, data).catch(tellTrouble)} />
    <button type="button" class="act" onClick=${() => giveUp(entry.id, t("lot.why_wrong")).catch(tellTrouble)}>${t("unsent.give_up")}</button></${Shown}>
  </article>`;
}
