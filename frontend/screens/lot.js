// @ts-check
/** One lot: where it stands, what is due and why, what can be recorded, and its history. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { limits, nextStep, nthStep, progress } from "../core/protocols.js";
import { lots, now, one, pending, unconfirmed } from "../store/house.js";
import { record } from "../store/record.js";
import { history } from "../store/server.js";
import { actsFor, FIELDS } from "../ui/acts.js";
import { Flag } from "../ui/flag.js";
import { History } from "../ui/history.js";
import { html, t } from "../ui/html.js";
import { Label, says } from "../ui/label.js";
import { lookWords, stageWords, stepWords } from "../ui/lot_words.js";
import { Page, Ways } from "../ui/page.js";
import { findingsOf } from "../ui/to_see.js";
import { date, dayOf, when } from "../ui/when.js";

const FIRST_ACTS = 3;

/** @param {{id: string}} props */
export function Lot({ id }) {
  const lot = lots.value.get(id);
  if (!lot) return html`<${Page} name="lot" title="?" back="#/lots" foot=${html`<${Ways} here="lots" />`}><p class="quiet">${t("lot.unknown")}</p></${Page}>`;
  const found = findingsOf(lot);
  const acts = actsFor(lot);
  const foot = html`<div class="acts">${acts.slice(0, FIRST_ACTS).map((kind, index) => html`<${ActButton} key=${kind} kind=${kind} lot=${lot} main=${index === 0} />`)}</div>
    <${Ways} here="lots" />`;
  return html`<${Page} name="lot" title=${lot.label} back="#/lots" foot=${foot}>
    <${Label} lot=${lot} findings=${found} />
    <${Toxic} crop=${one("protocol", lot.crop)} />
    <${Due} lot=${lot} found=${found} />
    <${Stage} lot=${lot} />
    <${Looks} lot=${lot} />
    <section><h2>${t("lot.acts")}</h2><div class="acts many">${acts.slice(FIRST_ACTS).map((kind) => html`<${ActButton} key=${kind} kind=${kind} lot=${lot} />`)}
      <a class="act" href=${`#/walk/${encodeURIComponent(lot.place ?? "-")}`}>${t("act.looked")}</a></div></section>
    <${Kin} lot=${lot} />
    <${Disagrees} lot=${lot} />
    <${Past} lot=${lot} />
  </${Page}>`;
}

function ActButton({ kind, lot, main = false }) {
  const [done, setDone] = useState("");
  const style = main ? "act main-act" : "act";
  if (FIELDS[kind] || (kind === "sanitise_started" && lot.acid_at && !lot.rinsed_at)) {
    return html`<a class=${style} href=${`#/act/${kind}/${lot.id}`}>${t(`act.${kind}`)}</a>`;
  }
  const save = async () => {
    await record(kind, lot.id, {});
    setDone(t("lot.waiting"));
  };
  return html`<button type="button" class=${style} onClick=${save}>${t(`act.${kind}`)}${done && html` <small>${done}</small>`}</button>`;
}

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
      <small>${t("alerts.since", { when: when(finding.since) })}</small><br />${finding.next_action}.</p></div>`) : html`<p>${t("lot.quiet")}</p>`}
  </section>`;
}

function Stage({ lot }) {
  const crop = one("protocol", lot.crop);
  const here = progress(lot, crop, now.value);
  const next = nextStep(lot, crop);
  const step = ["warm", "cold"].includes(lot.stage) ? nthStep(lot.stage, lot.spells.filter((spell) => spell.kind === lot.stage).length || 1, crop) : null;
  const range = step ? limits(lot.stage, step ? lot.spells.filter((spell) => spell.kind === lot.stage).length || 1 : 1, crop) : {};
  return html`<section><h2>${stageWords(lot)}</h2>
    <p>${t("lot.day", { n: here.day ?? "?" })}
      ${range.longest_days && ` ${range.min_days != null ? t("lot.range", { min: range.min_days, max: range.longest_days }) : t("lot.range_to", { max: range.longest_days })}`}
      ${here.total_days != null && here.total_days !== here.day ? `, ${t("lot.total", { n: here.total_days })}` : ""}</p>
    ${lot.emerged && html`<p>${t("lot.emerged", { n: lot.emerged.count, m: lot.emerged.out_of })}, ${when(lot.emerged.at)}</p>`}
    ${next && html`<p>${t("lot.next_step", { step: stepWords(next) })} <a href=${`#/crop/${lot.crop}`}>${crop?.common ?? ""}</a></p>`}
    <${TimeLine} lot=${lot} />
  </section>`;
}

/** The spells one after another, each as long as it lasted. */
function TimeLine({ lot }) {
  const spells = lot.spells.filter((spell) => ["warm", "cold"].includes(spell.kind));
  const marks = [...spells.map((spell) => [t(`lot.stage.${spell.kind}`), spell.started_at, spell.ended_at]),
    ...(lot.sown ? [[t("lot.stage.sown"), lot.sown.at, null]] : []),
    ...(lot.first_emerged_at ? [[t("lot.stage.emerging"), lot.first_emerged_at, null]] : [])];
  if (!marks.length) return null;
  return html`<ol class="timeline">${marks.sort((a, b) => (a[1] < b[1] ? -1 : 1)).map(([name, from, to]) => html`<li>
    <strong>${name}</strong> <span>${date(dayOf(from))}${to ? ` – ${date(dayOf(to))}` : ""}</span></li>`)}</ol>`;
}

function Looks({ lot }) {
  if (!lot.looks.length) return null;
  return html`<section><h2>${t("lot.looks")}</h2><ol class="looks">${lot.looks.toReversed().map((look) => html`<li key=${look.event}>
    <small>${when(look.at)}</small> ${lookWords(look, lot)}${look.note && html` <q>${look.note}</q>`}</li>`)}</ol></section>`;
}

function Kin({ lot }) {
  const link = (id) => html`<a class="code" href=${`#/lot/${id}`}>${lots.value.get(id)?.label ?? id.slice(0, 8)}</a> `;
  if (!lot.parents.length && !lot.children.length) return null;
  return html`<section>${lot.parents.length > 0 && html`<h2>${t("lot.from")}</h2><p>${lot.parents.map(link)}</p>`}
    ${lot.children.length > 0 && html`<h2>${t("lot.into")}</h2><p>${lot.children.map(link)}</p>`}</section>`;
}

function Disagrees({ lot }) {
  const waiting = pending.value.filter((event) => event.lot === lot.id && unconfirmed.value.has(event.id)).length;
  return html`${lot.discrepancies.length > 0 && html`<section><h2>${t("lot.disagrees")}</h2><ul>${lot.discrepancies.map((note) => html`<li>
      ${t(`disagree.${note.kind}`, note)} <small>${when(note.at)}</small></li>`)}</ul></section>`}
    ${waiting > 0 && html`<p class="quiet">${t("lot.unconfirmed", { n: waiting })}</p>`}`;
}

/** What the phone holds of the past at once; the whole of it when the server is in reach. */
function Past({ lot }) {
  const [whole, setWhole] = useState(/** @type {any[] | null} */ (null));
  const [missing, setMissing] = useState(false);
  useEffect(() => setWhole(null), [lot.id]);
  const held = [...(lot.tail ?? []), ...pending.value.filter((event) => event.lot === lot.id)];
  const events = [...new Map([...(whole ?? []), ...held].map((event) => [event.id, event])).values()];
  const fetchAll = async () => {
    try {
      setWhole((await history(lot.id, null, 1000)).events);
    } catch (error) {
      console.info("history:", error.message);
      setMissing(true);
    }
  };
  const take = (event) => record("voided", lot.id, { of: event.id, why: "wrong" });
  return html`<section><h2>${t("lot.history")}</h2>
    ${missing && html`<p class="quiet">${t("lot.history_offline")}</p>`}
    <${History} lot=${lot} events=${events.slice(-200)} onVoid=${take} />
    ${!whole && html`<button type="button" class="act" onClick=${fetchAll}>${t("lot.history_more")}</button>`}
  </section>`;
}
