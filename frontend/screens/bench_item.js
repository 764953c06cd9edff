// @ts-check
/** One running step as a row: a jar, its figures, and the way on in one tap. @module */
import { maySanitise } from "../core/bench.js";
import { DAY_MS, HOUR_MS, MINUTE_MS, toMs } from "../core/instants.js";
import { one } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { Jar } from "../ui/jar.js";
import { when } from "../ui/local.js";

// What asks for more than a tap goes by its own form.
const FORMS = ["sown", "sanitise_started"];
// Where seed is still in the hand: it can be tested, and could be dipped.
const SEED = ["soak", "drained"];
const WHERE = { cold_started: { where: "fridge" }, warm_started: { where: "indoors" } };

/** @param {{row: any, now: string, onGo: (lot: any, kinds: string[], data?: any) => void}} props */
export function BenchItem({ row, now, onGo }) {
  const { lot, kind } = row;
  const run = toMs(now) - toMs(row.started_at);
  const limit = row.limit_at ? toMs(row.limit_at) - toMs(row.started_at) : null;
  const target = row.target_at ? toMs(row.target_at) - toMs(row.started_at) : null;
  const whole = limit ?? target ?? Math.max(run, 1);
  const level = row.limit_at && now >= row.limit_at ? "alarm" : row.target_at && now >= row.target_at ? "late" : "";
  return html`<li class="bench-row">
    <${Jar} share=${run / whole} target=${target === null ? null : target / whole} words=${t("bench.jar", { run: long(run) })} />
    <div class="bench-words"><a href=${`#/lot/${lot.id}`}><span class="code">${lot.label}</span> <strong>${one("protocol", lot.crop)?.botanical ?? lot.crop}</strong></a>
      <p class="bench-run"><b>${long(run)}</b> ${t(`bench.kind.${kind}`)}</p>
      <p class=${level ? `level-${level} bench-left` : "bench-left"}>${left(row, now)}</p>
      ${kind === "soak" && html`<p class=${row.still_at <= now ? "level-late" : "quiet"}>${t(row.still_at <= now ? "bench.still_now" : "bench.still", { when: when(row.still_at) })}</p>`}</div>
    ${SEED.includes(kind) && !maySanitise(lot) && html`<p class="caution grave bench-note">${t("act.acid_refused")}</p>`}
    <div class="bench-acts">${row.next.map((kinds, index) => html`<${Onward} key=${kinds.join()} lot=${lot} kinds=${kinds} first=${index === 0} onGo=${onGo} />`)}
      ${kind === "soak" && html`<button type="button" class="act" onClick=${() => onGo(lot, ["water_changed"])}>${t("act.water_changed")}</button>
        <button type="button" class="act" onClick=${() => onGo(lot, ["aerated"])}>${t("act.aerated")}</button>`}
      ${SEED.includes(kind) && !maySanitise(lot) && html`<button type="button" class="act" onClick=${() => onGo(lot, ["rinsed_neutral"])}>${t("act.rinsed_neutral")}</button>`}
      ${SEED.includes(kind) && html`<a class="act" href=${`#/act/tested/${lot.id}`}>${t("bench.test")}</a>`}</div></li>`;
}

/** One way on: a tap where nothing more is asked, else the form that asks. */
function Onward({ lot, kinds, first, onGo }) {
  const last = kinds.at(-1);
  const words = t(`bench.go.${kinds.join("+")}`);
  const look = first ? "act main-act" : "act";
  if (FORMS.includes(last)) return html`<a class=${look} href=${last === "sown" ? `#/act/sown/${lot.id}` : `#/start/sanitise/${lot.id}`}>${words}</a>`;
  return html`<button type="button" class=${look} onClick=${() => onGo(lot, kinds, WHERE)}>${words}</button>`;
}

/** How long it still has, in words. */
function left(row, now) {
  if (row.target_at && now < row.target_at) return t("bench.left", { left: long(toMs(row.target_at) - toMs(now)), when: when(row.target_at) });
  if (row.limit_at && now < row.limit_at) return t(row.target_at ? "bench.done" : "bench.at_most", { left: long(toMs(row.limit_at) - toMs(now)), when: when(row.limit_at) });
  if (row.limit_at) return t("bench.over", { over: long(toMs(now) - toMs(row.limit_at)), when: when(row.limit_at) });
  return row.target_at ? t("bench.past", { when: when(row.target_at) }) : t("bench.no_range");
}

/** "7 min 05 s", "23 h 10 min" or "12 days 4 h". @param {number} ms */
export function long(ms) {
  const [days, hours, minutes, seconds] = [DAY_MS, HOUR_MS, MINUTE_MS, 1000].map((unit) => Math.floor(Math.max(0, ms) / unit));
  const two = (n) => String(n).padStart(2, "0");
  if (hours < 1) return t("bench.minutes", { n: minutes, s: two(seconds % 60) });
  if (days < 3) return t("bench.hours", { n: hours, m: two(minutes % 60) });
  return t("bench.days", { n: days, h: hours % 24 });
}
