// @ts-check
/** The places in walking order: add one, move it along the path, say whether it is walked daily. @module */
import { useState } from "../vendor/preact-hooks.js";
import { uuid7 } from "../core/ids.js";
import { isOpen } from "../core/tender.js";
import { places } from "../store/house.js";
import { may } from "../store/may.js";
import { record, recordAll } from "../store/record.js";
import { html, t } from "../ui/html.js";
import { asNumber } from "../ui/limits.js";
import { Field, Select } from "../ui/number.js";
import { Shown } from "../ui/only.js";
import { tellTrouble } from "./walking.js";
import { Page } from "../ui/page.js";

// As the server holds it (`place_changed`).
const HIGHEST_M = 30;
const KINDS = ["chamber", "bench", "shelf", "outdoors", "house", "bed"];
const DERIVED = ["answers", "closed_at", "closed_skipped", "closed_by", "chamber_state", "temps", "hours", "covered", "bared_at", "last_read", "forecasts", "cold", "warm", "heat", "treatments", "enter_after", "entered_at", "folded_at", "revision", "shipped"];

/** A place's row as an event carries it: what the server derives is left out. */
export const plain = (place) => Object.fromEntries(Object.entries(place).filter(([name]) => !DERIVED.includes(name)));

export function Places() {
  const [name, setName] = useState("");
  const [kind, setKind] = useState("bench");
  const [error, setError] = useState("");
  const here = places();
  const add = async () => {
    const wanted = name.trim();
    const taken = here.some((place) => place.name.toLowerCase() === wanted.toLowerCase());
    setError(!wanted ? t("error.needed", { field: t("settings.place_name") }) : taken ? t("error.place_taken", { name: wanted }) : "");
    if (!wanted || taken) return;
    const place = { id: uuid7(), name: wanted, order: here.length + 1, kind, daily: kind !== "bed" };
    await record("place_changed", null, place).then(() => setName(""), tellTrouble);
  };
  // Every place gets its number anew, so that two with the same one cannot stand in each other's way.
  const move = (at, by) => {
    const ordered = [...here];
    ordered.splice(at + by, 0, ...ordered.splice(at, 1));
    const drafts = ordered.flatMap((place, index) => (place.order === index + 1 ? [] : [{ kind: "place_changed", lot: null, data: { ...plain(place), order: index + 1 } }]));
    recordAll(drafts).catch(tellTrouble);
  };
  const daily = (place) => record("place_changed", null, { ...plain(place), daily: !place.daily }).catch(tellTrouble);
  const free = (place) => record("place_changed", null, { ...plain(place), frost_free: isOpen(place) }).catch(tellTrouble);
  const height = (place, typed) => {
    const metres = typed.trim() === "" ? null : asNumber(typed);
    const wrong = metres !== null && !(metres >= 0 && metres <= HIGHEST_M);
    setError(wrong ? t("error.number", { field: t("settings.sensor_height"), low: 0, high: HIGHEST_M }) : "");
    const { sensor_height_m: _before, ...rest } = plain(place);
    return !wrong && record("place_changed", null, metres === null ? rest : { ...rest, sensor_height_m: metres }).catch(tellTrouble);
  };
  const foot = may("place_changed") && html`${error && html`<p class="error" role="alert">${error}</p>`}<button type="button" class="act main-act" onClick=${add}><strong>${t("settings.add_place")}</strong></button>`;
  return html`<${Page} name="places" title=${t("settings.places")} back="#/settings" foot=${foot}>
    ${!here.length && html`<p>${t("round.empty")}</p>`}
    <${Shown} what="place_changed"><ol class="places">${here.map((place, at) => html`<li key=${place.id}><p><strong>${at + 1} ${place.name}</strong> <small>${t(`place.${place.kind ?? "bed"}`)}</small></p>
      <div class="place-row"><button type="button" class=${place.daily ? "answer chosen" : "answer"} aria-pressed=${place.daily === true} onClick=${() => daily(place)}>${t("settings.daily")}</button>
        <button type="button" class=${isOpen(place) ? "answer" : "answer chosen"} aria-pressed=${!isOpen(place)} onClick=${() => free(place)}>${t("settings.frost_free")}</button>
        <button type="button" class="act" disabled=${at === 0} aria-label=${t("settings.up_what", { place: place.name })} onClick=${() => move(at, -1)}>↑</button>
        <button type="button" class="act" disabled=${at === here.length - 1} aria-label=${t("settings.down_what", { place: place.name })} onClick=${() => move(at, 1)}>↓</button></div>
      ${isOpen(place) && html`<label class="field sensor"><span>${t("settings.sensor_height")}</span><input key=${place.sensor_height_m} inputmode="decimal" defaultValue=${place.sensor_height_m ?? ""}
        aria-label=${t("settings.sensor_height_of", { place: place.name })} onChange=${(event) => height(place, event.currentTarget.value)} /></label>`}</li>`)}</ol></${Shown}>
    ${may("place_changed") && html`<section><h2>${t("settings.new_place")}</h2>
      <${Field} label=${t("settings.place_name")} value=${name} onInput=${setName} />
      <${Select} label=${t("settings.kind")} value=${kind} options=${KINDS.map((one) => [one, t(`place.${one}`)])} onChange=${setKind} /></section>`}
  </${Page}>`;
}
