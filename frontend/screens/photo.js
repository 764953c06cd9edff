// @ts-check
/** Taking a picture of a lot: seen as it will be saved, with a few words if one likes. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { lots, one } from "../store/house.js";
import { recordAll } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { html, t } from "../ui/html.js";
import { Field } from "../ui/number.js";
import { Page } from "../ui/page.js";
import { useUrl } from "../ui/photo.js";
import { TakePhoto } from "../ui/take_photo.js";
import { offerUndo, tellTrouble } from "./walking.js";

/** @param {{id: string}} props */
export function Photo({ id }) {
  const lot = lots.value.get(id);
  const [photo, setPhoto] = useState(/** @type {{blob: Blob, data: any} | null} */ (null));
  const [caption, setCaption] = useState("");
  const [error, setError] = useState("");
  const [saving, setSaving] = useState(false);
  useEffect(() => formOpened(), []);
  const url = useUrl(photo?.blob);
  if (!lot) return html`<${Page} name="photo" title="?" back="#/lots"><p class="large">${t("lot.unknown")}</p></${Page}>`;
  const save = async () => {
    setSaving(true);
    const words = caption.trim();
    const data = { ...photo?.data, caption: words || undefined };
    await recordAll([{ kind: "photographed", lot: lot.id, data, photo: photo?.blob }]).then((events) => {
      offerUndo(events, lot, [t("act.photographed"), words].filter(Boolean));
      location.hash = `#/lot/${lot.id}`;
    }, tellTrouble);
    setSaving(false);
  };
  const take = (style, words, taken = false) => html`<${TakePhoto} style=${style} taken=${taken} onPhoto=${setPhoto} onTrouble=${setError}>${words}</${TakePhoto}>`;
  const foot = html`${error && html`<p class="error" role="alert">${error}</p>`}
    ${photo ? html`<div class="two">${take("act round-act", t("photo.again"))}
        <button type="button" class="act main-act round-act" disabled=${saving} onClick=${save}><strong>${t("act.save")}</strong></button></div>`
      : html`${take("act", t("photo.choose"), true)}${take("act main-act", html`<strong>${t("photo.take")}</strong>`)}`}`;
  return html`<${Page} name="photo" title=${t("act.photographed")} back=${`#/lot/${lot.id}`} foot=${foot}>
    <p class="label-code"><span class="code">${lot.label}</span> ${one("protocol", lot.crop)?.botanical ?? lot.crop}</p>
    ${url ? html`<img class="photo-shown" src=${url} alt=${t("photo.as_saved")} />
        <${Field} label=${t("photo.caption")} value=${caption} onInput=${setCaption} />`
      : html`<p class="large">${t("photo.how")}</p>`}
    <p class="quiet">${t("photo.kept")}</p>
  </${Page}>`;
}
