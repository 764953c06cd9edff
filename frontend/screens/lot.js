// @ts-check
/** One lot: where it stands, what is due and why, what can be recorded, and its history. @module */
import { holdFacts } from "../core/treatments.js";
import { listed, lots, now, nursery, one, pending, unconfirmed } from "../store/house.js";
import { may } from "../store/may.js";
import { ActButton } from "../ui/act_button.js";
import { actsFor, dueAct } from "../ui/acts.js";
import { ClosedPlace } from "../ui/closed_place.js";
import { html, t } from "../ui/html.js";
import { Whose } from "../ui/only.js";
import { Label, says } from "../ui/label.js";
import { lookWords } from "../ui/lot_words.js";
import { findingsOf } from "../ui/to_see.js";
import { AfterClosing } from "./lot_after_closing.js";
import { LotStage } from "./lot_stage.js";
import { Past } from "./lot_past.js";
import { UndoBar } from "./place_done.js";
import { offerUndo, tellTrouble } from "./walking.js";
import { Flag, Page, Ways } from "../ui/page.js";
import { when } from "../ui/local.js";

/** @param {{id: string}} props */
export function Lot({ id }) {
  const lot = lots.value.get(id);
  if (!lot) return html`<${Page} name="lot" title="?" back="#/lots" foot=${html`<${Ways} here="lots" />`}><p class="large">${t("lot.unknown")}</p></${Page}>`;
  const found = findingsOf(lot);
  const due = dueAct(lot, found);
  const [first, ...others] = [...new Set([...(due ? [due] : []), ...actsFor(lot)])];
  // What is waited for is looked at; what stands on the bench is taken to its next step.
  const looking = !due && !["soak", "sanitise", "drained", "seed"].includes(lot.stage);
  const records = may("looked");
  const foot = html`<${UndoBar} />${records && html`<div class="two"><${Act} key=${first} kind=${first} lot=${lot} style=${looking ? "act" : "act main-act"} />
    <a class=${looking ? "act main-act" : "act"} href=${`#/walk/${encodeURIComponent(lot.place ?? "-")}/${lot.id}`}>${t("act.looked")}</a></div>`}<${Ways} here="lots" />`;
  return html`<${Page} name="lot" title=${lot.label} back="#/lots" foot=${foot}>
    <${Label} lot=${lot} findings=${found} />
    <${Due} lot=${lot} found=${found} />
    <${AfterClosing} lot=${lot} found=${found} />
    <${LotStage} lot=${lot} />
    <${Toxic} crop=${one("protocol", lot.crop)} />
    ${records ? html`<section><h2>${t("lot.acts")}</h2><div class="acts">${others.map((kind) => html`<${Act} key=${kind} kind=${kind} lot=${lot} />`)}</div></section>` : html`<${Whose} what="looked" />`}
    <${Looks} lot=${lot} />
    <${Kin} lot=${lot} />
    <${Disagrees} lot=${lot} />
    <${Past} key=${lot.id} lot=${lot} />
  </${Page}>`;
}

/** An act on this lot, with its undo. */
const Act = ({ kind, lot, style }) => html`<${ActButton} kind=${kind} lot=${lot} style=${style} onTrouble=${tellTrouble}
  onSaved=${(event) => offerUndo([event], lot, [t(`act.${kind}`)])} />`;

/** The caution of this kind of seed: never nothing. */
function Toxic({ crop }) {
  const note = crop?.toxicity?.note;
  return html`<p class=${note ? "caution grave" : "caution"}>${note ? t("lot.toxic", { note }) : t("lot.toxic_unknown")}</p>`;
}

function Due({ lot, found }) {
  const shown = found.filter((finding) => !finding.hidden_by);
  return html`<section><h2>${t("lot.why")}</h2>
    ${shown.length ? shown.map((finding) => html`<div class="finding" key=${finding.watch}>
      <${Flag} level=${finding.level} /><p><strong>${t(`level.${finding.level}`)}</strong> ${says(finding, lot)}
      <small> ${t("alerts.since", { when: when(finding.since) })}</small><br /><strong>${finding.next_action}.</strong></p></div>`) : html`<p>${t("lot.quiet")}</p>`}
    ${(listed.value.get(`lot:${lot.id}`) ?? []).map((entry) => html`<p key=${entry.watch}>${t("season.listed")} <strong>${t(`watch.${entry.watch}`)}</strong>, ${says(entry, lot)}
      <small> ${t("alerts.since", { when: when(entry.since) })}</small></p>`)}
    <${Closed} lot=${lot} />
  </section>`;
}

/** Where a treatment's intervals still run: the place is closed, the lot is not for sale. */
function Closed({ lot }) {
  const place = one("place", lot.place);
  const { until, product } = holdFacts(lot, place, nursery()?.offsets ?? []);
  return html`<${ClosedPlace} place=${place} />
    ${until > now.value && html`<p class="caution">${t("lot.hold_until", { when: when(until), product: product ?? "?" })}</p>`}`;
}

function Looks({ lot }) {
  return html`<section><h2>${t("lot.looks")}</h2>${lot.looks.length ? html`<ol class="looks">${lot.looks.toReversed().map((look) => html`<li key=${look.event}>
    <p><small>${when(look.at)}</small> ${lookWords(look, lot)}${look.note && html` <q>${look.note}</q>`}</p></li>`)}</ol>` : html`<p>${t("lot.never")}</p>`}</section>`;
}

function Kin({ lot }) {
  const link = (id) => html`<a class="code" href=${`#/lot/${id}`}>${lots.value.get(id)?.label ?? t("lot.elsewhere")}</a> `;
  return html`${lot.parents.length > 0 && html`<section><h2>${t("lot.from")}</h2><p class="kin">${lot.parents.map(link)}</p></section>`}
    ${lot.children.length > 0 && html`<section><h2>${t("lot.into")}</h2><p class="kin">${lot.children.map(link)}</p></section>`}`;
}

function Disagrees({ lot }) {
  const waiting = pending.value.filter((event) => event.lot === lot.id && unconfirmed.value.has(event.id)).length;
  return html`${lot.discrepancies.length > 0 && html`<section><h2>${t("lot.disagrees")}</h2><ul>${lot.discrepancies.map((note) => html`<li>
      ${t(`disagree.${note.kind}`, note)} <small>${when(note.at)}</small></li>`)}</ul></section>`}
    ${waiting > 0 && html`<p class="quiet">${t("lot.unconfirmed", { n: waiting })}</p>`}`;
}
