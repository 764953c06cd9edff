// @ts-check
/** Pairing this phone by the secret in its link. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { contact } from "../store/house.js";
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
      setState("failed");
    });
  }, [secret]);
  const foot = state === "done" && html`<a class="act main-act" href="#/"><strong>${t("pair.go")}</strong></a>`;
  return html`<${Page} name="pair" title=${t("pair.title")} foot=${foot}><p class="large" role="status">${t(`pair.${state}`)}</p>
    ${state === "failed" && html`<p>${t("pair.how")}</p>`}</${Page}>`;
}
