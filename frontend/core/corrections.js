// @ts-check
/**
 * Corrections: twin of `domain/corrections.py`. What the record says after every `amended` and
 * `voided` has been read, whatever the order in which they came.
 * @module
 */
const CORRECTIONS = ["amended", "voided"];

/** Compare two events in fold order: corrected time, then device, number and id. */
export function foldOrder(a, b) {
  return compare(a.at, b.at) || compare(a.device ?? "", b.device ?? "")
    || (a.seq ?? 0) - (b.seq ?? 0) || compare(a.id, b.id);
}

function compare(a, b) {
  return a < b ? -1 : a > b ? 1 : 0;
}

/** The id that a correction names, or null for any other event. */
export function targetId(event) {
  if (!CORRECTIONS.includes(event.kind)) return null;
  const of = event.data?.of;
  return typeof of === "string" ? of : null;
}

/**
 * The id of the first event that a chain of corrections is about; it may be unknown (the
 * correction waits); null when the chain bites its own tail.
 * @param {any} event
 * @param {Map<string, any>} byId
 */
export function rootId(event, byId, through = CORRECTIONS) {
  const seen = new Set([event.id]);
  let of = targetId(event);
  while (of !== null && byId.has(of) && through.includes(byId.get(of).kind)) {
    if (seen.has(of)) return null;
    seen.add(of);
    of = targetId(byId.get(of));
  }
  return of;
}

/** The ids of the voids that hold: those which no holding void names. @param {Map<string, any>} byId */
export function activeVoids(byId) {
  const voids = new Map();
  for (const event of byId.values()) if (event.kind === "voided") voids.set(event.id, targetId(event));
  const waiting = new Map([...voids.keys()].map((id) => [id, 0]));
  for (const of of voids.values()) if (waiting.has(of)) waiting.set(of, waiting.get(of) + 1);
  const ready = [...waiting].filter(([, count]) => count === 0).map(([id]) => id);
  const holds = new Set();
  const struck = new Set();
  while (ready.length) {
    const id = ready.pop();
    if (!struck.has(id)) holds.add(id);
    const of = voids.get(id);
    if (!waiting.has(of)) continue;
    if (holds.has(id)) struck.add(of);
    waiting.set(of, waiting.get(of) - 1);
    if (waiting.get(of) === 0) ready.push(of);
  }
  return holds;
}

function amendments(byId, voided) {
  const found = new Map();
  for (const event of byId.values()) {
    if (event.kind !== "amended" || voided.has(event.id)) continue;
    const root = rootId(event, byId, ["amended"]);
    if (root !== null) found.set(root, [...(found.get(root) ?? []), event]);
  }
  for (const chain of found.values()) chain.sort(foldOrder);
  return found;
}

/**
 * What the log says now: in fold order, amended, without the voided and the corrections. An
 * amended event carries its first words in `said`. An id that comes twice counts once.
 * @param {any[]} events
 * @returns {any[]}
 */
export function effective(events) {
  const byId = new Map();
  for (const event of [...events].sort(foldOrder)) if (!byId.has(event.id)) byId.set(event.id, event);
  const ordered = [...byId.values()];
  if (!ordered.some((event) => CORRECTIONS.includes(event.kind))) return ordered;
  const voided = new Set([...activeVoids(byId)].map((id) => targetId(byId.get(id))));
  const chains = amendments(byId, voided);
  return ordered
    .filter((event) => !CORRECTIONS.includes(event.kind) && !voided.has(event.id))
    .map((event) => (chains.has(event.id) ? amend(event, chains.get(event.id)) : event));
}

function amend(event, chain) {
  const data = { ...(event.data ?? {}) };
  for (const amendment of chain) {
    const fields = amendment.data?.data;
    if (fields && typeof fields === "object" && !Array.isArray(fields)) Object.assign(data, fields);
  }
  return { ...event, data, said: event.data ?? {}, amended_by: chain.map((amendment) => amendment.id) };
}
