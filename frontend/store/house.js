// @ts-check
/**
 * The house: what the screens read. Rows as the server left them, with the unsent events laid
 * over them. First rows alone (enough for the round's first paint), then, once the core is there,
 * the lots and findings that this phone works out itself.
 * @module
 */
import { signal } from "../vendor/signals.js";
import { reading } from "./database.js";

/** @type {import("../vendor/signals.js").Signal<Map<string, Map<string, any>>>} */
export const rows = signal(new Map());
/** Lots by id, unsent events included. */
export const lots = signal(new Map());
/** Findings by subject, `kind:id` to a list; standing alerts until the phone has worked out its own. */
export const findings = signal(new Map());
/** List entries (never ringing) by lot id. */
export const notices = signal(new Map());
/** Own events not yet known to be on the server, oldest first. */
export const pending = signal(/** @type {any[]} */ ([]));
/** Refused records that need mending. */
export const tray = signal(/** @type {any[]} */ ([]));
/** Ids of unsent events that the phone cannot lay over a lot without the server. */
export const unconfirmed = signal(new Set());
export const now = signal(new Date().toISOString());
export const contact = signal({ state: "starting", detail: "", last_sync_at: /** @type {string | null} */ (null) });
export const session = signal(/** @type {any} */ (null));
export const trouble = signal("");
export const ready = signal(false);
export const bornEmpty = signal(false);

/** All rows of a kind. @param {string} kind @returns {any[]} */
export const all = (kind) => [...(rows.value.get(kind)?.values() ?? [])];
/** One row. @returns {any | null} */
export const one = (kind, id) => rows.value.get(kind)?.get(id) ?? null;
/** Places in walking order. */
export const places = () => all("place").sort((a, b) => (a.order ?? 1e9) - (b.order ?? 1e9) || (a.name < b.name ? -1 : 1));
/** The nursery's row. */
export const nursery = () => all("nursery")[0] ?? null;
/** The name of a person, or of nobody. */
export const person = (id) => one("person", id)?.name ?? null;

/** Read what the phone holds; the first thing an app start does. */
export async function openHouse() {
  const kept = await reading(async (db) => {
    const tx = db.transaction(["rows", "outbox", "events", "refused", "meta"]);
    const [stored, queue, refused, lastSync, signedIn] = await Promise.all([
      tx.objectStore("rows").getAll(),
      tx.objectStore("outbox").getAll(),
      tx.objectStore("refused").getAll(),
      tx.objectStore("meta").get("last_sync_at"),
      tx.objectStore("meta").get("session"),
    ]);
    const events = await Promise.all(queue.map((entry) => tx.objectStore("events").get(entry.id)));
    return { stored, refused, lastSync, signedIn, events: events.filter(Boolean) };
  });
  const byKind = new Map();
  for (const row of kept.stored) kindOf(byKind, row.kind).set(row.id, row.data);
  rows.value = byKind;
  pending.value = kept.events;
  tray.value = kept.refused;
  contact.value = { ...contact.value, last_sync_at: kept.lastSync ?? null };
  session.value ??= kept.signedIn ?? null;
  bornEmpty.value = kept.stored.length === 0;
  showStored();
  ready.value = true;
}

function kindOf(byKind, kind) {
  if (!byKind.has(kind)) byKind.set(kind, new Map());
  return byKind.get(kind);
}

/** Until the core is there: the rows as they are, and the alerts that stood when last in touch. */
function showStored() {
  lots.value = new Map(rows.value.get("lot") ?? []);
  const found = new Map();
  for (const alert of all("alert")) {
    const key = `${alert.subject.kind}:${alert.subject.id}`;
    found.set(key, [...(found.get(key) ?? []), alert]);
  }
  findings.value = found;
}

/** Take in rows from a pull. @param {any[]} changed @param {boolean} afresh */
export function takeRows(changed, afresh) {
  const byKind = new Map();
  if (!afresh) for (const [kind, held] of rows.value) byKind.set(kind, new Map(held));
  for (const { kind, id, data } of changed) {
    const over = data === null || (kind === "alert" && data.state === "cleared");
    if (over) kindOf(byKind, kind).delete(id);
    else kindOf(byKind, kind).set(id, data);
  }
  rows.value = byKind;
}

/** Read the outbox and the tray again, after they have changed on disk. */
export async function refreshQueue() {
  const [events, refused, last] = await reading(async (db) => {
    const queue = await db.getAll("outbox");
    const held = await Promise.all(queue.map((entry) => db.get("events", entry.id)));
    return [held.filter(Boolean), await db.getAll("refused"), await db.get("meta", "last_sync_at")];
  });
  pending.value = events;
  tray.value = refused;
  contact.value = { ...contact.value, last_sync_at: last ?? null };
}
