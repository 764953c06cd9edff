// @ts-check
/** The acts that a person can record on a lot: which fit its stage, and what each asks for. @module */
import { dipRefusal } from "../core/spells.js";
import { open as isOpen } from "./spell_words.js";

const LEVELS = ["due", "late", "alarm"];
const WHERE = ["fridge", "outdoors", "indoors"];
const CAUSES = ("damping_off root_rot dried drowned frost heat wind pest animal weeds spray_damage"
  + " handling culled mislabelled stolen unknown").split(" ");
const whole = (name, more = {}) => ({ name, type: "whole", needed: true, ...more });
const number = (name, low, high, more = {}) => ({ name, type: "number", low, high, ...more });
const choice = (name, key, values, more = {}) => ({ name, type: "choice", key, values, needed: true, ...more });
const text = (name, more = {}) => ({ name, type: "text", ...more });

/** What each kind asks for; a kind that is not here asks for nothing and is one tap. */
export const FIELDS = {
  counted: [whole("emerged", { start: (lot) => lot.emerged?.count ?? 0 }), whole("out_of", { start: outOf })],
  sanitise_started: [number("limit_minutes", 1, 60, { start: () => 10 })],
  warm_started: [choice("where", "where", ["indoors", "outdoors"]), number("temp_c", -60, 60)],
  cold_started: [choice("where", "where", WHERE), number("temp_c", -60, 60)],
  sown: [whole("flats"), whole("per_flat", { needed: false })],
  potted_on: [whole("quantity", { start: (lot) => lot.quantity ?? 0 }), number("container_l", 0.01, 2000, { needed: true, start: nextSize })],
  lost: [whole("quantity"), whole("out_of", { start: alive }), choice("cause", "cause", CAUSES)],
  moved: [{ name: "place", type: "place", needed: true }],
  stocktaken: [whole("quantity", { start: (lot) => lot.quantity ?? 0 }), choice("unit", "unit", ["seeds", "seedlings", "plants"], { start: (lot) => lot.unit })],
  emergence_closed: [text("why", { needed: true })],
  held_over: [text("why", { needed: true }), { name: "until", type: "date" }],
  lot_closed: [text("why", { needed: true })],
  scarified: [choice("method", "method", ["nick", "sand", "hot_water", "acid"]), number("minutes", 0.1, 1440)],
  noted: [text("text", { needed: true })],
  tested: [choice("test", "test", ["float", "cut", "germination", "viability"]), whole("sound"), whole("out_of", { start: () => 10 })],
};

function outOf(lot) {
  return lot.emerged?.out_of ?? (lot.unit === "seeds" ? lot.quantity : null) ?? 0;
}

function alive(lot) {
  if (lot.unit === "seeds" && lot.emerged) return Math.max(0, lot.emerged.count - lot.lost_seedlings);
  return lot.quantity ?? 0;
}

function nextSize(lot) {
  if (!lot.container_l) return 2;
  return lot.container_l < 4 ? 4 : 10;
}

/** The causes that a loss of this lot most likely has, by what it is now. Ours: all others are a touch away. @returns {string[]} */
export function likelyCauses(lot) {
  if (lot.stage === "potted") return ["dried", "root_rot", "frost", "pest", "wind", "culled"];
  if (lot.sown || lot.first_emerged_at || lot.unit === "seedlings") return ["damping_off", "dried", "pest", "heat", "frost", "handling"];
  return ["damping_off", "dried", "drowned", "animal", "handling", "unknown"];
}

/** The cautions that stand beside an act. */
export const CAUTIONS = {
  scarified: "act.scarify_caution", sanitise_started: "act.bleach_caution",
  aerated: "act.soak_caution", soak_started: "act.soak_caution",
};

/** What is done about a watch where a look alone does not answer it; the others ask for a look. */
const ANSWERED_BY = {
  "warm-done": "cold_started", "soak-over": "soak_ended", "soak-still-water": "water_changed",
  "sanitise-over": "sanitise_ended", "emergence-no-count": "counted", "emergence-finished": "emergence_closed",
  "count-conflict": "stocktaken", "moisture-dry": "watered",
};

/**
 * The act that the worst finding asks for, or null where that is a look or nothing is due.
 * @param {any} lot
 * @param {any[]} findings the lot's own
 * @returns {string | null}
 */
export function dueAct(lot, findings) {
  const shown = findings.filter((one) => !one.hidden_by && one.state !== "shelved");
  const [worst] = [...shown].sort((a, b) => LEVELS.indexOf(b.level) - LEVELS.indexOf(a.level) || a.priority - b.priority);
  const act = ANSWERED_BY[worst?.watch] ?? null;
  return act && actsFor(lot).includes(act) ? act : null;
}

/** The acts that fit a lot now, the likeliest first. @returns {string[]} */
export function actsFor(lot) {
  const acts = [];
  if (isOpen(lot, "sanitise")) acts.push("sanitise_ended");
  // Until it is rinsed, nothing else may come near it.
  if (dipRefusal(lot) === "acid_not_rinsed") acts.push("rinsed_neutral");
  if (isOpen(lot, "soak")) acts.push("soak_ended", "water_changed", "aerated", "sanitise_started", "tested");
  const seed = ["seeds", "g", null].includes(lot.unit);
  if (seed && !lot.sown && !isOpen(lot, "soak") && !isOpen(lot, "sanitise")) acts.push(...seedActs(lot));
  if (lot.sown && seed) acts.push("counted", ...spellActs(lot), "emergence_closed", "held_over");
  acts.push("watered");
  if (!seed || lot.first_emerged_at) acts.push("potted_on");
  return [...new Set([...acts, "lost", "moved", "stocktaken", "photographed", "noted", "lot_closed"])];
}

/** Whether its seed was seen with roots: bleach would kill it. @param {any} lot */
export const hasRoots = (lot) => (lot.last.sprouted_percent?.value ?? 0) > 0;

function seedActs(lot) {
  const dip = hasRoots(lot) ? [] : ["sanitise_started"];
  const started = lot.spells.length > 0;
  return [...spellActs(lot), "sown", ...(started ? [] : ["seed_cleaned", "scarified"]), "soak_started", ...dip, "tested"];
}

function spellActs(lot) {
  if (isOpen(lot, "cold")) return ["cold_ended", "warm_started"];
  if (isOpen(lot, "warm")) return ["cold_started", "warm_ended"];
  return ["cold_started", "warm_started"];
}
