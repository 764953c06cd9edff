// @ts-check
/** A lot that is closed, of which something was recorded later: which of the two is right? @module */
import { record } from "../store/record.js";
import { html, t } from "../ui/html.js";
import { Shown } from "../ui/only.js";
import { when } from "../ui/local.js";
import { offerUndo, tellTrouble } from "./walking.js";

const WATCH = "after-closing";

/** @param {{lot: any, found: any[]}} props `found`: what the watches say of the lot */
export function AfterClosing({ lot, found }) {
  const later = lot.after_closing;
  if (!later || !found.some((finding) => finding.watch === WATCH)) return null;
  const say = async (words, kind, data) => {
    try {
      offerUndo([await record(kind, lot.id, data)], lot, [t(words)]);
    } catch (error) {
      tellTrouble(error);
    }
  };
  const open = () => say("after.opened", "voided", { of: lot.closed_event, why: t("after.why_open") });
  const take = () => say("after.taken", "voided", { of: later.event, why: t("lot.why_wrong") });
  const keep = () => say("after.kept", "decided", { watch: WATCH, why: t("after.why_keep") });
  const told = { closed: when(lot.closed_at), why: lot.closed_why ?? "?", when: when(later.at), what: t(`act.${later.kind}`) };
  return html`<section class="after-closing"><h2>${t("after.title")}</h2><p>${t("after.told", told)}</p>
    <${Shown} what="voided"><div class="acts"><button type="button" class="act" onClick=${open}>${t("after.open")}</button>
      <button type="button" class="act" onClick=${take}>${t("after.take")}</button>
      <button type="button" class="act" onClick=${keep}>${t("after.keep")}</button></div></${Shown}></section>`;
}
