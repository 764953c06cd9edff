// @ts-check
/** A bucket's tag, to print, to copy, or to write off the screen; and the end of the bucket. @module */
import { useState } from "../vendor/preact-hooks.js";
import { shown } from "../core/amounts.js";
import { solutionCode } from "../core/solutions.js";
import { toMs, toText, HOUR_MS } from "../core/instants.js";
import { USABLE_HOURS } from "../core/mixing.js";
import { lots, now, one } from "../store/house.js";
import { may } from "../store/may.js";
import { record } from "../store/record.js";
import { html, t } from "../ui/html.js";
import { when } from "../ui/local.js";
import { Page } from "../ui/page.js";
import { whoWords } from "../ui/who_words.js";
import { labelWords, volumeWords } from "./mixing_draft.js";
import { tellTrouble } from "./walking.js";

/** @param {{id: string}} props */
export function Tag({ id }) {
  const bucket = one("solution", id);
  const [copied, setCopied] = useState("");
  if (!bucket?.mixed_at) return html`<${Page} name="tag" title=${t("tag.title")} back="#/bench"><p class="large">${t("tag.unknown")}</p></${Page}>`;
  const lines = linesOf(bucket);
  const copy = () => navigator.clipboard.writeText(lines.map(([name, words]) => `${name}: ${words}`).join("\n"))
    .then(() => setCopied(t("tag.copied")), () => setCopied(t("tag.copy_denied")));
  const discard = () => record("solution_discarded", null, { solution: id }).catch(tellTrouble);
  const foot = html`${copied && html`<p role="status">${copied}</p>`}
    <div class="three"><button type="button" class="act" onClick=${() => print()}>${t("tag.print")}</button>
      <button type="button" class="act" onClick=${copy}>${t("tag.copy")}</button>
      <a class="act main-act" href="#/bench"><strong>${t("tag.to_bench")}</strong></a></div>`;
  return html`<${Page} name="tag" title=${t("tag.title")} back="#/bench" foot=${foot}>
    ${bucket.discarded_at ? html`<p class="caution grave">${t("tag.gone", { time: when(bucket.discarded_at) })}</p>` : old(bucket) && html`<p class="caution grave">${t("tag.old")}</p>`}
    <article class="tag"><h2>${t("tag.content")}</h2>
      <p class="tag-strength"><strong>${shown(bucket.ppm ?? 0, 4)} ppm</strong> ${t("mix.chlorine")}</p>
      <dl>${lines.slice(1).map(([name, words]) => html`<dt>${name}</dt><dd>${words}</dd>`)}</dl>
      <p>${t("tag.warning")}</p></article>
    <p>${t("tag.on_bucket")}</p>
    ${!bucket.discarded_at && may("solution_discarded") && html`<section><h2>${t("tag.over")}</h2><p>${t("tag.dispose")} <a href="#/cautions/bleach">${t("mix.all_cautions")}</a></p>
      <button type="button" class="act" onClick=${discard}>${t("act.solution_discarded")}</button></section>`}
  </${Page}>`;
}

const oldAt = (bucket) => toText(toMs(bucket.mixed_at) + USABLE_HOURS * HOUR_MS);
const old = (bucket) => now.value >= oldAt(bucket);

/** What a tag says, as name and words. */
function linesOf(bucket) {
  const used = (bucket.used_for ?? []).map((lot) => lots.value.get(lot.lot ?? lot)?.label ?? "?");
  const by = whoWords(bucket.by, bucket.by_said);
  const of = labelWords(bucket);
  return [
    [t("tag.content"), t("tag.ppm", { ppm: shown(bucket.ppm ?? 0, 4) })],
    [t("tag.batch"), solutionCode(bucket.id)],
    [t("tag.mixed"), by ? t("tag.mixed_by", { when: when(bucket.mixed_at), who: by }) : when(bucket.mixed_at)],
    [t("tag.old_after"), when(oldAt(bucket))],
    [t("tag.made_of"), t("tag.parts", { product: volumeWords(bucket.product_ml), water: volumeWords(bucket.water_ml), label: of })],
    ...(used.length ? [[t("tag.used_for"), used.join(", ")]] : []),
  ];
}
