// @ts-check
/** Walking: one lot at a time, so that the same thumb presses in the same region. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { lots, mustAsk } from "../store/house.js";
import { may } from "../store/may.js";
import { formOpened } from "../store/updates.js";
import { ActButton } from "../ui/act_button.js";
import { dueAct } from "../ui/acts.js";
import { ClosedPlace } from "../ui/closed_place.js";
import { html, t } from "../ui/html.js";
import { Label, says as saysOf, worstFinding } from "../ui/label.js";
import { expectedState, leadsTo, questions, saidOf, sentence } from "../ui/lot_words.js";
import { Whose } from "../ui/only.js";
import { findingsOf, stops } from "../ui/to_see.js";
import { Answered, Question } from "./question.js";
import { LookForm } from "./look_form.js";
import { Who } from "./who.js";
import { PlaceDone, UndoBar, UndoInPlaceOf } from "./place_done.js";
import { back, begin, deaf, draft, goesOn, offerUndo, open, save, saving, skip, tellTrouble, unlessSwapped, walk, whole } from "./walking.js";
import { Page } from "../ui/page.js";

/** Walk one place, or look at one lot only. @param {{place: string, lot?: string}} props */
export function Walk({ place, lot }) {
  const looksOn = !may("looked");
  if (!looksOn && !goesOn(place, lot ?? null)) begin(place, lot ?? null);
  // A place that was closed is walked afresh when one comes back to it.
  useEffect(() => () => {
    if (walk.value?.closed) walk.value = null;
  }, [place]);
  const here = stops().find((one) => one.place.id === place);
  if (!here) return html`<${Page} name="walk" title=${t("nav.round")} back="#/"><p class="large">${t("walk.empty")}</p></${Page}>`;
  if (looksOn) return html`<${LookedOn} here=${here} />`;
  const { ids, at } = walk.value;
  if (mustAsk.value && at < ids.length) return html`<${Who} place=${here.place.name} />`;
  const shown = at < ids.length ? lots.value.get(ids[at]) : null;
  return html`<div class="deaf" onClickCapture=${deaf}>${shown
    ? html`<${One} key=${shown.id} here=${here} lot=${shown} left=${ids.length - at} />`
    : html`<${PlaceDone} here=${here} />`}</div>`;
}

/** A place as whoever records nothing sees it: its lots, each with its page. */
function LookedOn({ here }) {
  return html`<${Page} name="walk" title=${here.place.name} back="#/"><${Whose} what="looked" /><${ClosedPlace} place=${here.place} />
    <ul class="cards">${here.lots.map((lot) => html`<li key=${lot.id}><a href=${`#/lot/${lot.id}`}><span class="code">${lot.label}</span>
      <strong>${says(worstFinding(findingsOf(lot)), lot)}</strong></a></li>`)}</ul></${Page}>`;
}

const says = (finding, lot) => (finding ? saysOf(finding, lot) : t("lot.quiet"));

function One({ here, lot, left }) {
  const [looking, setLooking] = useState(false);
  const found = findingsOf(lot);
  const due = looking ? null : dueAct(lot, found);
  const expected = expectedState(lot, found);
  const unsaid = expected ? undefined : questions(lot).find((field) => draft.value[field] === undefined);
  const busy = whole.value || Object.keys(draft.value).length > 0;
  useEffect(() => (busy ? formOpened() : undefined), [busy]);
  // In the head, too: on a small screen the foot may cover the label's own.
  const side = `${lot.label} · ${left > 1 ? t("walk.to_see", { n: left }) : t("walk.last")}`;
  if (whole.value) {
    return html`<${Page} name="walk" title=${here.place.name} back="#/" side=${side}>
      <${UndoBar} /><${Label} lot=${lot} findings=${found} full=${false} /><${LookForm} lot=${lot} must=${!expected} /></${Page}>`;
  }
  const [asks, counts] = [!due && unsaid, countsNow(lot, due)];
  const foot = html`${!asks && !counts && html`<${UndoBar} />`}
    ${due ? html`<${Due} lot=${lot} kind=${due} found=${found} expected=${expected} onLook=${() => setLooking(true)} />` : asks ? html`<${Question} lot=${lot} field=${asks} />` : html`<${Save} lot=${lot} expected=${expected} />`}
    <${Rest} lot=${lot} counting=${counts} asks=${asks} />`;
  return html`<${Page} name="walk" title=${here.place.name} back="#/" side=${side} foot=${foot}>
    <${ClosedPlace} place=${here.place} />
    <${Label} lot=${lot} findings=${found} full=${!due && (Boolean(expected) || !Object.keys(draft.value).length)} />
    ${!expected && html`<${Answered} lot=${lot} />`}
  </${Page}>`;
}

/** The button says the state that it records; what was answered leads to something, and it says that. */
function Save({ lot, expected, second = false }) {
  const data = expected ? { as_expected: true, ...expected } : draft.value;
  const words = saidOf(data, lot).join(", ");
  return html`<button type="button" class=${second ? "act round-act" : "act main-act round-act"} disabled=${saving.value} onClick=${() => save(lot, data)}>
    <strong>${expected ? sentence(words) : t("save.button", { what: words })}</strong>
    <span>${expected ? t("walk.goes_on") : leadsTo(data, lot)}</span></button>`;
}

/** What is due is an act: that is the large button, and a look comes second. */
function Due({ lot, kind, found, expected, onLook }) {
  const saved = (event) => offerUndo([event], lot, [t(`act.${kind}`)]);
  return html`<${ActButton} kind=${kind} lot=${lot} style="act main-act round-act" under=${worstFinding(found)?.next_action ?? ""}
      onSaved=${saved} onTrouble=${tellTrouble} />
    ${expected ? html`<${Save} lot=${lot} expected=${expected} second=${true} />`
      : html`<button type="button" class="act round-act" onClick=${onLook}>${t("walk.look_at_it")}</button>`}`;
}

/** Whether its seedlings are counted beside what is asked of it. */
const countsNow = (lot, due) => due !== "counted" && lot.sown && !lot.emergence_closed_at && lot.unit !== "plants";

/** What else can be done with the lot that is shown. */
function Rest({ lot, counting, asks }) {
  const previous = (act) => html`<button type="button" class="act round-act" disabled=${walk.value.at === 0} onClick=${act}>${t("walk.previous")}</button>`;
  const other = html`<button type="button" class="act round-act" onClick=${() => open(true)}>${t("walk.else")}</button>`;
  const next = html`<button type="button" class="act round-act" onClick=${skip}>${t("walk.skip")}</button>`;
  if (!counting) return html`<div class="three">${previous(back)}${other}${next}</div>`;
  const count = html`<a class="act round-act" href=${`#/act/counted/${lot.id}`}>${t("act.counted")}
    <small>${lot.emerged ? t("count.so_far", { n: lot.emerged.count }) : t("count.none_yet")}</small></a>`;
  return html`<div class="two">${count}${other}${asks ? previous(back) : html`<${UndoInPlaceOf} otherwise=${previous(unlessSwapped(back))} />`}${next}</div>`;
}
