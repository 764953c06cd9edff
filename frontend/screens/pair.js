// @ts-check
/** Pairing this phone by the secret in its link. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { StorageFull } from "../store/database.js";
import { contact, pending, phone, trayCount } from "../store/house.js";
import { askToKeep } from "../store/keeping.js";
import { pair, whoAmI } from "../store/session.js";
import { offlineReady } from "../store/updates.js";
import { html, t } from "../ui/html.js";
import { tryNow } from "../ui/keeper.js";
import { Page } from "../ui/page.js";

// What a link's secret comes to; where it was not heard, the link is good still.
const OF_FAILURE = { "not-allowed": "used", bad: "used", unreachable: "unreachable", broken: "later" };
const PAIRED = ["done", "already"];

/** @param {{secret?: string}} props none: the link did its work, and was taken out of the address */
export function Pair({ secret }) {
  const [state, setState] = useState("doing");
  const [said, setSaid] = useState("");
  const paired = (how) => {
    contact.value = { ...contact.value, state: "starting" };
    // Opened again, a link that did its work would be refused.
    history.replaceState(history.state, "", "#/pair");
    setState(how);
    tryNow();
  };
  const failed = async (error) => {
    console.info("pairing:", error.message);
    if (error instanceof StorageFull) return setState("full");
    const why = secret ? OF_FAILURE[error.kind] ?? "used" : error.kind === "signed-out" ? "needed" : "unreachable";
    if (why === "used" && (await whoAmI().then(() => true, () => false))) return paired("already");
    setSaid(error.problem?.detail ?? "");
    return setState(why === "unreachable" && error.problem ? "later" : why);
  };
  const begin = () => {
    setState("doing");
    setSaid("");
    return secret ? pair(secret, phone()?.name ?? (navigator.platform || "phone")).then(() => paired("done"), failed)
      : whoAmI().then(() => paired("already"), failed);
  };
  useEffect(() => void begin(), [secret]);
  const isPaired = PAIRED.includes(state);
  // The server knows better why: a link that is good still does not pair somebody else's phone.
  const inPlace = state === "used" && said !== "";
  // This touch is the moment at which a browser lets itself be asked to keep what is stored.
  const foot = isPaired ? html`<a class="act main-act" href="#/" onClick=${() => void askToKeep()}><strong>${t("pair.go")}</strong></a>`
    : ["unreachable", "later", "full"].includes(state) && html`<button type="button" class="act main-act" onClick=${begin}><strong>${t("pair.again")}</strong></button>`;
  return html`<${Page} name="pair" title=${t("pair.title")} foot=${foot}><p class="large" role="status">${inPlace ? said : t(`pair.${state}`)}</p>
    ${said && !inPlace && html`<p>${said}</p>`}
    ${isPaired && html`<${Kept} />`}
    ${["used", "needed"].includes(state) && html`<p>${t("pair.how")}</p><a class="act" href="#/signin">${t("signin.instead")}</a>`}
    ${!isPaired && pending.value.length + trayCount.value > 0 && html`<a class="act" href="#/unsent"><strong>${t("saved.here", { n: pending.value.length + trayCount.value })}</strong><small>${t("unsent.file")}</small></a>`}</${Page}>`;
}

/** Whether this phone may go out of reach now: the app and the record are on it. */
function Kept() {
  const kept = offlineReady.value && contact.value.state === "in-touch";
  return html`<p class=${kept ? "well" : "quiet"} role="status">${kept ? html`<strong>${t("pair.kept")}</strong>` : t("pair.keep_open")}</p>`;
}
