// @ts-check
/**
 * What the limits would have raised, on the nursery's own records: the server lives through them
 * again. A phone holds the last of each log only, and half a figure would mislead: offline it says so.
 * @module
 */
import { useEffect, useRef, useState } from "../vendor/preact-hooks.js";
import { previewWatch } from "../store/server.js";
import { wayTo } from "../ui/alert_words.js";
import { html, t } from "../ui/html.js";
import { when } from "../ui/local.js";

const DAYS = 90;
const LISTED = 10;

/** @param {{rule: any | null, touched: boolean, go: boolean}} props null where the limits cannot be read; `go`: asked for from afar */
export function WatchTrial({ rule, touched, go }) {
  const here = useRef(/** @type {HTMLElement | null} */ (null));
  const [state, setState] = useState(/** @type {{doing?: boolean, found?: any, trouble?: string}} */ ({}));
  const [most, setMost] = useState(LISTED);
  const ask = async () => {
    setState({ doing: true });
    await previewWatch(rule, DAYS).then((found) => setState({ found }), (error) => {
      setState({ trouble: error.kind === "bad" ? error.message : t("trial.offline") });
    });
  };
  useEffect(() => {
    if (!go) return;
    here.current?.scrollIntoView({ block: "start" });
    void ask();
  }, [go]);
  const { doing, found, trouble } = state;
  useEffect(() => {
    // The button that asked stands above the foot: what it brought would lie below the edge.
    if (found || trouble) here.current?.scrollIntoView({ block: "start" });
  }, [found, trouble]);
  return html`<section class="trial" ref=${here}><h2>${t("trial.title")}</h2>
    ${!found && html`<p class="quiet">${t("trial.what", { n: DAYS })}</p>
      <button type="button" class="act" disabled=${!rule || doing} onClick=${ask}>${t(doing ? "trial.doing" : touched ? "trial.try" : "trial.try_now")}</button>`}
    <div role="status">${trouble && html`<p class="error">${trouble}</p>`}
    ${found && html`<${Outcome} found=${found} touched=${touched} />`}</div>
    ${found && html`<${Listed} title="" alerts=${found.alerts.slice(0, most)} />
      ${found.alerts.length > most && html`<button type="button" class="act" onClick=${() => setMost(most + LISTED)}>${t("alerts.more", { n: found.alerts.length - most })}</button>`}
      ${touched && found.gone.length > 0 && html`<${Listed} title=${t("trial.gone", { n: found.gone.length })} alerts=${found.gone.slice(0, LISTED)} />`}`}
  </section>`;
}

function Outcome({ found, touched }) {
  const { now, then } = found;
  if (found.not_replayed.length && !found.of) return html`<p>${t("trial.cannot")} ${found.not_replayed.map((why) => t(`trial.cannot.${why}`)).join(" ")}</p>`;
  return html`<p class="large">${touched ? t("trial.both", { now: now.raised, then: then.raised }) : t("trial.one", { n: then.raised })}</p>
    ${then.standing_before > 0 && html`<p>${t("trial.before", { n: then.standing_before })}</p>`}
    ${!found.whole && html`<p class="caution">${t("trial.not_whole", { n: found.looked_at, m: found.of })} ${found.stopped && stoppedAt(found.stopped)}</p>`}
    <${Weeks} now=${now.weeks} then=${then.weeks} both=${touched} />
    <p class="quiet">${t("trial.means", { n: found.of })}</p>`;
}

/** In what time ran out, and up to when of its past, where it had come to any. */
const stoppedAt = ({ label, at }) => (at ? t("trial.stopped_at", { label, when: when(at) }) : t("trial.stopped", { label }));

const HEIGHT = 80;

/** Week by week: an open bar as it stands, a filled one as it would be. */
function Weeks({ now, then, both }) {
  const most = Math.max(...now, ...then);
  const wide = 300 / now.length;
  const high = (n) => (n / Math.max(1, most)) * HEIGHT;
  const label = then.map((n, at) => (both ? t("trial.week_both", { week: at + 1, now: now[at], then: n }) : t("trial.week", { week: at + 1, n }))).join("; ");
  return html`<figure class="weeks"><svg viewBox="0 0 300 108" role="img" aria-label=${label}>
      ${now.map((n, at) => both && html`<rect class="week-now" x=${at * wide + 1.5} y=${HEIGHT + 4 - high(n)} width=${wide / 2 - 2} height=${high(n)} />`)}
      ${then.map((n, at) => html`<rect class="week-then" x=${at * wide + (both ? wide / 2 : 1.5)} y=${HEIGHT + 4 - high(n)} width=${(both ? wide / 2 : wide) - 3} height=${high(n)} />`)}
      <path class="week-axis" d=${`M0 ${HEIGHT + 5} H300`} />
      <text x="0" y="102">${t("trial.weeks_ago", { n: now.length })}</text><text x="300" y="102" text-anchor="end">${t("trial.today", { n: most })}</text></svg>
    ${both && html`<figcaption><span class="key-now"></span> ${t("trial.key_now")} <span class="key-then"></span> ${t("trial.key_then")}</figcaption>`}</figure>`;
}

function Listed({ title, alerts }) {
  return html`${title && html`<h3>${title}</h3>`}<ol class="looks">${alerts.map((one) => {
    const goes = wayTo({ watch: "", subject: one.subject });
    const words = html`<strong>${one.says}</strong>`;
    const steps = one.levels.map((step) => `${t(`level.${step.level}`)} ${when(step.at)}`).join(", ");
    return html`<li key=${one.subject.id + one.raised_at}>${goes ? html`<a class="alert-words" href=${goes}>${words}</a>` : html`<p>${words}</p>`}
      <small>${one.before ? t("trial.stood") : steps}${`; ${one.cleared_at ? t("trial.cleared", { when: when(one.cleared_at) }) : t("trial.stands")}`}</small></li>`;
  })}</ol>`;
}
