// @ts-check
/** All watches, by what they look at: when each becomes due, late, an alarm. @module */
import { rules } from "../store/house.js";
import { html, t } from "../ui/html.js";
import { caseInWords } from "../ui/rule_words.js";
import { limitsInWords, watchName } from "../ui/watch_words.js";
import { Page } from "../ui/page.js";

const KINDS = ["lot", "place", "nursery", "solution", "phone", "person", "sensor"];

export function Watches() {
  const ordered = [...rules()].sort((a, b) => a.priority - b.priority || (watchName(a.id) < watchName(b.id) ? -1 : 1));
  return html`<${Page} name="watches" title=${t("settings.watches")} back="#/settings">
    <p>${t("settings.watches_why")}</p>
    ${KINDS.map((kind) => {
      const here = ordered.filter((rule) => rule.subjects[0] === kind);
      return here.length > 0 && html`<section key=${kind}><h2>${t(`watches.of.${kind}`)}</h2>
        <ul class="cards">${here.map((rule) => html`<li key=${rule.id}><${Card} rule=${rule} /></li>`)}</ul></section>`;
    })}
  </${Page}>`;
}

function Card({ rule }) {
  const [first, ...others] = (rule.cases ?? []).filter((one) => one.after);
  const named = first && others.length ? caseInWords(first) : "";
  const limits = [named, limitsInWords(first?.after ?? rule.after)].filter(Boolean).join(": ");
  const more = others.length && t("watches.cases", { n: others.length });
  const notes = [rule.enabled === false && t("watches.off"), rule.fixed && t("watches.fixed"), limits, more,
    count("crops", rule), count("places", rule)].filter(Boolean);
  return html`<a href=${`#/watch/${encodeURIComponent(rule.id)}`}><strong>${watchName(rule.id)}</strong><small>${notes.join("; ")}</small></a>`;
}

function count(of, rule) {
  const n = Object.keys(rule[of] ?? {}).length;
  return n ? t(`watches.own.${of}`, { n }) : "";
}
