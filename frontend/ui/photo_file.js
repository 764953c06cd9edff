// @ts-check
/**
 * A picture as the camera gave it, made small enough for a slow line. It is drawn anew, so that
 * nothing of what the camera wrote beside it (where it was taken, by which phone) is left.
 * @module
 */

/** The longest side, and what the server takes at most. Ours: a leaf's spots are seen at that. */
const SIDE_MAX_PX = 1600;
const BYTES_MAX = 1_000_000;
// Each smaller than the one before; the first serves nearly always.
const TRIES = [[1, 0.8], [1, 0.6], [0.75, 0.6], [0.5, 0.5]];

/** The file is no picture that this phone can read. */
export class NoPicture extends Error {}
/** The browser names no pictures on a line that is not encrypted. */
export class NeedsSealedLine extends Error {}

/**
 * @param {Blob} file
 * @returns {Promise<{blob: Blob, data: {sha256: string, width_px: number, height_px: number}}>}
 * @throws {NoPicture | NeedsSealedLine}
 */
export async function smallPhoto(file) {
  if (!globalThis.crypto?.subtle) throw new NeedsSealedLine();
  const bitmap = await read(file);
  try {
    for (const [share, quality] of TRIES) {
      const made = await drawn(bitmap, SIDE_MAX_PX * share, quality);
      if (made.blob.size <= BYTES_MAX) return { blob: made.blob, data: { sha256: await sha256(made.blob), ...made.size } };
    }
  } finally {
    bitmap.close();
  }
  throw new NoPicture("it does not get small enough");
}

async function read(file) {
  try {
    return await createImageBitmap(file);
  } catch (error) {
    throw new NoPicture(error.message);
  }
}

async function drawn(bitmap, sideMaxPx, quality) {
  const scale = Math.min(1, sideMaxPx / Math.max(bitmap.width, bitmap.height));
  const [width_px, height_px] = [bitmap.width, bitmap.height].map((side) => Math.max(1, Math.round(side * scale)));
  const canvas = Object.assign(document.createElement("canvas"), { width: width_px, height: height_px });
  const pen = canvas.getContext("2d");
  if (!pen) throw new NoPicture("this phone is short of memory");
  pen.imageSmoothingQuality = "high";
  // What is seen through becomes white, not black.
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, width_px, height_px);
  pen.drawImage(bitmap, 0, 0, width_px, height_px);
  const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", quality));
  if (blob?.type !== "image/jpeg") throw new NoPicture("this phone is short of memory");
  return { blob, size: { width_px, height_px } };
}

async function sha256(blob) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", await blob.arrayBuffer()));
  return [...digest].map((octet) => octet.toString(16).padStart(2, "0")).join("");
}
