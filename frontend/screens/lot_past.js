// @ts-check
/** A lot's past: what the phone holds at once, the whole of it when the server is in reach. @module */
import { useState } from "../vendor/preact-hooks.js";
import { pending, unsentPhotos } from "../store/house.js";
import { baseOf } from "../store/lots.js";
import { photoHere } from "../store/photos.js";
import { record, recordAll } from "../store/record.js";
import { history } from "../store/server.js";
import { History } from "../ui/history.js";
import { html, t } from "../ui/html.js";
import { last, offerUndo, tellTrouble } from "./walking.js";

const FETCHED_MAX = 1000;
const PAGE = 20;

/** @param {{lot: any}} props */
export function Past({ lot }) {
  const [whole, setWhole] = useState(/** @type {any[] | null} */ (null));
  const [missing, setMissing] = useState(false);
  const [shown, setShown] = useState(PAGE);
  const held = [...(baseOf(lot)?.tail ?? []), ...pending.value.filter((event) => event.lot === lot.id)];
  const events = [...new Map([...(whole ?? []), ...held].map((event) => [event.id, event])).values()];
  const more = async () => {
    setShown(shown + PAGE);
    if (whole) return;
    try {
      setWhole((await history(lot.id, null, FETCHED_MAX)).events);
      setMissing(false);
    } catch (error) {
      console.info("history:", error.message);
      setMissing(true);
    }
  };
  const take = (event) => takenBack(event, lot).catch(tellTrouble);
  const bring = (voids) => {
    // Whose undoing would say the same once more.
    last.value = null;
    return recordAll(voids.map(({ id }) => ({ kind: "voided", lot: lot.id, data: { of: id, why: t("lot.why_right") } }))).catch(tellTrouble);
  };
  const mend = (event, data) => record("amended", lot.id, { of: event.id, data }).catch(tellTrouble);
  const acts = events.filter((event) => !["amended", "voided"].includes(event.kind)).length;
  return html`<section><h2>${t("lot.history")}</h2>
    ${missing && html`<p class="quiet">${t("lot.history_offline")}</p>`}
    <${History} lot=${lot} events=${events} most=${shown} onVoid=${take} onBring=${bring} onMend=${mend} />
    ${(!whole || acts > shown) && html`<button type="button" class="act" onClick=${more}>${t("lot.history_more")}</button>`}
  </section>`;
}

/**
 * Take a record back, and offer to undo that. A picture that has not left the phone goes with its
 * record: undone, both are saved anew.
 */
async function takenBack(event, lot) {
  const { sha256 } = event.data ?? {};
  const waits = sha256 && unsentPhotos.value.some((one) => one.sha256 === sha256);
  const photo = waits ? await photoHere(sha256) : null;
  const taken = await record("voided", lot.id, { of: event.id, why: t("lot.why_wrong") });
  const more = { observedAt: event.observed_at, typed: event.typed, clock: event.clock };
  const anew = photo ? () => recordAll([{ kind: event.kind, lot: lot.id, data: event.data, more, photo }]) : undefined;
  offerUndo([taken], lot, [t("lot.took_back", { what: t(`act.${event.kind}`) })], null, anew);
}
