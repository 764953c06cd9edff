// @ts-check
/** The control that opens the camera. The whole of it is the file field, so that a thumb cannot miss. @module */
import { useState } from "../vendor/preact-hooks.js";
import { html, t } from "./html.js";
import { NeedsSealedLine, smallPhoto } from "./photo_file.js";

/**
 * @param {{style: string, onPhoto: (photo: {blob: Blob, data: any}) => void, onTrouble: (words: string) => void,
 *   children?: any}} props `onTrouble` gets "" when all is well again
 */
export function TakePhoto({ style, onPhoto, onTrouble, children }) {
  const [busy, setBusy] = useState(false);
  const choose = async (event) => {
    const field = event.currentTarget;
    const [file] = field.files ?? [];
    if (!file) return;
    setBusy(true);
    onTrouble("");
    await smallPhoto(file).then(onPhoto, (error) => onTrouble(wordsOf(error)));
    // The same picture may be chosen again.
    field.value = "";
    setBusy(false);
  };
  return html`<label class=${`${style} take-photo`}>${busy ? t("photo.busy") : children}
    <input type="file" accept="image/*" capture="environment" disabled=${busy} onChange=${choose} /></label>`;
}

const wordsOf = (error) => (error instanceof NeedsSealedLine ? t("photo.needs_sealed") : t("photo.unreadable", { detail: error.message }));
