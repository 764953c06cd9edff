// @ts-check
/** Emptying this phone: offered once it is let in no more, refused while anything on it is unsent. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { emptyPhone, unsentCount } from "../store/emptying.js";
import { contact } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { Page } from "../ui/page.js";
import { SaveUnsent } from "./save_unsent.js";
import { tellTrouble } from "./walking.js";

export function EmptyPhone() {
  const [left, setLeft] = useState(/** @type {number | null} */ (null));
  useEffect(() => void unsentCount().then(setLeft, tellTrouble), []);
  // The app's own files went too: what is shown next comes from the server.
  const empty = () => emptyPhone().then((unsent) => (unsent ? setLeft(unsent) : location.replace("/?emptied")), tellTrouble);
  const out = contact.value.state === "signed-out";
  const foot = out && left === 0 && html`<button type="button" class="act main-act" onClick=${empty}><strong>${t("empty.do")}</strong></button>`;
  return html`<${Page} name="empty" title=${t("empty.title")} back="#/unsent" foot=${foot}>
    <p>${t("empty.what")}</p>
    ${!out && html`<p class="large">${t("empty.let_in")}</p><a class="act" href="#/passphrase"><strong>${t("signin.leave")}</strong></a>`}
    ${out && left > 0 && html`<section><p class="large">${t("empty.unsent", { n: left })}</p><p>${t("empty.unsent_do")}</p><${SaveUnsent} /></section>`}
    ${out && left === 0 && html`<p class="large">${t("empty.all_sent")}</p>`}
  </${Page}>`;
}
