// @ts-check
/** Quantities: twin of `domain/stock.py`. What is on record, what was taken, what disagrees. @module */
const DISCREPANCIES_MAX = 40;
const LOSSES_MAX = 60;
const isNumber = (value) => typeof value === "number";

/** Note that an event and the record disagree. Both are kept; a person settles it. */
export function disagree(lot, kind, event, recorded = null, said = null) {
  const by = isNumber(said) && isNumber(recorded) ? said - recorded : null;
  const note = { kind, event: event.id, at: event.at, recorded, said, by };
  lot.discrepancies = [...lot.discrepancies, note].slice(-DISCREPANCIES_MAX);
}

/** The seedlings of a lot still counted in seeds: come up, less those lost since. */
export function seedlingsLeft(lot) {
  return lot.emerged ? Math.max(0, lot.emerged.count - lot.lost_seedlings) : null;
}

/** Take plants or seeds off the record; more than is there leaves nought and a discrepancy. */
export function take(lot, amount, event) {
  if (lot.quantity === null || amount == null) return;
  if (amount > lot.quantity) overRecorded(lot, amount, event);
  lot.quantity = Math.max(0, lot.quantity - amount);
}

function overRecorded(lot, amount, event) {
  const recorded = lot.quantity;
  disagree(lot, "took_more", event, recorded, amount);
  const conflict = lot.conflict ?? { since: event.at, of: recorded, over: 0 };
  lot.conflict = { ...conflict, over: conflict.over + amount - recorded };
}

/** Apply a `lost`, always with how many there were. */
export function lose(lot, event) {
  const data = event.data;
  lot.losses = [...lot.losses, { at: event.at, event: event.id, ...data }].slice(-LOSSES_MAX);
  if (["seeds", "g"].includes(lot.unit) && lot.first_emerged_at) {
    lot.lost_seedlings += data.quantity;
    return;
  }
  if (lot.quantity !== null && data.out_of !== lot.quantity) {
    disagree(lot, "out_of_differs", event, lot.quantity, data.out_of);
  }
  take(lot, data.quantity, event);
}

/** Count a sown lot in seedlings from now on, where its emergence was counted. */
export function toSeedlings(lot) {
  const left = seedlingsLeft(lot);
  if (["seeds", "g", null].includes(lot.unit) && left !== null) {
    lot.quantity = left;
    lot.unit = "seedlings";
  }
}

/** Apply a `potted_on`: into a child lot, or the whole lot into a bigger container. */
export function potOn(lot, event) {
  const { quantity, into } = event.data;
  const countedInSeeds = ["seeds", "g", null].includes(lot.unit);
  const seeds = lot.unit === "seeds" ? lot.quantity : null;
  toSeedlings(lot);
  if (countedInSeeds && (seeds === null || quantity <= seeds)) {
    lot.quantity = Math.max(lot.quantity ?? 0, quantity);
  }
  if (into) {
    intoChild(lot, into, quantity, event);
    return;
  }
  if (lot.quantity !== null && quantity > lot.quantity) overRecorded(lot, quantity, event);
  else lot.quantity = quantity;
  lot.unit = "plants";
  lot.container_l = event.data.container_l;
  lot.potted_at = event.at;
}

function intoChild(lot, into, quantity, event) {
  const counted = lot.split_off[into];
  delete lot.split_off[into];
  if (counted != null && lot.quantity !== null) lot.quantity += counted;
  lot.potted_into = [...new Set([...lot.potted_into, into])].sort();
  addChild(lot, into);
  take(lot, quantity, event);
}

/** Apply the start of a lot that came from this one: with one parent, so did its number. */
export function splitOff(lot, event) {
  const { data, lot: child } = event;
  const parents = data.parents?.length ? data.parents : [data.parent];
  if (!parents.includes(lot.id)) return; // a correction has named another parent
  addChild(lot, child);
  const sameUnit = data.unit == null || data.unit === lot.unit;
  if (parents.length !== 1 || !sameUnit || lot.potted_into.includes(child)) return;
  if (data.quantity == null) return;
  const taken = lot.quantity !== null ? Math.min(data.quantity, lot.quantity) : data.quantity;
  take(lot, data.quantity, event);
  lot.split_off[child] = taken;
}

function addChild(lot, child) {
  lot.children = [...new Set([...lot.children, child])].sort();
}

/** Apply a `stocktaken`: what was counted is the record, and what disagreed is settled. */
export function takeStock(lot, event) {
  lot.quantity = event.data.quantity;
  lot.unit = event.data.unit ?? null;
  lot.discrepancies = lot.discrepancies.filter(
    (note) => !["took_more", "out_of_differs"].includes(note.kind),
  );
  lot.conflict = null;
  if (["seedlings", "plants"].includes(lot.unit)) lot.lost_seedlings = 0;
}
