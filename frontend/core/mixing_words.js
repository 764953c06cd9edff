// @ts-check
/**
 * What is said of a mixing: twin of `domain/mixing_words.py`. A sentence is its key and what goes
 * into its gaps; the words are in the locales, under `mix.says.KEY`.
 * @module
 */

/** @typedef {{key: string, values: Record<string, any>}} Sentence */

/**
 * A sentence as it is carried; a value is a number written for people, or a sentence again.
 * @param {string} key
 * @param {Record<string, string | Sentence>} [values]
 * @returns {Sentence}
 */
export function sentence(key, values = {}) {
  return { key, values };
}
