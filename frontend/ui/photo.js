// @ts-check
/** A record's picture: small where it is on this phone, large at a touch, fetched when asked for. @module */
import { useEffect, useRef, useState } from "../vendor/preact-hooks.js";
import { unsentPhotos } from "../store/house.js";
import { fetchPhoto, photoHere } from "../store/photos.js";
import { html, t } from "./html.js";

/** @param {{sha256: any, caption: string}} props */
export function Photo({ sha256, caption }) {
  const name = String(sha256).toLowerCase();
  const [blob, setBlob] = useState(/** @type {Blob | null | undefined} */ (undefined));
  const [said, setSaid] = useState("");
  const [large, setLarge] = useState(false);
  const missing = (error) => {
    setBlob(null);
    setSaid(error.message);
  };
  useEffect(() => void photoHere(name).then(setBlob, missing), [name]);
  const url = useUrl(blob);
  const fetchIt = async () => {
    setSaid(t("photo.coming"));
    await fetchPhoto(name).then((found) => {
      setBlob(found);
      setSaid("");
    }, (error) => setSaid(t(error.kind === "bad" ? "photo.not_there" : "photo.out_of_reach")));
  };
  const waits = unsentPhotos.value.some((one) => one.sha256 === name);
  if (blob === null) {
    return html`<div class="photo"><button type="button" class="act" onClick=${fetchIt}>${t("photo.fetch")}</button>
      <p role="status">${said || t("photo.elsewhere")}</p></div>`;
  }
  return html`<div class="photo">${url && html`<button type="button" class="photo-small" aria-label=${t("photo.larger", { what: caption || t("act.photographed") })}
      onClick=${() => setLarge(true)}><img src=${url} alt="" /></button>`}
    ${waits && html`<p class="quiet">${t("photo.waits")}</p>`}
    ${large && html`<${Large} url=${url} caption=${caption} onClose=${() => setLarge(false)} />`}</div>`;
}

function Large({ url, caption, onClose }) {
  const dialog = useRef(/** @type {any} */ (null));
  useEffect(() => dialog.current?.showModal(), []);
  return html`<dialog class="photo-large" ref=${dialog} onClose=${onClose} aria-label=${caption || t("act.photographed")}>
    <img src=${url} alt=${caption || t("act.photographed")} />
    ${caption && html`<p>${caption}</p>`}
    <button type="button" class="act" onClick=${() => dialog.current.close()}>${t("photo.close")}</button></dialog>`;
}

/** An address for octets in memory, given back when they are not shown any more. @param {Blob | null | undefined} blob */
export function useUrl(blob) {
  const [url, setUrl] = useState("");
  useEffect(() => {
    if (!blob) return undefined;
    const made = URL.createObjectURL(blob);
    setUrl(made);
    return () => URL.revokeObjectURL(made);
  }, [blob]);
  return blob ? url : "";
}
