// @ts-check
/**
 * Grouping findings for lists and messages: one entry for a place, not one for each of its lots.
 * Nothing is lost by it. Twin of `domain/grouping.py`.
 * @module
 */

const LEVELS = ["due", "late", "alarm"];
/** What a place's own finding says for its lots too: who walks there looks at each of them. Ours. */
export const STANDS_FOR = {
  "round-missing": ["look-due", "cold-look", "round-missing"],
  "chamber-band": ["look-due", "cold-look"],
};
/** Done on one walk through the nursery in one morning: one entry, whatever the places. Ours. */
const NURSERY_WIDE = ["cover-left-on"];

/**
 * Groups, the gravest first, of findings that another rule does not hide. See the Python twin.
 * @param {any[]} findings
 * @returns {any[]} {key, watch, place, level, priority, since, state, findings, folded} each
 */
export function group(findings) {
  const shown = findings.filter((one) => !one.hidden_by);
  const heads = shown.filter((one) => STANDS_FOR[one.watch] && one.lot === null);
  // What is open stands before what is left: nothing open is put away that shows elsewhere.
  heads.sort((a, b) => Number(isShelved(a)) - Number(isShelved(b)) || compare(keyOf(a), keyOf(b)));
  /** @type {Map<string, any[]>} */
  const own = new Map();
  /** @type {Map<string, any[]>} */
  const folded = new Map();
  for (const one of shown) {
    const head = heads.find((other) => standsFor(other, one));
    const into = head ? folded : own;
    const key = keyOf(head ?? one);
    into.set(key, [...(into.get(key) ?? []), one]);
  }
  for (const key of [...folded.keys()].filter((one) => !own.has(one))) {
    // The place itself was taken in by the nursery, with all that it stood for.
    const [above, held] = [...folded].find(([, found]) => found.some((one) => keyOf(one) === key)) ?? ["", []];
    folded.set(above, [...held, ...(folded.get(key) ?? [])]);
    folded.delete(key);
  }
  const groups = [...own].map(([key, found]) => grouped(key, found, folded.get(key) ?? []));
  return groups.sort((a, b) => graver(a, b) || compare(a.key, b.key));
}

const isShelved = (finding) => finding.state === "shelved";
const rank = (finding) => LEVELS.indexOf(finding.level);
const compare = (a, b) => (a < b ? -1 : a > b ? 1 : 0);
const graver = (a, b) => rank(b) - rank(a) || a.priority - b.priority || compare(a.since, b.since);
const ordered = (found) => [...found].sort((a, b) => graver(a, b) || compare(a.subject.id, b.subject.id));

function keyOf(finding) {
  const { subject } = finding;
  const where = NURSERY_WIDE.includes(finding.watch) ? "every place" : finding.place || `${subject.kind}:${subject.id}`;
  const kind = subject.kind === "lot" ? "lots" : subject.kind;
  return `${finding.watch}|${where}|${kind}|${isShelved(finding) ? "shelved" : "open"}`;
}

function standsFor(head, one) {
  if (head === one || !STANDS_FOR[head.watch].includes(one.watch)) return false;
  if ((isShelved(one) && !isShelved(head)) || rank(head) < rank(one)) return false;
  if (head.subject.kind === "nursery") return one.subject.kind === "place";
  return one.lot !== null && one.place === head.place;
}

function grouped(key, own, folded) {
  const findings = ordered(own);
  const [first] = findings;
  const answered = findings.every((one) => one.state === "acknowledged");
  return {
    key,
    watch: first.watch,
    place: findings.every((one) => one.place === first.place) ? first.place : null,
    level: first.level,
    priority: first.priority,
    since: findings.reduce((least, one) => (one.since < least ? one.since : least), first.since),
    state: isShelved(first) ? "shelved" : answered ? "acknowledged" : "open",
    findings,
    folded: ordered(folded),
  };
}
