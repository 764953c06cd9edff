// @ts-check
/** A new lot: which kind, how many, where, and the code on its label. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { uuid7 } from "../core/ids.js";
import { isLotCode, lotCode, nextCode } from "../core/labels.js";
import { lots, places } from "../store/house.js";
import { allCrops } from "../store/preferences.js";
import { record } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Field, Select } from "../ui/number.js";
import { tellTrouble } from "./walking.js";
import { Page } from "../ui/page.js";
import { today } from "../ui/local.js";

const UNITS = ["seeds", "g", "seedlings", "plants"];
const SIZES_L = [2, 4, 10];
const CROPS_SHOWN = 6;

export function AddLot() {
  const [known, setKnown] = useState(/** @type {any[]} */ ([]));
  const [draft, setDraft] = useState(/** @type {Record<string, any>} */ ({ search: "", unit: "seeds", quantity: "" }));
  const [error, setError] = useState("");
  useEffect(() => formOpened(), []);
  useEffect(() => void allCrops().then(setKnown), []);
  const set = (name) => (value) => setDraft({ ...draft, [name]: value });
  const labels = [...lots.value.values()].map((lot) => lot.label);
  const label = draft.label ?? nextCode(Number(today().slice(0, 4)), labels);
  const potted = draft.unit === "plants";
  const save = async () => {
    const wrong = complaint(draft, label.trim().toUpperCase(), labels, potted);
    setError(wrong);
    if (wrong) return;
    const id = uuid7();
    const data = {
      crop: draft.crop, label: label.trim().toUpperCase(), quantity: asNumber(draft.quantity), unit: draft.unit, place: draft.place,
      container_l: potted ? draft.container : undefined,
      provenance: draft.provenance?.trim() ? { place_text: draft.provenance.trim() } : undefined,
    };
    await record("lot_started", id, data).then(() => {
      location.hash = `#/lot/${id}`;
    }, tellTrouble);
  };
  const foot = html`${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act main-act" onClick=${save}><strong>${t("add.save")}</strong><span>${label}</span></button>`;
  return html`<${Page} name="add" title=${t("add.title")} back="#/lots" foot=${foot}>
    <${CropSearch} known=${known} draft=${draft} onSearch=${(search) => setDraft({ ...draft, search, crop: undefined })}
      onChoose=${(crop) => setDraft({ ...draft, crop: crop.id, search: crop.botanical })} />
    <${Field} label=${t("add.quantity")} value=${draft.quantity} inputmode="decimal" onInput=${set("quantity")} />
    <${Choice} name=${t("add.unit")} answers=${UNITS.map((unit) => [unit, t(`unit.${unit}`)])} value=${draft.unit} onChoose=${(unit) => set("unit")(unit ?? draft.unit)} />
    ${potted && html`<${Choice} name=${t("add.container")} answers=${SIZES_L.map((size) => [size, `${size} L`])} value=${draft.container} onChoose=${set("container")} />`}
    <${Select} label=${t("add.place")} value=${draft.place ?? ""} onChange=${(place) => set("place")(place || undefined)}
      options=${[["", t("add.no_place")], ...places().map((place) => [place.id, place.name])]} />
    <${Field} label=${t("add.label")} value=${label} onInput=${set("label")} />
    <p class="quiet">${t("add.label_why")}</p>
    <${Field} label=${t("add.provenance")} value=${draft.provenance} onInput=${set("provenance")} />
  </${Page}>`;
}

const asNumber = (text) => Number(String(text).replace(/[\s,](?=\d{3}\b)/g, "").replace(",", "."));

/** What is wrong, and what would be right; "" where nothing is. */
function complaint(draft, label, labels, potted) {
  const n = asNumber(draft.quantity);
  if (!draft.crop) return t("error.no_crop");
  if (String(draft.quantity).trim() === "") return t("error.needed", { field: t("add.quantity") });
  if (!(n >= 0) || (draft.unit !== "g" && !Number.isInteger(n))) return t("error.whole", { field: t("add.quantity") });
  if (potted && !draft.container) return t("error.needed", { field: t("add.container") });
  if (!label) return t("error.needed", { field: t("add.label") });
  if (labels.includes(label)) return t("error.label_taken", { label });
  const code = /^(\d\d)-(\d\d\d)-[A-Z]$/.exec(label);
  if (code && !isLotCode(label)) return t("error.check_letter", { label, right: lotCode(Number(code[1]), Number(code[2])) });
  return "";
}

function CropSearch({ known, draft, onSearch, onChoose }) {
  const asked = draft.search.trim().toLowerCase();
  const open = asked && !draft.crop;
  const found = open ? known.filter((crop) => `${crop.botanical} ${crop.common}`.toLowerCase().includes(asked)) : [];
  return html`<section>
    <${Field} label=${t("add.crop_search")} value=${draft.search} onInput=${onSearch} type="search" />
    ${open && !found.length && html`<p class="quiet">${t("add.crop_none")}</p>`}
    ${found.length > 0 && html`<ul class="cards">${found.slice(0, CROPS_SHOWN).map((crop) => html`<li key=${crop.id}><button type="button" onClick=${() => onChoose(crop)}>
      <strong>${crop.botanical}</strong><small>${crop.common}</small></button></li>`)}</ul>`}
    ${found.length > CROPS_SHOWN && html`<p class="quiet">${t("lots.more", { n: found.length - CROPS_SHOWN })}</p>`}</section>`;
}
