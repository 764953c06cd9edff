// @ts-check
/**
 * Days of a year across: what has been is filled, what is foreseen is outlined and hatched, each with
 * the mark of its act; a line stands at today.
 * @module
 */
import { DAY_MS, toMs } from "../core/instants.js";
import { html, t } from "./html.js";

export const WIDTH = 328;
const HEIGHT = 26;
const MARK_PX = 17;

/**
 * A mark for each act, drawn in lines about its middle, 14 wide: no mark stands for two of them.
 * Snow, sun, drop, sprout, leaf, pot; berry, sieve, air, crack.
 * @type {Record<string, string>}
 */
const MARKS = {
  cold: "M0 -6 V6 M-5.2 -3 L5.2 3 M-5.2 3 L5.2 -3",
  warm: "M-2.6 0 a2.6 2.6 0 1 0 5.2 0 a2.6 2.6 0 1 0 -5.2 0 M0 -6.5 V-4.6 M0 4.6 V6.5 M-6.5 0 H-4.6 M4.6 0 H6.5 M-4.6 -4.6 L-3.3 -3.3 M3.3 3.3 L4.6 4.6 M-4.6 4.6 L-3.3 3.3 M3.3 -3.3 L4.6 -4.6",
  soak: "M0 -6.5 C4.6 -1 4.6 1.4 4.6 2 A4.6 4.6 0 0 1 -4.6 2 C-4.6 1.4 -4.6 -1 0 -6.5 Z",
  germinate: "M0 6.5 V-1 M0 -1 C-5.5 -1 -6 -4.5 -6 -6 C-2 -6 0 -4 0 -1 C0 -4 2 -6 6 -6 C6 -4.5 5.5 -1 0 -1",
  up: "M0 6.5 V0 M0 3.5 C-6 3.5 -6 -3 0 -6.5 C6 -3 6 3.5 0 3.5",
  pot: "M-6 -4.5 H6 M-4.8 -4.5 L-3.4 6 H3.4 L4.8 -4.5",
  collect: "M-4.5 2 a4.5 4.5 0 1 0 9 0 a4.5 4.5 0 1 0 -9 0 M0 -2.5 C0 -5 2 -6.5 4.5 -6.5",
  extract: "M-6.5 -5 H6.5 A6.5 6.5 0 0 1 -6.5 -5 M-3.5 4.5 V6.5 M0 4.5 V6.5 M3.5 4.5 V6.5",
  dry: "M-6.5 -3.5 C-3 -7 0 0 3 -3.5 S6 -4 6.5 -3.5 M-6.5 3 C-3 -0.5 0 6.5 3 3 S6 2.5 6.5 3",
  scarify: "M0 -6.5 L-2.5 -2 L2.5 0.5 L-1 6.5",
  sow: "M0 -6.5 L4.2 0 L0 6.5 L-4.2 0 Z",
  seed: "M-6 0 H6",
};

/** The mark of an act. @param {{kind: string, x?: number, y?: number}} props */
export const Mark = ({ kind, x = 0, y = 0 }) => html`<g class=${`mark mark-${kind}`} transform=${`translate(${x} ${y})`}>
  <path class="mark-halo" d=${MARKS[kind]} /><path class="mark-line" d=${MARKS[kind]} /></g>`;

const instant = (day) => toMs(`${day}T00:00:00.000Z`);

/** Days to pixels between two dates, held inside. */
export const scale = (from, to) => (day) => Math.min(1, Math.max(0, (instant(day) - instant(from)) / (instant(to) - instant(from)))) * WIDTH;

/** The hatches that the strips of a page share. */
export const Hatches = () => html`<svg width="0" height="0" class="only-read" aria-hidden="true"><defs>
  <pattern id="foreseen" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="year-hatch" d="M0 0 V7" /></pattern>
  <pattern id="silent" width="5" height="5" patternUnits="userSpaceOnUse"><circle class="year-dot" cx="2.5" cy="2.5" r="1.3" /></pattern></defs></svg>`;

/** The months across; every third where they are narrow. @param {{from: string, to: string, today: string}} props */
export function Months({ from, to, today }) {
  const x = scale(from, to);
  const firsts = monthsBetween(from, to);
  const every = firsts.length > 14 ? 3 : 1;
  return html`<svg class="year-months" viewBox=${`0 0 ${WIDTH} 24`} aria-hidden="true">
    ${firsts.map((day) => html`<path class="year-tick" d=${`M${x(day)} 20 V24`} />`)}
    ${firsts.filter((day) => (Number(day.slice(5, 7)) - 1) % every === 0).map((day) => {
      const words = t(`month.${Number(day.slice(5, 7))}`);
      return html`<text x=${x(day) + 2} y="16">${every > 1 ? words : words.charAt(0)}</text>`;
    })}
    <path class="year-now" d=${`M${x(today)} 19 V24`} /></svg>`;
}

/**
 * A bar that is foreseen runs from the middle of its first days to the middle of its last, so that
 * one follows the other; the thin line under the last is from its earliest to its latest end. `whole`
 * draws it from its very first day to its very last instead.
 * @param {{whole?: boolean, past?: any[], ahead: any[], silent?: any[], from: string, to: string, today: string, name: string}} props
 */
export function YearStrip({ whole = false, past = [], ahead, silent = [], from, to, today, name }) {
  const x = scale(from, to);
  const seen = (start, end) => end >= from && start <= to;
  const last = ahead.findLast((one) => one.kind !== "sow");
  return html`<svg class="year-strip" viewBox=${`0 0 ${WIDTH} ${HEIGHT}`} role="img" aria-label=${name}>
    ${monthsBetween(from, to).map((day) => html`<path class="year-grid" d=${`M${x(day)} 0 V${HEIGHT}`} />`)}
    ${silent.filter((span) => seen(span.from, span.to)).map((span) => html`<rect fill="url(#silent)" x=${x(span.from)} y="3" width=${x(span.to) - x(span.from)} height="18" />`)}
    ${past.filter((one) => seen(one.from, one.to)).map((one) => html`<${Bar} key=${`${one.kind}${one.from}`} kind=${one.kind} x1=${x(one.from)} x2=${x(one.to)} done=${true} />`)}
    ${ahead.filter((one) => seen(one.starts[0], one.ends[1])).map((one) => html`<${Ahead} key=${`${one.kind}${one.starts[0]}ahead`} bar=${one} x=${x} whole=${whole} last=${one === last} />`)}
    <path class="year-now" d=${`M${x(today)} 0 V${HEIGHT}`} /></svg>`;
}

function Ahead({ bar, x, whole, last }) {
  const [begins, ends] = [bar.starts, bar.ends].map((days) => days.map(x));
  const middle = ([one, other]) => (one + other) / 2;
  if (whole) return html`<${Bar} kind=${bar.kind} x1=${begins[0]} x2=${ends[1]} done=${false} />`;
  if (bar.kind === "sow") return html`<path class="bar-sowing" d=${`M${middle(begins)} 4 l5 8 l-5 8 l-5 -8 Z`} />`;
  return html`<${Bar} kind=${bar.kind} x1=${middle(begins)} x2=${middle(ends)} done=${false} />
    ${last && ends[1] - ends[0] > 4 && html`<path class="year-range" d=${`M${ends[0]} 24.5 H${ends[1]}`} />`}`;
}

function Bar({ kind, x1, x2, done }) {
  const wide = Math.max(2, x2 - x1);
  const low = done && ["seed", "sow"].includes(kind);
  const [y, height] = low ? [9, 6] : [3, 18];
  return html`<g class=${`bar bar-${kind} ${done ? "bar-done" : "bar-ahead"}`}>
    <rect x=${x1} y=${y} width=${wide} height=${height} rx="2" fill=${done ? undefined : "url(#foreseen)"} />
    ${wide >= MARK_PX && !low && html`<${Mark} kind=${kind} x=${x1 + wide / 2} y=${12} />`}</g>`;
}

/** The first of each month between two dates. */
function monthsBetween(from, to) {
  const found = [];
  let [year, month] = from.split("-").map(Number);
  const rows = Math.ceil((instant(to) - instant(from)) / DAY_MS / 28) + 1;
  for (let n = 0; n < rows; n += 1) {
    const day = `${year}-${String(month).padStart(2, "0")}-01`;
    if (day >= from && day <= to) found.push(day);
    [year, month] = month === 12 ? [year + 1, 1] : [year, month + 1];
  }
  return found;
}
