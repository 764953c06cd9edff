// @ts-check
/**
 * A rule for the whole nursery, for one place or for one crop: how it stands there, and the row
 * that a change makes of it. Pure. A change for a crop or a place replaces the rest there.
 * @module
 */
/** @typedef {{of: "" | "places" | "crops", id: string}} Scope */

// What the server adds to a row, and is not the owner's to say.
const KEPT_BY_SERVER = ["revision", "shipped", "folded_at", "ships"];
const CHANGEABLE = ["enabled", "after", "cases", "when", "given"];

/** The rule as it stands there. @param {any} rule @param {Scope} scope */
export const standsIn = (rule, scope) => ({ ...rule, ...(scope.of ? rule[scope.of]?.[scope.id] : {}) });

/** Whether it is changed there. @param {any} rule @param {Scope} scope @param {any} ships the rule as it ships, where that is known */
export function isChanged(rule, scope, ships) {
  if (scope.of) return Boolean(rule[scope.of]?.[scope.id]);
  return Boolean(ships) && CHANGEABLE.some((name) => !same(valueOf(rule, name), valueOf(ships, name)));
}

/** The whole row after a change there. @param {any} rule @param {Scope} scope @param {any} draft the rule as it should stand */
export function changed(rule, scope, draft) {
  const before = standsIn(rule, scope);
  const named = CHANGEABLE.filter((name) => !same(valueOf(before, name), valueOf(draft, name)));
  const change = Object.fromEntries(named.map((name) => [name, draft[name]]));
  if (!scope.of) return plain({ ...rule, ...change });
  const held = rule[scope.of] ?? {};
  return plain({ ...rule, [scope.of]: { ...held, [scope.id]: { ...held[scope.id], ...change } } });
}

/** The whole row with what was changed there taken back. @param {any} rule @param {Scope} scope @param {any} ships */
export function reset(rule, scope, ships) {
  if (!scope.of) return plain({ ...rule, enabled: true, ...pick(ships, CHANGEABLE) });
  const { [scope.id]: _gone, ...held } = rule[scope.of] ?? {};
  return plain({ ...rule, [scope.of]: held });
}

/** The row without what the server keeps beside it. */
const plain = (row) => Object.fromEntries(Object.entries(row).filter(([name]) => !KEPT_BY_SERVER.includes(name)));
const pick = (row, names) => Object.fromEntries(names.filter((name) => name in row).map((name) => [name, row[name]]));
// A rule that says nothing of it is on.
const valueOf = (rule, name) => (name === "enabled" ? rule.enabled !== false : rule[name]);
const same = (a, b) => JSON.stringify(a ?? null) === JSON.stringify(b ?? null);
