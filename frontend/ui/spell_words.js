// @ts-check
/** Small questions about spells. @module */

/** Whether a spell of a kind is open. */
export const open = (lot, kind) => lot.spells.some((spell) => spell.kind === kind && spell.ended_at === null);
