// @ts-check
/**
 * Pictures in the phone's database, within the transactions of records: `photos` holds the octets
 * (a Blob) under their SHA-256, `unsent_photos` what the server has not named as kept.
 * @module
 */

export const PHOTO_STORES = ["photos", "unsent_photos"];

/** Whether saving a draft touches pictures. @param {{kind: string, photo?: Blob}} draft */
export const touchesPhotos = ({ kind, photo }) => Boolean(photo) || kind === "voided";

/**
 * Keep a picture with the event that names it. One that was sent before is not sent again.
 * @param {any} tx
 * @param {any} event
 * @param {Blob} blob
 */
export async function keepPhoto(tx, { id, at, lot, data }, blob) {
  const [photos, unsent] = PHOTO_STORES.map((name) => tx.objectStore(name));
  const { sha256 } = data;
  const [kept, waiting] = await Promise.all([photos.get(sha256), unsent.get(sha256)]);
  if (kept?.mine && !waiting) return;
  const events = [...(waiting?.events ?? []), id];
  await Promise.all([
    photos.put({ sha256, blob, mine: true, at }),
    unsent.put({ sha256, events, at, lot, bytes: blob.size, tried: false }),
  ]);
}

/**
 * A record was taken back: where its picture has not left the phone, it never does.
 * @param {any} tx
 * @param {string} of the record's id
 */
export async function dropTakenBack(tx, of) {
  const [photos, unsent] = PHOTO_STORES.map((name) => tx.objectStore(name));
  const waiting = (await unsent.getAll()).find(({ events }) => events.includes(of));
  if (!waiting) return;
  const events = waiting.events.filter((id) => id !== of);
  if (events.length) await unsent.put({ ...waiting, events });
  else await Promise.all([unsent.delete(waiting.sha256), photos.delete(waiting.sha256)]);
}

/**
 * A server that was restored may lack pictures that it had: each is asked about, and sent again.
 * @param {any} tx
 */
export async function doubtSent(tx) {
  const [photos, unsent] = PHOTO_STORES.map((name) => tx.objectStore(name));
  const waiting = new Set(await unsent.getAllKeys());
  for (const { sha256, blob, mine, at } of await photos.getAll()) {
    if (mine && !waiting.has(sha256)) await unsent.put({ sha256, events: [], at, lot: null, bytes: blob.size, tried: true });
  }
}
