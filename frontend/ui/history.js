// @ts-check
/**
 * A lot's history: every event as it was said, with what was corrected or taken back beside it. "All
 * as expected", "nothing said" and "not looked" stay three different things.
 * @module
 */
import { useState } from "../vendor/preact-hooks.js";
import { activeVoids, effective } from "../core/corrections.js";
import { person, savedState } from "../store/house.js";
import { may } from "../store/may.js";
import { EventFields } from "./event_fields.js";
import { html, t } from "./html.js";
import { lookWords } from "./lot_words.js";
import { when } from "./local.js";
import { Photo } from "./photo.js";

const CORRECTIONS = ["amended", "voided"];

/**
 * @param {{lot: any, events: any[], most: number, onVoid: (event: any) => void,
 *   onBring: (voids: any[]) => void, onMend: (event: any, data: Record<string, any>) => Promise<any>}} props `onMend` gives nothing where
 *   nothing was saved
 */
export function History({ lot, events, most, onVoid, onBring, onMend }) {
  const standing = activeVoids(new Map(events.map((event) => [event.id, event])));
  const voids = events.filter(({ id }) => standing.has(id));
  const holding = new Map(effective(events).map((event) => [event.id, event]));
  const ordered = events.filter((event) => !CORRECTIONS.includes(event.kind)).sort((a, b) => (a.at < b.at ? 1 : -1));
  return html`<ol>${ordered.slice(0, most).map((event) => html`<${Record} key=${event.id} event=${event}
    holds=${holding.get(event.id)} voids=${voids.filter(({ data }) => data.of === event.id)} lot=${lot} onBring=${onBring} onVoid=${onVoid} onMend=${onMend} />`)}</ol>`;
}

function Record({ event, holds, voids, lot, onVoid, onBring, onMend }) {
  const [open, setOpen] = useState("");
  const name = person(event.by);
  const who = !name ? t("lot.by_nobody") : event.by_said ? t("who.by_said", { who: name }) : name;
  const notes = [when(event.at), who, event.typed && t("lot.typed"), event.brought && broughtBy(event.brought), savedState(event.id) === "phone" && t("lot.waiting")];
  // What was typed stays where it could not be saved.
  const mend = async (data) => (await onMend(event, event.kind === "photographed" ? { ...data, caption: data.caption?.trim() || null } : data)) && setOpen("");
  const fields = event.kind === "photographed" ? { caption: "", ...holds?.data } : holds?.data ?? {};
  return html`<li class=${holds ? "record" : "record taken-back"}>
    <div class="record-head"><p><strong>${t(`act.${event.kind}`).replace(/^act\./, "")}</strong> <small>${notes.filter(Boolean).join(" · ")}</small></p>
    ${holds && !open && may("amended") && html`<button type="button" class="act" onClick=${() => setOpen("choose")}>${t("lot.wrong")}</button>`}
    ${voids.length > 0 && event.kind !== "photographed" && may("amended") && html`<button type="button" class="act" onClick=${() => onBring(voids)}>${t("lot.bring_back")}</button>`}</div>
    ${holds?.kind === "photographed" && html`<${Photo} key=${holds.data.sha256} sha256=${holds.data.sha256} caption=${holds.data.caption ?? ""} />`}
    <p>${holds ? saying(holds, lot) : html`<s>${saying(event, lot)}</s> <strong>${t("lot.voided")}</strong>`}</p>
    ${holds?.said && html`<p class="said beside">${t("lot.amended", { what: saying({ ...event, data: holds.said }, lot) })}</p>`}
    ${open === "mend" && html`<${EventFields} data=${fields} save=${t("lot.save_mended")} onSave=${mend} onCancel=${() => setOpen("")} />`}
    ${open === "choose" && html`<div class="row"><button type="button" class="act" onClick=${() => setOpen("mend")}>${t("lot.mend")}</button>
      <button type="button" class="act" onClick=${() => { onVoid(event); setOpen(""); }}>${t("lot.correct")}</button>
      <button type="button" class="act" onClick=${() => setOpen("")}>${t("act.cancel")}</button></div>`}
  </li>`;
}

/** That the record came as a file, and who sent that. */
const broughtBy = ({ by }) => (by ? t("lot.brought_by", { name: person(by) ?? "?" }) : t("lot.brought"));

/** What an event says, in words. */
export function saying(event, lot) {
  const data = event.data ?? {};
  if (event.kind === "looked") return `${lookWords(data, lot)}${data.note && lookWords(data, lot) !== data.note ? `. ${data.note}` : ""}`;
  if (event.kind === "counted") return t("lot.emerged", { n: data.emerged, m: data.out_of });
  if (event.kind === "photographed") return data.caption ?? "";
  const hidden = ["crop", "label", "parents", "place", "solution", "alert", "watch", "into"];
  return Object.entries(data).filter(([name, value]) => !hidden.includes(name) && value !== null && typeof value !== "object")
    .map(([name, value]) => `${nameOf(name)}: ${value}`).join(", ");
}

/** The name of a field as people read it. */
export function nameOf(name) {
  const words = t(`field.${name}`);
  return words.startsWith("field.") ? name.replaceAll("_", " ") : words;
}
