// @ts-check
/** The button of an act: it opens the act's form, or saves at a touch where nothing is asked. @module */
import { may } from "../store/may.js";
import { record } from "../store/record.js";
import { FIELDS } from "./acts.js";
import { html, t } from "./html.js";

/**
 * @param {{kind: string, lot: any, style?: string, under?: string,
 *   onSaved: (event: any) => void, onTrouble: (error: Error) => void}} props
 */
export function ActButton({ kind, lot, style = "act", under = "", onSaved, onTrouble }) {
  if (!may(kind)) return null;
  const words = style === "act" ? t(`act.${kind}`) : html`<strong>${t(`act.${kind}`)}</strong>${under && under !== t(`act.${kind}`) && html`<span>${under}</span>`}`;
  const form = formOf(kind, lot.id);
  if (form) return html`<a class=${style} href=${form}>${words}</a>`;
  const save = () => record(kind, lot.id, {}).then(onSaved, onTrouble);
  return html`<button type="button" class=${style} onClick=${save}>${words}</button>`;
}

/** Where an act asks for something, or null. */
function formOf(kind, id) {
  // A dip names its bucket, and may leave a part undipped.
  if (kind === "sanitise_started") return `#/start/sanitise/${id}`;
  if (kind === "photographed") return `#/photo/${id}`;
  return FIELDS[kind] ? `#/act/${kind}/${id}` : null;
}
