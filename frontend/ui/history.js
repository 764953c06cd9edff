// @ts-check
/**
 * A lot's history: every event as it was said, what was corrected or taken back beside it. "All as
 * expected", "nothing said" and "not looked" stay three different things.
 * @module
 */
import { effective } from "../core/corrections.js";
import { person, savedState } from "../store/house.js";
import { html, t } from "./html.js";
import { lookWords } from "./lot_words.js";
import { when } from "./when.js";

/** @param {{lot: any, events: any[], onVoid: (event: any) => void}} props */
export function History({ lot, events, onVoid }) {
  const now = new Map(effective(events).map((event) => [event.id, event]));
  const ordered = [...events].filter((event) => !["amended", "voided"].includes(event.kind))
    .sort((a, b) => (a.at < b.at ? 1 : -1));
  return html`<ol class="history">${ordered.map((event) => {
    const holds = now.get(event.id);
    return html`<li key=${event.id} class=${holds ? "" : "taken-back"}>
      <p><strong>${t(`act.${event.kind}`)}</strong> <small>${when(event.at)} · ${person(event.by) ?? t("lot.by_nobody")}
        ${event.typed && ` · ${t("lot.typed")}`}${savedState(event.id) === "phone" && ` · ${t("lot.waiting")}`}</small></p>
      <p>${holds ? saying(holds, lot) : html`<s>${saying(event, lot)}</s> ${t("lot.voided")}`}</p>
      ${holds?.said && html`<p class="said">${t("lot.amended", { what: saying({ ...event, data: holds.said }, lot) })}</p>`}
      ${holds && html`<button type="button" class="small-act" onClick=${() => onVoid(event)}>${t("lot.correct")}</button>`}
    </li>`;
  })}</ol>`;
}

/** What an event says, in words. */
export function saying(event, lot) {
  const data = event.data ?? {};
  if (event.kind === "looked") return lookWords(data, lot);
  if (event.kind === "counted") return t("lot.emerged", { n: data.emerged, m: data.out_of });
  const skip = ["crop", "label", "parents", "place", "solution", "alert", "watch", "into"];
  return Object.entries(data).filter(([name, value]) => !skip.includes(name) && value !== null && typeof value !== "object")
    .map(([name, value]) => `${t(`field.${name}`).replace(/^field\./, "")} ${value}`).join(", ");
}
