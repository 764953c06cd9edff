// @ts-check
/** A new lot: which kind, how many, where, and the code on its label. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { uuid7 } from "../core/ids.js";
import { nextCode } from "../core/labels.js";
import { crops, lots, places, trouble } from "../store/house.js";
import { meta, setMeta, StorageFull } from "../store/database.js";
import { record } from "../store/record.js";
import { ask } from "../store/server.js";
import { formOpened } from "../store/updates.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Counter, Field } from "../ui/number.js";
import { Page } from "../ui/page.js";
import { today } from "../ui/when.js";

const UNITS = ["seeds", "g", "seedlings", "plants"];
const CROPS_SHOWN = 8;

export function AddLot() {
  const [known, setKnown] = useState(/** @type {any[]} */ ([]));
  const [draft, setDraft] = useState(/** @type {Record<string, any>} */ ({ search: "", unit: "seeds", quantity: 0 }));
  const [error, setError] = useState("");
  useEffect(() => formOpened(), []);
  useEffect(() => void cropList().then(setKnown), []);
  const set = (name) => (value) => setDraft({ ...draft, [name]: value });
  const label = draft.label ?? nextCode(Number(today().slice(0, 4)), [...lots.value.values()].map((lot) => lot.label));
  const potted = draft.unit === "plants";
  const save = async () => {
    if (!draft.crop) return setError(t("error.needed", { field: t("add.crop") }));
    if (!draft.quantity) return setError(t("error.needed", { field: t("add.quantity") }));
    if (potted && !(Number(draft.container) > 0)) return setError(t("error.needed", { field: t("add.container") }));
    const id = uuid7();
    const data = {
      crop: draft.crop, label, quantity: draft.quantity, unit: draft.unit, place: draft.place,
      container_l: potted ? Number(draft.container) : undefined,
      provenance: draft.provenance ? { place_text: draft.provenance } : undefined,
    };
    try {
      await record("lot_started", id, data);
      location.hash = `#/lot/${id}`;
    } catch (problem) {
      trouble.value = problem instanceof StorageFull ? "full" : problem.message;
    }
    return undefined;
  };
  const foot = html`${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act main-act" onClick=${save}><strong>${t("add.save")}</strong><span>${label}</span></button>`;
  return html`<${Page} name="add" title=${t("add.title")} back="#/lots" foot=${foot}>
    <${CropSearch} known=${known} search=${draft.search} chosen=${draft.crop} onSearch=${(search) => setDraft({ ...draft, search, crop: undefined })}
      onChoose=${(crop) => setDraft({ ...draft, crop: crop.id, search: crop.botanical })} />
    <section class="big-input"><h2>${t("add.quantity")}</h2><${Counter} label=${t("add.quantity")} value=${draft.quantity} onChange=${set("quantity")} /></section>
    <${Choice} name=${t("add.unit")} answers=${UNITS.map((unit) => [unit, t(`unit.${unit}`)])} value=${draft.unit} onChoose=${(unit) => setDraft({ ...draft, unit: unit ?? draft.unit })} />
    ${potted && html`<${Choice} name=${t("add.container")} answers=${[2, 4, 10].map((size) => [size, `${size} L`])} value=${draft.container} onChoose=${set("container")} />`}
    <${Choice} name=${t("add.place")} answers=${places().map((place) => [place.id, place.name])} value=${draft.place} onChoose=${set("place")} />
    <${Field} label=${t("add.label")} value=${label} onInput=${set("label")} />
    <${Field} label=${t("add.provenance")} value=${draft.provenance} onInput=${set("provenance")} />
  </${Page}>`;
}

function CropSearch({ known, search, chosen, onSearch, onChoose }) {
  const asked = search.trim().toLowerCase();
  const found = asked && !chosen ? known.filter((crop) => `${crop.botanical} ${crop.common}`.toLowerCase().includes(asked)) : [];
  return html`<section><h2>${t("add.crop")}</h2>
    <${Field} label=${t("add.crop_search")} value=${search} onInput=${onSearch} type="search" />
    ${asked && !chosen && !found.length && html`<p class="quiet">${t("add.crop_none")}</p>`}
    <ul class="cards">${found.slice(0, CROPS_SHOWN).map((crop) => html`<li key=${crop.id}><button type="button" onClick=${() => onChoose(crop)}>
      <strong>${crop.botanical}</strong><small>${crop.common}</small></button></li>`)}</ul></section>`;
}

/** The crops in use, and all that ship with the program, as last fetched. */
async function cropList() {
  const merged = (list) => [...new Map([...list, ...crops()].map((crop) => [crop.id, crop])).values()];
  try {
    const { crops: fetched } = await ask("GET", "/api/v1/crops");
    await setMeta("crops", fetched);
    return merged(fetched);
  } catch (error) {
    console.info("crops:", error.message);
    return merged(await meta("crops", []));
  }
}
