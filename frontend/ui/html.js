// @ts-check
/** Templates and words: what every screen is made with. @module */
import htm from "../vendor/htm.js";
import { h } from "../vendor/preact.js";
import { plural, words } from "../locales/en.js";

const GAP = /\{(\w+)(?:\|([^}]*))?\}/g;

export const html = htm.bind(h);

/**
 * A word or sentence of the screen, its gaps filled: `{n}` is the figure, `{n|lot|lots}` the word that
 * goes with it.
 * @param {string} key
 * @param {Record<string, any>} [gaps]
 */
export function t(key, gaps = {}) {
  const text = words[key] ?? key;
  return text.replaceAll(GAP, (_, name, forms) => (forms ? oneOf(forms.split("|"), gaps[name]) : figure(gaps[name] ?? "?")));
}

/** A large number in groups of three, so that 1,310 and 13,100 are not taken for each other. */
const figure = (value) => (typeof value === "number" && Math.abs(value) >= 1000 ? value.toLocaleString("en-AU") : String(value));

/** The form that goes with a number, which may come as it is shown: "1,200". */
const oneOf = (forms, n) => forms[plural(Number(n ?? NaN))] ?? forms.at(-1);

/** The sentences under a prefix, by what follows it, their gaps left open. @param {string} prefix */
export function wordsUnder(prefix) {
  const found = Object.entries(words).filter(([key]) => key.startsWith(prefix));
  return Object.fromEntries(found.map(([key, text]) => [key.slice(prefix.length), text]));
}
