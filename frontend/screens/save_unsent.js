// @ts-check
/** Saving a file of what is unsent: works with no network, a full storage, signed out, or amid a fault. @module */
import { useState } from "../vendor/preact-hooks.js";
import { localText } from "../store/clock.js";
import { savedFile } from "../store/saved_file.js";
import { html, t } from "../ui/html.js";
import { saveFile } from "./save_file.js";

/** Plain text: every phone opens it, every way of sending takes it. Its day is the phone's own. @param {Date} moment */
export const nameAt = (moment) => `lathhouse-unsent-${localText(moment).slice(0, 16).replace(/[T:]/g, "-")}.txt`;
const TYPE = "text/plain";

async function toDisk(name, text) {
  saveFile(name, text, TYPE);
}

async function toShare(name, text) {
  await navigator.share({ files: [new File([text], name, { type: TYPE })], title: name });
}

const canShare = () => Boolean(navigator.canShare?.({ files: [new File([""], "a.txt", { type: TYPE })] }));

export function SaveUnsent() {
  const [said, setSaid] = useState(/** @type {{words: string, bad: boolean} | null} */ (null));
  const put = (way) => async () => {
    try {
      const name = nameAt(new Date());
      const { text, count, photos, left_out } = await savedFile();
      await way(name, text);
      const words = [t("unsent.saved", { n: count, name }), photos && t("unsent.saved_photos", { n: photos }), left_out && t("unsent.photos_left_out", { n: left_out })];
      setSaid({ words: words.filter(Boolean).join(" "), bad: false });
    } catch (error) {
      // Whoever closes the sheet of ways to send has not met a fault.
      if (error?.name !== "AbortError") setSaid({ words: t("unsent.unreadable", { detail: String(error?.message ?? error) }), bad: true });
    }
  };
  return html`<button type="button" class="act" onClick=${put(toDisk)}>${t("unsent.file")}</button>
    ${canShare() && html`<button type="button" class="act" onClick=${put(toShare)}>${t("unsent.share")}</button>`}
    ${said && html`<p role=${said.bad ? "alert" : "status"} class=${said.bad ? "error" : ""}>${said.words}</p>`}`;
}
