// @ts-check
/** Sending a file that a phone has saved of what it could not send. @module */
import { useState } from "../vendor/preact-hooks.js";
import { sendSavedFile } from "../store/sending.js";
import { html, t } from "../ui/html.js";
import { tryNow } from "../ui/keeper.js";
import { when } from "../ui/local.js";
import { Page } from "../ui/page.js";

const SHOWN_MAX = 50;

export function TakeFile() {
  const [file, setFile] = useState(/** @type {{name: string, text: string} | null} */ (null));
  const [said, setSaid] = useState(/** @type {any} */ (null));
  const [error, setError] = useState("");
  const [busy, setBusy] = useState(false);
  const choose = async (event) => {
    const [chosen] = event.currentTarget.files ?? [];
    setSaid(null);
    setError("");
    if (chosen) await chosen.text().then((text) => setFile({ name: chosen.name, text }), (problem) => setError(t("take.unreadable", { detail: problem.message })));
  };
  const send = async () => {
    setBusy(true);
    setError("");
    await sendSavedFile(file?.text ?? "").then(setSaid, (problem) => setError(wordsOf(problem)));
    setBusy(false);
    tryNow();
  };
  const foot = said ? html`<a class="act main-act" href="#/unsent"><strong>${t("take.back")}</strong></a>` : html`${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act main-act" disabled=${!file || busy} onClick=${send}>
      <strong>${t(busy ? "take.sending" : "take.send")}</strong><span>${file ? file.name : t("take.choose_first")}</span></button>`;
  return html`<${Page} name="take" title=${t("take.title")} back="#/unsent" foot=${foot}>
    <p>${t("take.how")}</p>
    <label class="field"><span>${t("take.choose")}</span><input type="file" accept=".txt,.jsonl,text/plain" onChange=${choose} /></label>
    ${said && html`<${Taken} said=${said} />`}
  </${Page}>`;
}

function wordsOf(problem) {
  if (problem.kind === "unreachable") return t("take.offline");
  if (problem.kind === "signed-out") return t("take.signed_out");
  return problem.message;
}

/** What has become of each record. */
function Taken({ said }) {
  const { stored, already, refused } = said;
  return html`<section role="status"><h2>${t("take.done")}</h2>
    <p class="quiet">${t("take.of", { phone: said.phone ?? said.device.slice(0, 8), when: when(said.made_at) })}</p>
    <ul class="cards tally"><li><strong>${stored}</strong> ${t("take.stored")}</li><li><strong>${already}</strong> ${t("take.already")}</li>
      <li><strong>${refused.length}</strong> ${t("take.refused")}</li></ul>
    ${said.photos > 0 && html`<p>${t("take.photos", { n: said.photos })}</p>`}
    ${refused.length === 0 && html`<p>${t("take.all_there")}</p>`}
    ${refused.slice(0, SHOWN_MAX).map((one) => html`<article key=${one.id} class="alert"><p><strong>${named(one.kind)}</strong> <small>${one.observed_at ? when(new Date(one.observed_at).toISOString()) : ""}</small></p>
      <p class="error">${one.problem.detail ?? one.problem.title}</p></article>`)}
    ${refused.length > SHOWN_MAX && html`<p class="quiet">${t("unsent.more", { n: refused.length - SHOWN_MAX })}</p>`}</section>`;
}

const named = (kind) => (kind ? t(`act.${kind}`).replace(/^act\./, "") : t("take.no_kind"));
