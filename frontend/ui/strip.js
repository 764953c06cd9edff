// @ts-check
/**
 * A wait as a strip: blank, then hatched where the crop's range lies, hatched the other way past
 * it; a needle at today, a dot at the last look, a dashed mark at day 42 of a cold.
 * @module
 */
import { DAY_MS, toMs } from "../core/instants.js";
import { html } from "./html.js";

const WIDTH = 300;
const SIX_WEEKS = 42;

/**
 * @param {{since: string, now: string, look: string | null, min: number | null, max: number | null,
 *   sixWeeks: boolean}} props
 */
export function Strip({ since, now, look, min, max, sixWeeks }) {
  const day = Math.floor((toMs(now) - toMs(since)) / DAY_MS);
  const end = Math.max(day + 6, (max ?? 0) * 1.12, sixWeeks ? SIX_WEEKS + 8 : 0, 14);
  const x = (days) => Math.min(WIDTH - 2, Math.max(2, (days / end) * WIDTH));
  const looked = look && look >= since ? (toMs(look) - toMs(since)) / DAY_MS : null;
  const marks = [
    ...(sixWeeks ? [SIX_WEEKS] : []),
    ...(min !== null ? [min] : []),
    ...(max !== null ? [max] : []),
  ].filter((mark, index, all) => all.indexOf(mark) === index && x(mark) < WIDTH - 4);
  return html`<svg class="strip" viewBox=${`0 0 ${WIDTH} 58`} role="img" aria-label=${`day ${day}`}>
    <defs>
      <pattern id="ready" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
        <path class="hatch-ready" d="M0 0 V9" /></pattern>
      <pattern id="past" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)">
        <path class="hatch-past" d="M0 0 V9" /></pattern>
    </defs>
    ${max !== null && html`<rect fill="url(#ready)" x=${x(min ?? 0)} y="9" width=${x(max) - x(min ?? 0)} height="22" />`}
    ${max !== null && html`<rect fill="url(#past)" x=${x(max)} y="9" width=${WIDTH - x(max)} height="22" />`}
    <rect class="strip-frame" x="1" y="9" width=${WIDTH - 2} height="22" />
    ${sixWeeks && html`<path class="strip-six" d=${`M${x(SIX_WEEKS)} 9 V31`} />`}
    ${looked !== null && html`<circle class="strip-look" cx=${x(looked)} cy="20" r="5" />`}
    <path class="strip-needle" d=${`M${x(day)} 2 V38`} />
    ${spread(marks, x).map(([mark, at]) => html`<text class="strip-mark" x=${at} y="53" text-anchor="middle">${mark}</text>`)}
  </svg>`;
}

/** Marks too close to read are moved apart. */
function spread(marks, x) {
  let last = -40;
  return marks.sort((a, b) => a - b).map((mark) => {
    const at = Math.min(WIDTH - 16, Math.max(14, x(mark), last + 30));
    last = at;
    return [Math.round(mark), at];
  });
}
