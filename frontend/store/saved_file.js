// @ts-check
/**
 * What is on this phone and not on the server, as the text of a file. It is read whatever else is
 * wrong: a full storage, a database of a newer version, a record that cannot be read any more.
 * @module
 */
import { writeSavedFile } from "../core/saved_file.js";
import { lastSkew, localText } from "./clock.js";
import { database, openAsItIs } from "./database.js";
import { device, nursery, pending, tray, unsentPhotos } from "./house.js";
import { asSent } from "./queue.js";

/** Nothing can be read, neither from the disk nor from memory. */
export class NothingReadable extends Error {}

// Base64: what a server takes at once is twice that, and records go before pictures. Ours.
const PHOTOS_MAX_CHARACTERS = 8_000_000;

/**
 * The file's text, how many records and pictures are in it, and how many pictures are not.
 * @returns {Promise<{text: string, count: number, photos: number, left_out: number}>}
 * @throws {NothingReadable}
 */
export async function savedFile() {
  const held = await fromDisk();
  const text = writeSavedFile({ ...held, made_at: localText() });
  return { text, count: held.events.length + held.refused.length, photos: held.photos.length, left_out: held.left_out };
}

async function fromDisk() {
  const ways = [database, openAsItIs];
  const said = [];
  for (const way of ways) {
    try {
      return await read(await inTime(way()));
    } catch (error) {
      said.push(String(error?.message ?? error));
    }
  }
  return fromMemory(said.join("; "));
}

const LIMIT_MS = 4000;

/** A database that another tab blocks never answers. */
function inTime(opening) {
  const late = new Promise((_, fail) => setTimeout(() => fail(new Error("the database does not answer")), LIMIT_MS));
  return Promise.race([opening, late]);
}

async function read(db) {
  const [queue, own, refused] = [await all(db, "outbox"), await all(db, "events"), await all(db, "refused")];
  const open = refused.values.filter((entry) => !entry.mended_by);
  const inTray = new Set(open.map(({ id }) => id));
  const events = new Map(own.values.map((event) => [event.id, event]));
  const waiting = queue.values.filter(({ id }) => !inTray.has(id));
  const lost = waiting.filter(({ id }) => !events.has(id)).map(({ seq }) => seq);
  const [home] = await keys(db, "rows", IDBKeyRange.bound("nursery:", "nursery;"));
  return {
    site: home ? String(home).slice("nursery:".length) : null,
    device: (await value(db, "device")) ?? null,
    skew_ms: (await value(db, "skew_ms")) ?? lastSkew(),
    events: waiting.map(({ id }) => events.get(id)).filter(Boolean).map(asSent),
    refused: open.map(({ event, problem }) => ({ event: asSent(event), problem })),
    unreadable: [...queue.unreadable, ...lost],
    ...(await photosIn(db)),
  };
}

/** The oldest unsent pictures, as many as fit. */
async function photosIn(db) {
  // The record may be of a version of the app that knew of no pictures.
  const known = db.objectStoreNames.contains("unsent_photos");
  const waiting = known ? (await all(db, "unsent_photos")).values.sort((a, b) => (a.at < b.at ? -1 : 1)) : [];
  const photos = /** @type {any[]} */ ([]);
  let room = PHOTOS_MAX_CHARACTERS;
  for (const { sha256 } of waiting) {
    const jpeg = await packed(db, sha256);
    if (jpeg === null || jpeg.length > room) continue;
    room -= jpeg.length;
    photos.push({ photo: sha256, jpeg });
  }
  return { photos, left_out: waiting.length - photos.length };
}

async function packed(db, sha256) {
  try {
    const { blob } = await db.get("photos", sha256);
    const octets = new Uint8Array(await blob.arrayBuffer());
    let text = "";
    for (let at = 0; at < octets.length; at += 0x8000) text += String.fromCharCode(...octets.subarray(at, at + 0x8000));
    return btoa(text);
  } catch (error) {
    // Left out, and counted as that.
    console.warn(`photo ${sha256}:`, error.message);
    return null;
  }
}

/** All of a store; where one of its records cannot be read, all others. */
async function all(db, store) {
  try {
    return { values: await db.getAll(store), unreadable: [] };
  } catch (error) {
    console.warn(`${store}:`, error.message);
  }
  const found = { values: /** @type {any[]} */ ([]), unreadable: /** @type {any[]} */ ([]) };
  for (const key of await keys(db, store)) {
    try {
      found.values.push(await db.get(store, key));
    } catch (error) {
      console.warn(`${store} ${key}:`, error.message);
      found.unreadable.push(key);
    }
  }
  return found;
}

const keys = (db, store, range = null) => db.getAllKeys(store, range);
const value = (db, name) => db.get("meta", name);

/** What the app that is open still holds, where the disk gives nothing. */
function fromMemory(said) {
  if (!pending.value.length && !tray.value.length) throw new NothingReadable(said);
  const { id: site = null } = nursery() ?? {};
  return {
    site, device: device.value || null, skew_ms: lastSkew(), unreadable: [], photos: [], left_out: unsentPhotos.value.length,
    events: pending.value.map(asSent),
    refused: tray.value.map(({ event, problem }) => ({ event: asSent(event), problem })),
  };
}
