// @ts-check
/**
 * Whose phone this may be said to be: nobody takes on the messages of somebody who may do more.
 * Twin of `domain/carrying.py`.
 * @module
 */

// From the one who may do least. A person whose role was never said works here.
const ROLES = ["viewer", "worker", "owner"];
const UNSAID = "worker";

/**
 * The role of the two that may do less; one that is not known says nothing.
 * @param {string} one
 * @param {string | null | undefined} other
 */
export function lesser(one, other) {
  if (!ROLES.includes(one) || !ROLES.includes(other ?? "")) return one;
  return ROLES[Math.min(ROLES.indexOf(one), ROLES.indexOf(/** @type {string} */ (other)))];
}

/**
 * Whether a phone of that role may be said to be carried by a person.
 * @param {string | null | undefined} role
 * @param {any} person
 */
export function mayCarry(role, person) {
  const said = person.role;
  return ROLES.indexOf(role ?? "") >= ROLES.indexOf(ROLES.includes(said) ? said : UNSAID);
}
