// @ts-check
/** A jar whose water rises with time, to a dashed line (its time) and a red one (its limit). @module */
import { html } from "./html.js";

const TOP = 10;
const BOTTOM = 70;

/**
 * @param {{share: number, target: number | null, words: string}} props shares of the limit, 0 to 1
 *   and over; `target` where the dashed line stands
 */
export function Jar({ share, target, words }) {
  const y = (part) => BOTTOM - Math.min(1.08, Math.max(0, part)) * (BOTTOM - TOP);
  return html`<svg class="jar" viewBox="0 0 56 78" width="56" height="78" role="img" aria-label=${words}>
    <rect class="jar-water" x="7" y=${y(share)} width="42" height=${Math.max(0, BOTTOM - y(share))} />
    <path class="jar-glass" d="M10 3 H46 V8 Q50 9 50 14 V66 Q50 72 44 72 H12 Q6 72 6 66 V14 Q6 9 10 8 Z" />
    ${target !== null && html`<path class="jar-target" d=${`M4 ${y(target)} H52`} />`}
    <path class="jar-limit" d=${`M4 ${y(1)} H52`} />
  </svg>`;
}
