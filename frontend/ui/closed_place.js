// @ts-check
/** A place that was sprayed: nobody goes in before the label allows it. @module */
import { now } from "../store/house.js";
import { html, t } from "./html.js";
import { when } from "./local.js";

/** "do not enter until …", or nothing. @param {{place: any}} props */
export function ClosedPlace({ place }) {
  if (!(place?.enter_after > now.value)) return null;
  return html`<p class="caution grave" role="alert">${t("place.closed_until", { when: when(place.enter_after) })}</p>`;
}
