// @ts-check
/** Everything that is set: who records, the nursery, its places, the screen, other phones. @module */
import { useState } from "../vendor/preact-hooks.js";
import { uuid7 } from "../core/ids.js";
import { crops, nursery, outboxCount, people, places } from "../store/house.js";
import { meta, setMeta } from "../store/database.js";
import { record, recordAll } from "../store/record.js";
import { ask } from "../store/server.js";
import { offlineReady } from "../store/updates.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Field, Select } from "../ui/number.js";
import { Page, Ways } from "../ui/page.js";

const THEMES = ["auto", "light", "dark"];
const PLACE_KINDS = ["chamber", "bench", "shelf", "outdoors", "house", "bed"];

export function Settings() {
  return html`<${Page} name="settings" title=${t("settings.title")} foot=${html`<${Ways} here="more" />`}>
    <a class="act wide" href="#/unsent">${t("settings.unsent")} <strong>${outboxCount.value}</strong></a>
    <${Who} /><${Theme} /><${Nursery} /><${Places} />
    <section><h2>${t("settings.watches")}</h2><p>${t("settings.watches_why")}</p><a class="act" href="#/watches">${t("settings.watches")}</a></section>
    <section><h2>${t("settings.crops")}</h2><ul class="cards">${crops().map((crop) => html`<li key=${crop.id}><a href=${`#/crop/${crop.id}`}>
      <strong>${crop.botanical}</strong><small>${crop.common}</small></a></li>`)}</ul></section>
    <${PairAnother} />
    <p class="quiet">${t(offlineReady.value ? "settings.offline" : "settings.not_offline")}</p>
  </${Page}>`;
}

function Who() {
  const [who, setWho] = useState(/** @type {string | null | undefined} */ (undefined));
  if (who === undefined) void meta("person").then((kept) => setWho(kept ?? null));
  const choose = (id) => {
    setWho(id ?? null);
    void setMeta("person", id ?? null);
  };
  const answers = people().map((one) => [one.id, one.name]);
  return html`<${Choice} name=${t("settings.who")} answers=${answers} value=${who ?? undefined} onChoose=${choose} />`;
}

function Theme() {
  const [theme, setTheme] = useState(localStorage.getItem("theme") ?? "auto");
  const choose = (one = "auto") => {
    localStorage.setItem("theme", one);
    document.documentElement.dataset.theme = one;
    setTheme(one);
  };
  return html`<${Choice} name=${t("settings.theme")} answers=${THEMES.map((one) => [one, t(`settings.theme.${one}`)])} value=${theme} onChoose=${choose} />`;
}

function Nursery() {
  const row = nursery();
  const [draft, setDraft] = useState(/** @type {any} */ (null));
  if (!row) return null;
  const { offsets: _offsets, answers: _answers, closed_at: _closed, revision: _revision, last_read: _read, ...plain } = { ...row, ...draft };
  const set = (name) => (value) => setDraft({ ...draft, [name]: value });
  const save = async () => {
    await record("nursery_changed", null, plain);
    setDraft(null);
  };
  return html`<section><h2>${t("settings.nursery")}</h2>
    <${Field} label=${t("settings.name")} value=${plain.name} onInput=${set("name")} />
    <${Field} label=${t("settings.timezone")} value=${plain.timezone} onInput=${set("timezone")} />
    <${Choice} name=${t("settings.hemisphere")} answers=${["south", "north"].map((one) => [one, t(`settings.${one}`)])} value=${plain.hemisphere} onChoose=${set("hemisphere")} />
    <${Choice} name=${t("settings.units")} answers=${["metric", "us"].map((one) => [one, t(`settings.${one}`)])} value=${plain.units} onChoose=${set("units")} />
    ${draft && html`<button type="button" class="act main-act" onClick=${save}>${t("settings.save")}</button>`}
  </section>`;
}

/** A place's row as an event carries it: what the server derives is left out. */
function plainPlace(place) {
  const { answers, closed_at, closed_skipped, closed_by, chamber_state, covered, last_read, folded_at, revision, shipped, ...plain } = place;
  return plain;
}

function Places() {
  const [name, setName] = useState("");
  const [kind, setKind] = useState("bed");
  const here = places();
  const add = async () => {
    if (!name.trim()) return;
    const id = uuid7();
    await record("place_changed", null, { id, name: name.trim(), order: here.length + 1, kind, daily: kind !== "bed" });
    setName("");
  };
  const swap = async (at, by) => {
    const [one, other] = [here[at], here[at + by]];
    await recordAll([
      { kind: "place_changed", lot: null, data: { ...plainPlace(one), order: at + by + 1 } },
      { kind: "place_changed", lot: null, data: { ...plainPlace(other), order: at + 1 } },
    ]);
  };
  const daily = (place) => record("place_changed", null, { ...plainPlace(place), daily: !place.daily });
  return html`<section><h2>${t("settings.places")}</h2>
    <ol class="places">${here.map((place, at) => html`<li key=${place.id}><strong>${place.name}</strong>
      <div class="row"><button type="button" class=${place.daily ? "answer chosen" : "answer"} aria-pressed=${place.daily === true} onClick=${() => daily(place)}>${t("settings.daily")}</button>
        <button type="button" class="answer" disabled=${at === 0} onClick=${() => swap(at, -1)}>${t("settings.up")}</button>
        <button type="button" class="answer" disabled=${at === here.length - 1} onClick=${() => swap(at, 1)}>${t("settings.down")}</button></div></li>`)}</ol>
    <${Field} label=${t("settings.place_name")} value=${name} onInput=${setName} />
    <${Select} label=${t("settings.kind")} value=${kind} options=${PLACE_KINDS.map((one) => [one, t(`place.${one}`)])} onChange=${setKind} />
    <button type="button" class="act" onClick=${add}>${t("settings.add_place")}</button></section>`;
}

function PairAnother() {
  const [link, setLink] = useState("");
  const [error, setError] = useState(false);
  const make = async (role) => {
    try {
      setLink((await ask("POST", "/api/v1/pairings", { role })).link);
      setError(false);
    } catch (problem) {
      console.info("pairing link:", problem.message);
      setError(true);
    }
  };
  return html`<section><h2>${t("settings.pair")}</h2>
    ${link && html`<p>${t("settings.pair_link")}</p><p class="link">${link}</p>`}
    ${error && html`<p class="error">${t("settings.pair_offline")}</p>`}
    <button type="button" class="act" onClick=${() => make("worker")}>${t("settings.pair")}</button></section>`;
}
