// @ts-check
/** Lot codes: twin of `domain/labels.py`. Year, running number, check letter: `26-017-R`. @module */
const LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ";
const WEIGHTS = [2, 3, 5, 7, 11];

/** The check letter of a year (two digits) and a running number (up to 999). */
export function checkLetter(year, number) {
  const digits = String(year % 100).padStart(2, "0") + String(number % 1000).padStart(3, "0");
  const total = WEIGHTS.reduce((sum, weight, index) => sum + weight * Number(digits[index]), 0);
  return LETTERS[total % LETTERS.length];
}

/** The code of a lot. */
export function lotCode(year, number) {
  const two = String(year % 100).padStart(2, "0");
  return `${two}-${String(number % 1000).padStart(3, "0")}-${checkLetter(year, number)}`;
}

/** Whether a typed code is whole and its letter is right. @param {string} text */
export function isLotCode(text) {
  const match = /^(\d\d)-(\d\d\d)-([A-Z])$/.exec(text.trim().toUpperCase());
  return match !== null && match[3] === checkLetter(Number(match[1]), Number(match[2]));
}

/** The next free code of a year among the labels in use. @param {string[]} labels */
export function nextCode(year, labels) {
  const numbers = labels.flatMap((label) => {
    const match = /^(\d\d)-(\d\d\d)-[A-Z]$/.exec(label ?? "");
    return match && Number(match[1]) === year % 100 ? [Number(match[2])] : [];
  });
  return lotCode(year, Math.max(0, ...numbers) + 1);
}
