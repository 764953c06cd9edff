// @ts-check
/** Where the record is, in plain words; never a spinner. @module */
import { contact, pending, trayCount } from "../store/house.js";
import { html, t } from "./html.js";

/** "14 saved here, not sent", or "all on the server". */
export function Status() {
  return html`<a class="status" href="#/unsent" role="status">${saying()}</a>`;
}

function saying() {
  const n = pending.value.length;
  if (trayCount.value) return t("saved.tray", { n: trayCount.value });
  if (contact.value.state === "signed-out") return t("saved.signed_out", { n });
  if (n) return t("saved.here", { n });
  const last = contact.value.last_sync_at;
  if (!last) return t("saved.never");
  return t("saved.server", { time: new Date(last).toTimeString().slice(0, 5) });
}
