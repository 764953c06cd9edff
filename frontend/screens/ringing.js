// @ts-check
/** Which watches ring most and are acted on least: a month of alerts, to loosen what nobody heeds. @module */
import { HOUR_MS, toMs, toText } from "../core/instants.js";
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { now, rules } from "../store/house.js";
import { alertFigures } from "../store/server.js";
import { html, t } from "../ui/html.js";
import { watchName } from "../ui/watch_words.js";
import { Page, Ways } from "../ui/page.js";
import { age, date, today } from "../ui/local.js";

const DAYS = 30;

export function Ringing() {
  const [found, setFound] = useState(/** @type {any} */ (null));
  const [missing, setMissing] = useState(false);
  useEffect(() => {
    alertFigures(DAYS).then(setFound, (error) => {
      console.info("figures:", error.message);
      setMissing(true);
    });
  }, []);
  const foot = html`${found && html`<button type="button" class="act" onClick=${() => print()}>${t("tag.print")}</button>`}<${Ways} here="alerts" />`;
  return html`<${Page} name="ringing" title=${t("ringing.title")} back="#/alerts" foot=${foot}>
    <p>${t("ringing.why", { n: DAYS, date: date(today()) })}</p>
    ${missing && html`<p class="large">${t("ringing.offline")}</p>`}
    ${found && html`<${Figures} found=${found} />`}
  </${Page}>`;
}

function Figures({ found }) {
  if (!found.watches.length) return html`<p class="large">${t("ringing.none")}</p>`;
  const most = Math.max(...found.watches.map((row) => row.raised));
  return html`<p class="large">${t("ringing.in_all", { n: found.raised, each: Math.round(found.per_day * 10) / 10 })}</p>
    ${!found.whole && html`<p class="quiet">${t("ringing.not_all")}</p>`}
    <ol class="ringing">${found.watches.map((row) => html`<${Row} key=${row.watch} row=${row} most=${most} />`)}</ol>
    <p class="quiet">${t("ringing.acted_means")}</p>`;
}

function Row({ row, most }) {
  const rule = rules().find((one) => one.id === row.watch);
  const name = watchName(row.watch);
  return html`<li class="alert"><h2>${name}</h2>
    <${Bar} row=${row} most=${most} />
    <p><strong>${t("ringing.rang", { n: row.raised })}</strong>, ${t("ringing.acted", { n: row.acted, m: row.acted_in_time })}
      <small> ${[row.acknowledged && t("ringing.taken", { n: row.acknowledged }), row.shelved && t("ringing.left", { n: row.shelved }),
        row.standing && t("ringing.stands", { n: row.standing }),
        row.median_hours_to_act !== null && (row.median_hours_to_act * 60 < 1 ? t("ringing.median_soon") : t("ringing.median", { time: length(row.median_hours_to_act) }))].filter(Boolean).join("; ")}</small></p>
    ${row.suggests && rule && !rule.fixed && html`<p class="next">${t(`ringing.suggests.${row.suggests}`, { n: row.raised, m: row.acted })}</p>`}
    ${rule && html`<a class="act" href=${`#/watch/${encodeURIComponent(row.watch)}`}>${t("ringing.see", { watch: name })}</a>`}
  </li>`;
}

/** How often it rang, to scale with the others; the filled part was acted on. */
function Bar({ row, most }) {
  const width = (n) => (n / most) * 296;
  return html`<svg class="ring-bar" viewBox="0 0 300 20" role="img" aria-label=${t("ringing.bar", { n: row.raised, m: row.acted })}>
    <rect class="ring-all" x="2" y="2" width=${width(row.raised)} height="16" /><rect class="ring-acted" x="2" y="2" width=${width(row.acted)} height="16" /></svg>`;
}

const length = (hours) => age(toText(toMs(now.value) - Math.round(hours * HOUR_MS)));
