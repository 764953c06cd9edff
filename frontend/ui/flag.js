// @ts-check
/** Flags: level by shape, word and colour. Empty pennant due, half-filled late, full alarm. @module */
import { html, t } from "./html.js";

/** A flag of a level. @param {{level: string}} props */
export function Flag({ level }) {
  return html`<svg class=${`flag flag-${level}`} viewBox="0 0 24 30" aria-hidden="true" width="22" height="28">
    <path class="stake" d="M3 1 V29" />
    <path class="cloth" d="M4.5 3 L22 9 L4.5 15 Z" />
    ${level === "late" && html`<path class="half" d="M4.5 9 H22 L4.5 15 Z" />`}
  </svg>`;
}

/** How many of each level, worst first, each with its flag. @param {{findings: any[]}} props */
export function Flags({ findings }) {
  const levels = ["alarm", "late", "due"];
  const counts = levels.map((level) => [level, findings.filter((one) => one.level === level).length]);
  return html`<span class="flags">
    ${counts.filter(([, n]) => n).map(([level, n]) => html`<span class=${`level level-${level}`}>
      <${Flag} level=${level} />${t("level.count", { n, level: t(`level.${level}`) })}
    </span>`)}
  </span>`;
}
