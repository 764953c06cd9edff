// @ts-check
/**
 * The file of what a phone could not send: JSON Lines with a head, a line for each record, then for
 * each picture, and an end with their number and sum. The server reads it (`domain/saved_file.py`).
 * @module
 */

// The second holds pictures, which an older server would not know.
export const FORMS = [1, 2];
const CRC_POLYNOMIAL = 0xedb88320;

/**
 * The CRC-32 of a text's UTF-8 octets (ISO 3309; RFC 1952 section 8), 8 hex digits. Not a hash of
 * the browser's: those are not there in a page without encryption, and this file always works.
 * @param {string} text
 */
export function checksum(text) {
  let sum = -1;
  for (const octet of new TextEncoder().encode(text)) {
    sum ^= octet;
    for (let bit = 0; bit < 8; bit += 1) sum = sum & 1 ? (sum >>> 1) ^ CRC_POLYNOMIAL : sum >>> 1;
  }
  return ((sum ^ -1) >>> 0).toString(16).padStart(8, "0");
}

/**
 * The whole file.
 * @param {{site: string | null, device: string | null, made_at: string, skew_ms: number, events: any[],
 *   refused: {event: any, problem: any}[], unreadable: any[], photos?: {photo: string, jpeg: string}[]}} held
 *   `unreadable`: keys of records that are on the phone and cannot be read any more; `photos`: each
 *   picture's SHA-256, and its octets in base64
 */
export function writeSavedFile({ site, device, made_at, skew_ms, events, refused, unreadable, photos = [] }) {
  const records = [
    ...events.map((event) => ({ event })),
    ...refused.map(({ event, problem }) => ({ refused: event, problem })),
    ...unreadable.map((key) => ({ unreadable: key })),
    ...photos,
  ];
  const head = { lathhouse: "unsent", form: FORMS[photos.length ? 1 : 0], site, device, made_at, skew_ms, lines: records.length + 2 };
  const before = [head, ...records].map((line) => `${JSON.stringify(line)}\n`).join("");
  return `${before}${JSON.stringify({ lines: records.length + 1, crc32: checksum(before) })}\n`;
}
