// @ts-check
/** A jug drawn to scale: water below, the product above it. @module */
import { html, t } from "./html.js";

const TOP = 40;
const BOTTOM = 218;
const LEAST = 4;

/** @param {{product_ml: number, water_ml: number}} props */
export function Jug({ product_ml: product, water_ml: water }) {
  const height = BOTTOM - TOP;
  const share = product / (product + water);
  // A thin layer stays visible; what it is thinner than that, the figures say.
  const layer = Math.min(height, Math.max(LEAST, share * height));
  const surface = TOP + layer;
  return html`<svg class="jug" viewBox="0 0 140 230" role="img" aria-label=${t("mix.jug", { percent: Math.round(share * 100) })}>
    <rect class="jug-water" x="6" y=${surface} width="98" height=${BOTTOM - surface} />
    <rect class="jug-product" x="6" y=${TOP} width="98" height=${layer} />
    <path class="jug-glass" d="M5 6 V212 Q5 220 13 220 H97 Q105 220 105 212 V18 L97 6 Z" />
    <path class="jug-glass" d="M105 48 H118 Q130 48 130 60 V126 Q130 138 118 138 H105" />
    <path class="jug-line" d=${`M0 ${TOP} H110 M0 ${surface} H110`} />
    ${layer > 22 && html`<text x="16" y=${TOP + layer / 2 + 6}>${t("mix.bleach")}</text>`}
    ${BOTTOM - surface > 22 && html`<text x="16" y=${surface + (BOTTOM - surface) / 2 + 6}>${t("mix.water")}</text>`}
  </svg>`;
}
