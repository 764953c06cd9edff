// @ts-check
/** Templates and words: what every screen is made with. @module */
import htm from "../vendor/htm.js";
import { h } from "../vendor/preact.js";
import { words } from "../locales/en.js";

export const html = htm.bind(h);

/**
 * A word or sentence of the screen, its gaps filled.
 * @param {string} key
 * @param {Record<string, any>} [gaps]
 */
export function t(key, gaps = {}) {
  const text = words[key] ?? key;
  return text.replaceAll(/\{(\w+)\}/g, (_, name) => String(gaps[name] ?? "?"));
}

/** The sentences under a prefix, by what follows it, their gaps left open. @param {string} prefix */
export function wordsUnder(prefix) {
  const found = Object.entries(words).filter(([key]) => key.startsWith(prefix));
  return Object.fromEntries(found.map(([key, text]) => [key.slice(prefix.length), text]));
}
