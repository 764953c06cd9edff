// @ts-check
/** A forecast pasted, or chosen as a file: each of its figures becomes a record of this phone. @module */
import { useState } from "../vendor/preact-hooks.js";
import { readForecast } from "../core/forecast_file.js";
import { recordAll } from "../store/record.js";
import { html, t } from "../ui/html.js";
import { say } from "../ui/sentence.js";
import { offerUndo, tellTrouble } from "./walking.js";

const EXAMPLE = "date,low_c,high_c\n2026-09-10,2,17";

/** @param {{onDone: () => void}} props */
export function ForecastFile({ onDone }) {
  const [text, setText] = useState("");
  const [said, setSaid] = useState(/** @type {string[]} */ ([]));
  const take = async () => {
    const { readings, problems } = readForecast(text);
    setSaid(problems.map(say));
    if (!readings.length) return;
    const kept = await recordAll(readings.map((data) => ({ kind: "read", lot: null, data }))).catch(tellTrouble);
    if (!kept) return;
    offerUndo(kept, { id: null, label: t("frost.file_label") }, [t("frost.figures", { n: readings.length })]);
    if (!problems.length) onDone();
  };
  const choose = async (event) => {
    const file = event.currentTarget.files?.[0];
    if (file) setText(await file.slice(0, 100_000).text());
  };
  return html`<section class="figure-form"><h2>${t("frost.file")}</h2><p>${t("frost.file_how")}</p>
    <label class="field"><span>${t("frost.paste")}</span><textarea rows="5" placeholder=${EXAMPLE} value=${text} onInput=${(event) => setText(event.currentTarget.value)}></textarea></label>
    <label class="field"><span>${t("frost.choose")}</span><input type="file" accept=".csv,.json,text/csv,application/json" onChange=${choose} /></label>
    ${said.map((problem) => html`<p key=${problem} class="error" role="alert">${problem}</p>`)}
    <div class="two"><button type="button" class="act" onClick=${onDone}>${t("act.cancel")}</button>
      <button type="button" class="act main-act" disabled=${!text.trim()} onClick=${take}><strong>${t("frost.take")}</strong></button></div></section>`;
}
