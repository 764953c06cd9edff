// @ts-check
/** One running step as a row: a jar, its figures, the way on in one tap, the rest behind "More". @module */
import { useState } from "../vendor/preact-hooks.js";
import { DAY_MS, HOUR_MS, MINUTE_MS, toMs } from "../core/instants.js";
import { dipRefusal } from "../core/spells.js";
import { one } from "../store/house.js";
import { may } from "../store/may.js";
import { SHORT } from "../ui/bench_rows.js";
import { html, t } from "../ui/html.js";
import { Jar } from "../ui/jar.js";
import { when } from "../ui/local.js";
import { Flag } from "../ui/page.js";
import { findingsOf } from "../ui/to_see.js";

// What asks for more than a tap goes by its own form.
const FORMS = ["sown", "sanitise_started"];
const WHERE = { cold_started: { where: "fridge" }, warm_started: { where: "indoors" } };
// Where seed is still in the hand: it can be tested, and could be dipped.
const SEED = ["soak", "drained"];
// The watch that says how late a step is; a spell of weeks that is merely ready is not late.
const OVER = { soak: "soak-over", sanitise: "sanitise-over", drained: "drained-left", warm: "warm-done", cold: "cold-long" };

/** @param {{row: any, now: string, onGo: (lot: any, kinds: string[], data?: any) => void}} props */
export function BenchItem({ row, now, onGo }) {
  const [more, setMore] = useState(false);
  const { lot, kind } = row;
  const run = toMs(now) - toMs(row.started_at);
  const [target, limit] = [row.target_at, row.limit_at].map((time) => (time ? toMs(time) - toMs(row.started_at) : null));
  const whole = limit ?? target ?? Math.max(run, 1);
  const done = Boolean(row.target_at && now >= row.target_at);
  const level = findingsOf(lot).find((one) => one.watch === OVER[kind])?.level;
  const slim = !SHORT.includes(kind);
  const stale = kind === "soak" && row.still_at <= now;
  const acid = SEED.includes(kind) && dipRefusal(lot) !== null;
  return html`<li class=${slim ? "bench-row slim" : "bench-row"}>
    ${!slim && html`<${Jar} share=${run / whole} target=${target === null ? null : target / whole} words=${t("bench.jar", { run: long(run) })} />`}
    <div class="bench-words"><a href=${`#/lot/${lot.id}`}><span class="code">${lot.label}</span> <strong>${one("protocol", lot.crop)?.botanical ?? lot.crop}</strong></a>
      <p class="bench-run"><b>${long(run)}</b> ${t(`bench.kind.${kind}`)}</p>
      <p class=${level ? `level-${level} bench-left` : "bench-left"}>${level && html`<${Flag} level=${level} />`} ${left(row, now)}</p>
      ${stale && !done && html`<p class="level-late">${t("bench.still_now")}</p>`}</div>
    ${acid && html`<p class="caution grave bench-note">${t("act.acid_refused")}</p>`}
    ${may("looked") && html`<div class="bench-acts">${acid && html`<button type="button" class="act" onClick=${() => onGo(lot, ["rinsed_neutral"])}>${t("act.rinsed_neutral")}</button>`}
      ${stale && !done && html`<${Water} lot=${lot} onGo=${onGo} />`}
      <${Onward} lot=${lot} kinds=${row.next[0]} main=${done || kind === "drained"} onGo=${onGo} />
      <button type="button" class="act bench-more" aria-expanded=${more} onClick=${() => setMore(!more)}>${t(more ? "bench.less" : "bench.more")}</button>
      ${more && html`<${More} row=${row} onGo=${onGo} water=${kind === "soak" && (!stale || done)} stale=${stale} />`}</div>`}</li>`;
}

/** The other ways on, the water, a test, and where the times come from. */
function More({ row, onGo, water, stale }) {
  const { lot, kind } = row;
  return html`${row.next.slice(1).map((kinds) => html`<${Onward} key=${kinds.join()} lot=${lot} kinds=${kinds} onGo=${onGo} />`)}
    ${water && html`<${Water} lot=${lot} onGo=${onGo} />`}
    ${SEED.includes(kind) && html`<a class="act" href=${`#/act/tested/${lot.id}`}>${t("bench.test")}</a>`}
    <a class="act" href=${`#/crop/${lot.crop}`}>${t("bench.times")}</a>
    ${kind === "soak" && !stale && html`<p class="quiet bench-note">${t("bench.still", { when: when(row.still_at) })}</p>`}`;
}

/** Fresh water or air, each of which starts the still-water clock anew. */
function Water({ lot, onGo }) {
  return html`<button type="button" class="act" onClick=${() => onGo(lot, ["water_changed"])}>${t("act.water_changed")}</button>
    <button type="button" class="act" onClick=${() => onGo(lot, ["aerated"])}>${t("act.aerated")}</button>
    <p class="caution bench-note">${t("act.soak_caution")} <a href="#/cautions/electricity">${t("mix.all_cautions")}</a></p>`;
}

/** One way on: a tap where nothing more is asked, else the form that asks. */
function Onward({ lot, kinds, main = false, onGo }) {
  const last = kinds.at(-1);
  const words = t(`bench.go.${kinds.join("+")}`);
  const look = main ? "act main-act bench-on" : "act bench-on";
  if (FORMS.includes(last)) return html`<a class=${look} href=${last === "sown" ? `#/act/sown/${lot.id}` : `#/start/sanitise/${lot.id}`}>${words}</a>`;
  return html`<button type="button" class=${look} onClick=${() => onGo(lot, kinds, WHERE)}>${words}</button>`;
}

/** How long it still has, in words. */
function left(row, now) {
  // Drained seed is not waited for: its time is the one in which to go on. Both of its times are named
  // past the first, which is the one on paper.
  const [before, after] = row.kind === "drained" ? ["bench.within", "bench.go_on"] : ["bench.left", "bench.done"];
  if (row.target_at && now < row.target_at) return t(before, { left: long(toMs(row.target_at) - toMs(now)), when: when(row.target_at) });
  if (row.limit_at && now < row.limit_at) return t(row.target_at ? after : "bench.at_most", { left: long(toMs(row.limit_at) - toMs(now)), when: when(row.limit_at), target: when(row.target_at) });
  if (row.limit_at && row.kind === "drained") return t("bench.over_due", { over: long(toMs(now) - toMs(row.limit_at)), target: when(row.target_at) });
  if (row.limit_at) return t("bench.over", { over: long(toMs(now) - toMs(row.limit_at)) });
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
