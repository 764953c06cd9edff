// @ts-check
/** What only some phones do: left out, or shown and not offered, with a line that says who does it. @module */
import { may, whose } from "../store/may.js";
import { html, t } from "./html.js";

/** Who does it. @param {{what: string}} props a kind of record, or a door */
export const Whose = ({ what }) => html`<p class="whose">${t(`may.${whose(what)}`)}</p>`;

/** Fields and buttons that everybody sees, and whoever may sets. @param {{what: string, children?: any}} props */
export function Shown({ what, children }) {
  if (may(what)) return children;
  return html`<${Whose} what=${what} /><fieldset class="shown" disabled>${children}</fieldset>`;
}
