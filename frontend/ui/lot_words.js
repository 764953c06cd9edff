// @ts-check
/** What is said of a lot, a look or a step, in words. @module */
import { t } from "./html.js";
import { degrees, inDegrees } from "./local.js";

/** Whether "mould" or "damping-off" is the word: seed moulds, seedlings fall over. */
export const isSeed = (lot) => ["seeds", "g", null].includes(lot.unit) && !lot.first_emerged_at;

/** The words of what a look said, as a list. @param {Record<string, any>} said */
export function saidOf(said, lot) {
  const parts = [];
  const seed = isSeed(lot);
  if (said.moisture != null) parts.push(t(`moisture.${said.moisture}`));
  if (said.fungus != null) parts.push(t(`say.${seed ? "mould" : "damping"}.${said.fungus}`));
  if (said.sprouted_percent != null) parts.push(rootsOf(said.sprouted_percent));
  if (said.health != null) parts.push(said.health >= 5 ? t("say.good_health") : t("say.health", { n: said.health }));
  if (said.root_fill != null) parts.push(t("say.root_fill", { n: said.root_fill }));
  if (said.temp_c != null) parts.push(t("say.temp", { n: inDegrees(said.temp_c), degrees: degrees() }));
  if (said.picked_out != null) parts.push(t("say.picked", { n: said.picked_out }));
  if (said.new_flush) parts.push(t("say.new_flush"));
  if (said.turned) parts.push(t("say.turned"));
  return parts;
}

function rootsOf(percent) {
  if (percent === 0) return t("say.roots.none");
  return percent < 2 ? t("say.roots.first") : t("say.roots.percent", { n: percent });
}

/** One sentence of what a look said; "nothing said" and "all as expected" stay apart. */
export function lookWords(look, lot) {
  const parts = saidOf(look, lot);
  if (!parts.length) return look.note || t("say.nothing");
  const words = parts.join(", ");
  return look.as_expected ? `${t("say.expected")}: ${words}` : words;
}

/** A sentence with its first letter large. @param {string} text */
export const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1);

/** The name of a lot's stage. */
export function stageWords(lot) {
  return t(`lot.stage.${lot.stage}`, { n: lot.container_l });
}

/** What a protocol's step is, in words. */
export function stepWords(step) {
  const n = step.target_days ?? step.max ?? step.min;
  const words = t(`step.${step.kind}`, { n: n ?? "?" });
  const plain = n == null ? words.replace(/, \? days/, "") : words;
  return step.optional ? `${plain} (${t("step.optional")})` : plain;
}

/** How many, of what. */
export function quantityWords(lot) {
  if (lot.quantity === null) return "";
  const n = lot.quantity.toLocaleString("en-AU");
  return t(`lot.quantity.${lot.unit}`, { n });
}

/** What a look leads to, said before it is saved. @param {Record<string, any>} said */
export function leadsTo(said, lot) {
  if (said.fungus === "spreading") return t("leads.spreading");
  if ((said.sprouted_percent ?? 0) >= 10 && lot.stage === "cold") return t("leads.sow");
  if (said.fungus === "spots") return t("leads.spots");
  if (said.moisture === 1 || (said.moisture === 2 && isSeed(lot))) return t("leads.dry");
  if (["warm", "cold"].includes(lot.stage) && !lot.sown) return t("leads.week");
  if (lot.stage === "seedlings") return t("leads.days", { n: 3 });
  if (lot.stage === "potted") return t("leads.days", { n: lot.container_l < 3 ? 7 : lot.container_l < 7 ? 14 : 21 });
  return t("leads.tomorrow");
}

/**
 * The state that one tap records, or null where the questions must be asked first: on an alarmed
 * lot, on one that had spots, and where roots were showing.
 */
export function expectedState(lot, findings) {
  const spots = ["spots", "spreading"].includes(lot.last.fungus?.value);
  const grave = findings.some((one) => one.level === "alarm" || ["fungus-recheck", "moisture-dry", "cold-sprouting"].includes(one.watch));
  if (spots || grave) return null;
  if (["warm", "cold"].includes(lot.stage) && !lot.sown) {
    const roots = lot.last.sprouted_percent?.value ?? 0;
    return roots ? null : { moisture: 3, fungus: "none", sprouted_percent: 0 };
  }
  if (lot.stage === "potted") return { moisture: 3, health: 5 };
  if (["sown", "emerging", "seedlings", "warm", "cold"].includes(lot.stage)) return { moisture: 3, fungus: "none" };
  return { fungus: "none" };
}

/** What this look should tell, by stage: the questions in the order in which they matter. */
export function questions(lot) {
  const bag = ["warm", "cold"].includes(lot.stage) && !lot.sown;
  // The warm makes the root: whether it is there decides about the cold that follows.
  if (bag && lot.stage === "warm") return ["sprouted_percent", "fungus", "moisture"];
  if (bag) return ["fungus", "sprouted_percent", "moisture"];
  if (lot.stage === "potted") return ["health", "moisture", "fungus"];
  return ["fungus", "moisture"];
}
