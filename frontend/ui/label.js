// @ts-check
/** The plant label: what a lot is everywhere. An alarm is a flag stuck in it. @module */
import { DAY_MS, HOUR_MS, toMs } from "../core/instants.js";
import { progress } from "../core/protocols.js";
import { now, one } from "../store/house.js";
import { html, t } from "./html.js";
import { lookWords, quantityWords, stageWords } from "./lot_words.js";
import { Strip } from "./strip.js";
import { Flag } from "./page.js";
import { when } from "./local.js";

const LEVELS = ["due", "late", "alarm"];

/** The highest level among findings, or null. */
export function worstLevel(findings) {
  const open = findings.filter((one) => one.state !== "shelved");
  return open.reduce((worst, { level }) => (LEVELS.indexOf(level) > LEVELS.indexOf(worst) ? level : worst), null);
}

/** The first thing to say of a lot: the worst finding that nothing hides. */
export function worstFinding(findings) {
  const seen = findings.filter((one) => !one.hidden_by && one.state !== "shelved");
  return [...seen].sort((a, b) => LEVELS.indexOf(b.level) - LEVELS.indexOf(a.level) || a.priority - b.priority)[0];
}

/** A lot's label. @param {{lot: any, findings: any[], full?: boolean}} props */
export function Label({ lot, findings, full = true }) {
  const crop = one("protocol", lot.crop);
  const level = worstLevel(findings);
  const worst = worstFinding(findings);
  const sixWeeks = worst?.watch === "cold-six-weeks" && lot.stage === "cold";
  const here = progress(lot, crop, now.value);
  const spell = ["warm", "cold"].includes(lot.stage);
  const bench = ["soak", "sanitise", "drained"].includes(lot.stage);
  const hours = bench ? Math.floor((toMs(now.value) - toMs(lot.stage_since)) / HOUR_MS) : null;
  return html`<article class=${full ? "label" : "label compact"}>
    ${level && html`<span class="label-flag"><${Flag} level=${level} /><span class="only-read">${t(`level.${level}`)}</span></span>`}
    <a class="label-name" href=${`#/lot/${lot.id}`}><h2>${crop?.botanical ?? lot.crop}</h2>
      <span class="label-code"><span class="code">${lot.label}</span> <span>${quantityWords(lot)}</span></span></a>
    <div class="label-day">
      <strong aria-label=${t("lot.day", { n: here.day ?? "?" })}>${bench ? t("lot.hours", { n: hours }) : here.day ?? "–"}</strong>
      <p class=${level === "alarm" ? "alarmed" : ""}>
        ${sixWeeks ? owed(lot) : worst ? says(worst, lot) : bench ? t("lot.hours_in", { stage: stageWords(lot), when: when(lot.stage_since) }) : t("lot.days_in", { stage: stageWords(lot) })}
      </p>
    </div>
    ${full && spell && lot.stage_since && html`<${Strip} since=${lot.stage_since} now=${now.value}
      look=${lot.last_look?.at ?? null} min=${here.min_days ?? null} max=${here.longest_days ?? null}
      sixWeeks=${lot.stage === "cold"} />`}
    ${full && html`<p class="label-last">${lastLook(lot, sixWeeks)}</p>`}
  </article>`;
}

/** What a finding says, without the lot's own name in front. */
export function says(finding, lot) {
  const [name, ...rest] = finding.says.split(": ");
  return name.startsWith(lot?.label ?? "\u0000") ? rest.join(": ") : finding.says;
}

const dayOfLook = (lot, look) => Math.floor((toMs(look.at) - toMs(lot.stage_since)) / DAY_MS);

/** The six-week look, told so that it agrees with the day that it was last opened. */
function owed(lot) {
  const look = lot.last_look;
  const opened = look && look.at >= lot.stage_since;
  return opened ? t("lot.six_weeks", { n: dayOfLook(lot, look) }) : t("lot.six_weeks_never");
}

/** @param {any} lot @param {boolean} told the day of the last look is said already */
function lastLook(lot, told) {
  const look = lot.last_look;
  if (!look) return t("lot.never");
  const what = lookWords(look, lot);
  if (lot.stage_since && ["warm", "cold"].includes(lot.stage) && look.at >= lot.stage_since) {
    return t(told ? "lot.on_day" : "lot.last", { n: dayOfLook(lot, look), what });
  }
  return t("lot.last_seen", { when: when(look.at), what });
}
