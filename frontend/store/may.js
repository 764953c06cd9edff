// @ts-check
/**
 * What this phone may do, by its role: the one table that the screens go by, so that nothing is
 * offered which the server refuses. A test holds it to the server's own routes and kinds.
 * @module
 */
import { lesser } from "../core/carrying.js";
import { one, session } from "./house.js";

const OWNER = ["owner"];
const RECORDERS = ["owner", "worker"];

/** Doors that are not open to everybody who is signed in. */
export const DOORS = {
  "POST /api/v1/sync/push": RECORDERS,
  "POST /api/v1/sync/offer": RECORDERS,
  "POST /api/v1/alerts/<string:alert_id>/acknowledge": RECORDERS,
  "POST /api/v1/alerts/<string:alert_id>/shelve": RECORDERS,
  "POST /api/v1/readings": RECORDERS,
  "POST /api/v1/forecasts": RECORDERS,
  "POST /api/v1/saved-files": RECORDERS,
  "PUT /api/v1/photos/<string:sha256>": RECORDERS,
  "POST /api/v1/pairings": OWNER,
  "POST /api/v1/people/<string:person>/passphrase-link": OWNER,
  "GET /api/v1/tokens": OWNER,
  "POST /api/v1/tokens": OWNER,
  "POST /api/v1/tokens/<string:token_id>/revoke": OWNER,
  "GET /api/v1/phones": OWNER,
  "POST /api/v1/phones/<string:phone>/cut-off": OWNER,
  "POST /api/v1/watches/<string:watch_id>/preview": OWNER,
  "POST /api/v1/name-move/end": OWNER,
};

/** Kinds of records that only the owner makes; everybody who records makes the others. */
export const OWNERS_KINDS = [
  "person_changed", "phone_changed", "protocol_changed", "watch_changed", "nursery_changed", "access_changed",
];

/** What a whole screen is for, where it is for nothing else: a kind of record, or a door. */
const SCREENS = {
  add: "lot_started", act: "looked", start: "soak_started", typed: "looked", photo: "photographed",
  take: "POST /api/v1/saved-files", tokens: "GET /api/v1/tokens",
};

/**
 * What this phone is here: its person's role may have been made smaller since it signed in. Where
 * nobody has said yet, it records: a record is never lost for want of an answer.
 */
export const role = () => (session.value ? lesser(session.value.role, one("person", session.value.proved)?.role) : "worker");

/** Which roles make a kind of record, or come in by a door. @param {string} what */
export const rolesFor = (what) => DOORS[what] ?? (OWNERS_KINDS.includes(what) ? OWNER : RECORDERS);

/**
 * Whether a role does something: a kind of record, or one of the doors.
 * @param {string} mine @param {string} what
 */
export const does = (mine, what) => rolesFor(what).includes(mine);

/** Whether this phone does. @param {string} what */
export const may = (what) => does(role(), what);

/** Whether this phone may change what is said of a person: an owner all, others of themselves, but for the role. @param {any} row */
export const mayChange = (row) => mayChangeAs(role(), session.value?.proved ?? null, row);

/** @param {string} mine @param {string | null} person whose phone it surely is @param {any} row */
export const mayChangeAs = (mine, person, row) =>
  does(mine, "person_changed") || (does(mine, "looked") && person !== null && row.id === person && (row.role ?? mine) === mine);

/** Whether a screen has anything for this phone. @param {string} name */
export const mayOpen = (name) => !Object.hasOwn(SCREENS, name) || may(SCREENS[name]);

/** Who has what a screen is for: `may.WHO` says it. @param {string} what a screen, a kind or a door */
export const whose = (what) => (rolesFor(SCREENS[what] ?? what).includes("worker") ? "recorders" : "owner");
