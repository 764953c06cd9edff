// @ts-check
/** Whose record it is: proved by whose phone it is, or only said. Twin of `domain/attribution.py`. @module */

/**
 * Whether the name on a record is only what somebody said on a phone that is not that person's own.
 * @param {string | null} by the person that the record names
 * @param {string | null} own whose the phone is that recorded it; null for a shared one
 */
export const isSaid = (by, own) => by !== null && by !== own;

/** {by}: whose a record is, with `by_said` where that was marked as only said. */
export const saidBy = (event) => ({ by: event.by ?? null, ...(event.by_said ? { by_said: true } : {}) });
