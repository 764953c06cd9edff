// @ts-check
/** Sentences that the core carries as a key and what goes into its gaps, in the words of the locale. @module */
import { t } from "./html.js";

/** @param {import("../core/mixing_words.js").Sentence} said @returns {string} */
export function say({ key, values }) {
  const filled = Object.entries(values).map(([name, value]) => [name, typeof value === "object" ? say(value) : value]);
  return t(`mix.says.${key}`, Object.fromEntries(filled));
}

/** A unit of volume or strength in words: "US cups". @param {string} unit */
export const unitWords = (unit) => t(`mix.says.unit_${unit}`).trim();
