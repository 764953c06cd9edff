// @ts-check
/** Pairing this phone by the secret in its link. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { StorageFull } from "../store/database.js";
import { contact, pending, trayCount } from "../store/house.js";
import { askToKeep } from "../store/keeping.js";
import { pair } from "../store/session.js";
import { html, t } from "../ui/html.js";
import { tryNow } from "../ui/keeper.js";
import { Page } from "../ui/page.js";

/** @param {{secret: string}} props */
export function Pair({ secret }) {
  const [state, setState] = useState("doing");
  useEffect(() => {
    pair(secret, navigator.platform || "phone").then(() => {
      contact.value = { ...contact.value, state: "starting" };
      setState("done");
      tryNow();
    }, (error) => {
      console.info("pairing:", error.message);
      setState(error instanceof StorageFull ? "full" : "failed");
    });
  }, [secret]);
  // This touch is the moment at which a browser lets itself be asked to keep what is stored.
  const foot = state === "done" && html`<a class="act main-act" href="#/" onClick=${() => void askToKeep()}><strong>${t("pair.go")}</strong></a>`;
  return html`<${Page} name="pair" title=${t("pair.title")} foot=${foot}><p class="large" role="status">${t(`pair.${state}`)}</p>
    ${state === "failed" && html`<p>${t("pair.how")}</p>`}
    ${state !== "done" && pending.value.length + trayCount.value > 0 && html`<a class="act" href="#/unsent"><strong>${t("saved.here", { n: pending.value.length + trayCount.value })}</strong><small>${t("unsent.file")}</small></a>`}</${Page}>`;
}
