// @ts-check
/** A loss on one screen: how many, of how many on record, and why. @module */
import { useState } from "../vendor/preact-hooks.js";
import { likelyCauses } from "../ui/acts.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Field, Keys } from "../ui/number.js";

const CAUSE = "cause";

/** @param {{lot: any, data: Record<string, any>, causes: string[], set: (name: string) => (value: any) => void}} props */
export function Loss({ lot, data, causes, set }) {
  const [typing, setTyping] = useState(false);
  const [all, setAll] = useState(false);
  const likely = likelyCauses(lot);
  const shown = all || (data.cause && !likely.includes(data.cause)) ? causes : likely;
  const label = t("field.quantity");
  const n = data.quantity ?? 0;
  return html`<section><h2>${label}</h2>
      <div class="figure-row" role="group" aria-label=${label}>
        <button type="button" class="act step" aria-label=${t("count.less", { label })} onClick=${() => set("quantity")(Math.max(0, n - 1))}>−</button>
        <button type="button" class="act figure" aria-expanded=${typing} onClick=${() => setTyping(!typing)}>
          <output aria-live="polite">${n.toLocaleString("en-AU")}</output><small>${t("loss.of", { n: Number(data.out_of ?? 0).toLocaleString("en-AU") })}</small></button>
        <button type="button" class="act step" aria-label=${t("count.more", { label })} onClick=${() => set("quantity")(n + 1)}>+</button></div>
      ${typing ? html`<${Keys} value=${n} onChange=${set("quantity")} />
        <${Field} label=${t("loss.out_of")} value=${data.out_of} inputmode="decimal" onInput=${set("out_of")} />
        <button type="button" class="act" onClick=${() => setTyping(false)}>${t("loss.typed")}</button>` : html`<p class="quiet">${t("loss.touch")}</p>`}
    </section>
    <div class="causes"><${Choice} name=${t("field.cause")} answers=${shown.map((word) => [word, t(`${CAUSE}.${word}`)])} value=${data.cause} onChoose=${set("cause")} />
      ${shown !== causes && html`<button type="button" class="act" onClick=${() => setAll(true)}>${t("loss.other")}</button>`}</div>`;
}
