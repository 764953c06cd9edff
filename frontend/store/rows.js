// @ts-check
/** The server's rows on this phone: each page of a pull applied whole, with its cursor. @module */
import { lastSkew } from "./clock.js";
import { durably } from "./database.js";

const ROW_NAMES = {
  lots: "lot", places: "place", people: "person", protocols: "protocol", watches: "watch",
  alerts: "alert", phones: "phone", nursery: "nursery", solutions: "solution",
};

/** @typedef {{key: string, kind: string, id: string, data: any | null}} Row null data: it is gone */

/** The rows on this phone are no longer where this page would follow on. */
export class MovedOn extends Error {}

/** The rows of a page, one kind of thing after another. @param {any} page @returns {Row[]} */
export function rowsOf(page) {
  /** @type {Row[]} */
  const rows = [];
  const add = (kind, id, data) => rows.push({ key: `${kind}:${id}`, kind, id, data });
  for (const [name, kind] of Object.entries(ROW_NAMES)) {
    for (const data of page.rows[name] ?? []) {
      // An alert that is over is history, and the phone holds standing ones only.
      const over = kind === "alert" && data.state === "cleared";
      add(kind, data.id, over ? null : kind === "lot" ? withBase(data) : data);
    }
  }
  for (const { kind, id } of page.gone ?? []) add(kind, id, null);
  return rows;
}

/**
 * A lot's row with what its fold begins with as text, `base`: few lots are folded on a phone, and
 * text is read from the disk several times as fast as objects are.
 */
function withBase({ tail, checkpoint, checkpoint_at, ...lot }) {
  return checkpoint ? { ...lot, base: JSON.stringify({ tail, checkpoint, checkpoint_at }) } : lot;
}

/**
 * Apply one page, rows and cursor in one transaction.
 * @param {any} page
 * @param {string} after the cursor from which it was pulled
 * @param {boolean} afresh the rows kept so far are from before a restore: drop them
 * @param {string} nowText when this phone was last in touch, if this is the last page
 * @returns {Promise<Row[]>} the rows written
 * @throws {MovedOn} nothing was written
 */
export async function applyPage(page, after, afresh, nowText) {
  const rows = rowsOf(page);
  await durably(["rows", "meta", "confirming"], async (tx) => {
    const store = tx.objectStore("rows");
    const meta = tx.objectStore("meta");
    // A pass that the watchdog gave up may still be waiting for the disk while a later one runs:
    // a page that does not follow on would leave a hole.
    if (((await meta.get("cursor")) ?? "0") !== after || ((await meta.get("afresh")) ?? false) !== afresh) {
      throw new MovedOn("another pass has moved the cursor");
    }
    if (afresh) await store.clear();
    await Promise.all(rows.map((row) => (row.data === null ? store.delete(row.key) : store.put({ ...row, data: JSON.stringify(row.data) }))));
    const known = { cursor: page.cursor, epoch: page.epoch, revision: page.revision, afresh: false, skew_ms: lastSkew() };
    await Promise.all(Object.entries(known).map(([name, value]) => meta.put(value, name)));
    if (page.more) return;
    await meta.put(nowText, "last_sync_at");
    await confirmed(tx.objectStore("confirming"), page.revision);
  });
  return rows;
}

/** What the server had stored by this revision is in its rows now; the phone's guess is over. */
async function confirmed(store, revision) {
  for (const entry of await store.getAll()) {
    if (entry.revision <= revision) await store.delete(entry.id);
  }
}

/** Read the rows again from the start: the server no longer knows our cursor. */
export function forgetCursor() {
  return durably(["meta"], async (tx) => {
    await tx.objectStore("meta").put("0", "cursor");
    await tx.objectStore("meta").put(true, "afresh");
  });
}
