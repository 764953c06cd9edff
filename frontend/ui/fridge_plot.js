// @ts-check
/** A chamber's days as lowest to highest, its band behind them, each lot's chill under them. @module */
import { DAY_MS, toMs, toText } from "../core/instants.js";
import { html, t } from "./html.js";
import { date, degrees, inDegrees } from "./local.js";

const WIDTH = 320;
const LEFT = 34;
const HEIGHT = 150;
const LANE = 30;
const AXIS = 22;
const TICKS = 4;

/**
 * @param {{days: any[], settings: any, chills: {label: string, from: string, to: string}[], now: string, span: number}} props
 */
export function FridgePlot({ days, settings, chills, now, span }) {
  const first = toMs(`${toText(toMs(now) - (span - 1) * DAY_MS).slice(0, 10)}T00:00:00.000Z`);
  const shown = days.filter(([day]) => toMs(`${day}T00:00:00.000Z`) >= first);
  const lows = [settings.low_c - 1, ...shown.map(([, low]) => low)];
  const highs = [settings.high_c + 1, ...shown.map(([, , high]) => high)];
  const [least, most] = [Math.floor(Math.min(...lows)), Math.ceil(Math.max(...highs))];
  const x = (ms) => LEFT + Math.min(1, Math.max(0, (ms - first) / (span * DAY_MS))) * (WIDTH - LEFT - 4);
  const y = (temp) => 6 + ((most - temp) / (most - least)) * (HEIGHT - 12);
  const height = HEIGHT + AXIS + 8 + chills.length * LANE;
  const inside = (low, high) => low >= settings.low_c && high <= settings.high_c;
  return html`<svg class="fridge-plot" viewBox=${`0 0 ${WIDTH} ${height}`} role="img" aria-label=${t("fridge.plot", { n: span })}>
    <rect class="plot-band" x=${LEFT} y=${y(settings.high_c)} width=${WIDTH - LEFT} height=${y(settings.low_c) - y(settings.high_c)} />
    <path class="plot-aim" d=${`M${LEFT} ${y(settings.aim_c)} H${WIDTH}`} />
    ${[settings.low_c, settings.high_c].map((temp) => html`<text x="0" y=${y(temp) + 5}>${inDegrees(temp)}${degrees().charAt(0)}</text>`)}
    ${shown.map(([day, low, high]) => {
      const at = x(toMs(`${day}T12:00:00.000Z`));
      return html`<path class=${inside(low, high) ? "plot-range" : "plot-out"} d=${`M${at} ${y(low) + 2.5} V${y(high) - 2.5}`} />`;
    })}
    <path class="plot-axis" d=${`M${LEFT} 0 V${HEIGHT} H${WIDTH}`} />
    ${Array.from({ length: TICKS }, (_, at) => {
      const ms = first + Math.round((at * span) / TICKS) * DAY_MS;
      return html`<path class="plot-axis" d=${`M${x(ms)} ${HEIGHT} v5`} /><text x=${x(ms)} y=${HEIGHT + 18}>${date(toText(ms).slice(0, 10))}</text>`;
    })}
    ${chills.map(({ label, from, to }, lane) => html`<path class="plot-chill" d=${`M${x(toMs(from))} ${HEIGHT + AXIS + 26 + lane * LANE} H${x(toMs(to))}`} />
      <text x=${LEFT} y=${HEIGHT + AXIS + 16 + lane * LANE}>${label}</text>`)}
  </svg>`;
}
