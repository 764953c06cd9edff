// @ts-check
/** The control that opens the camera, or the pictures that are on the phone. The whole of it is the file field, so that a thumb cannot miss. @module */
import { useState } from "../vendor/preact-hooks.js";
import { html, t } from "./html.js";
import { NeedsSealedLine, smallPhoto } from "./photo_file.js";

/**
 * @param {{style: string, onPhoto: (photo: {blob: Blob, data: any}) => void, onTrouble: (words: string) => void,
 *   children?: any, taken?: boolean}} props `onTrouble` gets "" when all is well again; `taken`: one that
 *   was taken before
 */
export function TakePhoto({ style, onPhoto, onTrouble, children, taken = false }) {
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
    <input type="file" accept="image/*" capture=${taken ? undefined : "environment"} disabled=${busy} onChange=${choose} /></label>`;
}

/** What the browser says of it is for who mends the app, and no help to who took the picture. */
function wordsOf(error) {
  console.info("picture:", error.message);
  return t(error instanceof NeedsSealedLine ? "photo.needs_sealed" : "photo.unreadable");
}
