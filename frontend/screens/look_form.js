// @ts-check
/** Everything that can be said of a look: the questions that matter first, then the rest. @module */
import { useState } from "../vendor/preact-hooks.js";
import { answersTo, Choice, Toggle } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { isSeed, leadsTo, questions, saidOf } from "../ui/lot_words.js";
import { Field, Stepper } from "../ui/number.js";
import { TakePhoto } from "../ui/take_photo.js";
import { draft, open, save, saving, skip } from "./walking.js";
import { degrees, inDegrees, toCelsius } from "../ui/local.js";

const LOW_C = -60;
const HIGH_C = 60;

/** @param {{lot: any, must: boolean}} props `must`: the questions have to be answered */
export function LookForm({ lot, must }) {
  const [watered, setWatered] = useState(false);
  const [temp, setTemp] = useState("");
  const [photo, setPhoto] = useState(/** @type {any} */ (null));
  const [unread, setUnread] = useState("");
  const said = draft.value;
  const set = (field) => (value) => {
    draft.value = { ...draft.value, [field]: value };
  };
  const asked = questions(lot);
  const rest = ["potted", "seedlings"].includes(lot.stage) ? ["root_fill"] : [];
  const missing = must ? asked.find((field) => said[field] === undefined) : undefined;
  const celsius = temp.trim() === "" ? undefined : toCelsius(temp);
  const wrong = celsius !== undefined && !(celsius >= LOW_C && celsius <= HIGH_C);
  const data = { ...said, temp_c: celsius, note: said.note?.trim() || undefined, picked_out: said.picked_out || undefined };
  const also = /** @type {[string, any, Blob?][]} */ ([...(watered ? [["watered", {}]] : []), ...(photo ? [["photographed", photo.data, photo.blob]] : [])]);
  return html`<form class="look" onSubmit=${(event) => event.preventDefault()}>
    ${[...asked, ...rest].map((field) => {
      const [name, answers] = answersTo(field, isSeed(lot));
      return html`<${Choice} key=${field} name=${name} answers=${answers} value=${said[field]} onChoose=${set(field)} big=${true} />`;
    })}
    <fieldset class="choice big"><legend>${t("ask.also")}</legend><div class="answers" data-count="2">
      <${Toggle} words=${t("also.watered")} on=${watered} onToggle=${setWatered} />
      ${rest.length > 0 && html`<${Toggle} words=${t("also.new_flush")} on=${Boolean(said.new_flush)} onToggle=${(is) => set("new_flush")(is || undefined)} />`}
      ${photo ? html`<${Toggle} words=${t("photo.taken")} on=${true} onToggle=${() => setPhoto(null)} />`
        : html`<${TakePhoto} style="answer" onPhoto=${setPhoto} onTrouble=${setUnread}>${t("act.photographed")}</${TakePhoto}>`}
      <${Toggle} words=${t("also.turned")} on=${Boolean(said.turned)} onToggle=${(is) => set("turned")(is || undefined)} />
    </div>${unread && html`<p class="error" role="alert">${unread}</p>`}</fieldset>
    <${Stepper} label=${t("also.picked")} value=${said.picked_out ?? 0} onChange=${set("picked_out")} />
    <${Field} label=${`${t("ask.temp")}, ${degrees()}`} value=${temp} inputmode="text" onInput=${setTemp}
      error=${wrong ? t("error.number", { field: t("ask.temp"), low: inDegrees(LOW_C), high: inDegrees(HIGH_C) }) : ""} />
    <${Field} label=${t("ask.note")} value=${said.note} onInput=${set("note")} />
    <div class="two"><button type="button" class="act round-act" onClick=${() => open(false)}>${t("walk.less")}</button>
      <button type="button" class="act round-act" onClick=${skip}>${t("walk.skip")}</button></div>
    <${Foot} lot=${lot} data=${data} also=${also} missing=${missing} wrong=${wrong} />
  </form>`;
}

/** The button repeats the record in words and says what it leads to, or what is still to be answered. */
function Foot({ lot, data, also, missing, wrong }) {
  const words = [...saidOf(data, lot), ...also.map(([kind]) => t(`say.${kind}`))].join(", ");
  const heading = missing ? t("walk.answer_first", { what: answersTo(missing, isSeed(lot))[0] })
    : words ? t("save.button", { what: words }) : data.note ? t("save.note") : t("save.nothing");
  return html`<div class="look-foot"><button type="button" class="act main-act round-act"
    disabled=${Boolean(missing) || wrong || saving.value} onClick=${() => save(lot, data, also)}>
    <strong>${heading}</strong><span>${missing ? words : leadsTo(data, lot)}</span></button></div>`;
}
