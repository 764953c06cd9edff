// @ts-check
/** What a watch does, told in words from the rule itself. @module */
import { rules } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { sentence } from "../ui/lot_words.js";
import { caseInWords, clockInWords, endsInWords, ruleInWords } from "../ui/rule_words.js";
import { limitsInWords, watchName } from "../ui/watch_words.js";

/** @param {{rule: any}} props the rule as it stands for whom it is told */
export function WatchTold({ rule }) {
  const { who, each, whiles, from, counts, ends } = ruleInWords(rule);
  const own = t(`ends.${rule.id}`);
  const over = own.startsWith("ends.") ? ends.join("; ") : own;
  const livesWithLot = (rule.when ?? []).some(([name, is, value]) => name === "live" && is === "is" && value === true);
  const hides = (rule.hides ?? []).filter((id) => rules().some((one) => one.id === id)).map(watchName);
  return html`<section class="told-rule">
    ${rule.enabled === false && html`<p class="caution">${t("told.off")}</p>`}
    <p><b>${t("told.looks_at")}</b> ${who}${each && `, ${each}`}${whiles.length > 0 && html`, <b>${t("told.while")}</b> ${whiles.join("; ")}`}.</p>
    ${from && html`<p><b>${t("told.from")}</b> ${from}${counts && `, ${counts}`}.</p>`}
    ${rule.after && !rule.cases?.every((one) => one.after) && html`<p class="large">${sentence(limitsInWords(rule.after))}.</p>`}
    ${(rule.cases ?? []).length > 0 && html`<ul class="plain">${rule.cases.map((one, at) => html`<${Case} key=${at} rule=${rule} one=${one} />`)}</ul>`}
    <p><b>${t("told.do")}</b> ${rule.next_action}.</p>
    ${over && html`<p><b>${t("told.ends")}</b> ${over}. ${livesWithLot && t("told.ends_lot")}</p>`}
    ${hides.length > 0 && html`<p class="quiet">${t("told.hides", { watches: hides.join(", ") })}</p>`}
    <p class="quiet">${t("told.matters", { how: t(`priority.${rule.priority}`) })} ${rule.rings === false && t("told.never_rings")} ${t("told.source", { source: rule.source, grade: t(`grade.${rule.grade}`) })}</p>
  </section>`;
}

function Case({ rule, one }) {
  const own = caseInWords(one);
  const from = one.clock && rule.cases.length > 0 && !rule.clock ? t("told.case_from", { from: clockInWords(one.clock) }) : "";
  const limits = limitsInWords(one.after ?? rule.after);
  return html`<li>${own && html`<b>${sentence(own)}:</b>`} ${[limits, from, ...endsInWords(one)].filter(Boolean).join("; ")}</li>`;
}
