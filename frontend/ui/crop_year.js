// @ts-check
/** When to collect, soak, warm, chill and sow a kind here, and when to expect seedlings. @module */
import { useState } from "../vendor/preact-hooks.js";
import { addDays, nextSpan, seasonRule } from "../core/seasons.js";
import { planCrop, WAYS } from "../core/year_plan.js";
import { nursery } from "../store/house.js";
import { Choice } from "./choice.js";
import { html, t } from "./html.js";
import { date, today } from "./local.js";
import { Hatches, Mark, Months, YearStrip } from "./year_strip.js";

const MARGIN_DAYS = 21;

/** @param {{crop: any}} props */
export function CropYear({ crop }) {
  const [way, setWay] = useState("spring");
  const home = nursery();
  const span = home && nextSpan(crop.harvest_season, today(), home);
  if (!span) return html`<section><h2>${t("crop.when")}</h2>${home && seasonRule(home).rule === "none" ? html`<a class="caution" href="#/nursery">${t("year.tropics")}</a>` : html`<p>${t("crop.no_season")}</p>`}</section>`;
  const plan = planCrop(crop, { collect_year: Number(span.from.slice(0, 4)), way }, home);
  const bars = plan?.bars ?? [];
  const last = bars[bars.length - 1];
  const [from, to] = [addDays(bars[0].starts[0], -MARGIN_DAYS), addDays(last.ends[1], MARGIN_DAYS)];
  return html`<section class="crop-year"><h2>${t("crop.when")}</h2><${Hatches} />
    <${Choice} name=${t("crop.way")} answers=${WAYS.map((one) => [one, t(`way.${one}`)])} value=${way} onChoose=${(one) => one && setWay(one)} />
    <${Months} from=${from} to=${to} today=${today()} />
    <ul>${bars.map((bar, n) => html`<li key=${n}><p><svg class="legend-mark" viewBox="-8 -8 16 16" aria-hidden="true"><${Mark} kind=${bar.kind} /></svg> <strong>${t(`bar.${bar.kind}`)}</strong>${bar.optional ? ` (${t("step.optional")})` : ""} ${dates(bar)}</p>
      <${YearStrip} whole=${true} ahead=${[bar]} silent=${bar.kind === "germinate" ? plan?.silent : []} from=${from} to=${to} today=${today()} name=${t(`bar.${bar.kind}`)} /></li>`)}</ul>
    ${plan?.silent.map((one) => html`<p class="caution" key=${one.from}>${t("crop.silent", { from: date(one.from), to: date(one.to), shows: date(last.starts[0]) })}</p>`)}
    <p class="quiet">${t(`season.${seasonRule(home).rule}`, { n: Math.abs(seasonRule(home).moved_days), how: t(seasonRule(home).moved_days < 0 ? "season.earlier" : "season.later") })}</p></section>`;
}

/** "1 Mar – 31 May" of a day's work; "begin 3 Jun – 12 Aug, until 1 Sep – 31 Oct" of a spell. */
function dates(bar) {
  const range = ([one, other]) => (one === other ? date(one) : `${date(one)} – ${date(other)}`);
  // What takes a day or a week is told by its first and its last day.
  if (!["warm", "cold"].includes(bar.kind)) return range([bar.starts[0], bar.ends[1]]);
  return t("crop.begin_until", { begin: range(bar.starts), until: range(bar.ends) });
}
