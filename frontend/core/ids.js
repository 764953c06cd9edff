// @ts-check
/** Identifiers made without a server (RFC 9562): twin of `domain/ids.py`. @module */

/**
 * A version 7 UUID: 48 bits of milliseconds, then 74 random bits (section 5.7).
 * @param {number} [nowMs]
 * @param {Uint8Array} [randomBytes] ten bytes
 */
export function uuid7(nowMs = Date.now(), randomBytes = crypto.getRandomValues(new Uint8Array(10))) {
  const octets = new Uint8Array(16);
  let ms = nowMs;
  for (let index = 5; index >= 0; index -= 1) {
    octets[index] = ms % 256;
    ms = Math.floor(ms / 256);
  }
  octets.set(randomBytes.subarray(0, 10), 6);
  octets[6] = (octets[6] & 0x0f) | 0x70;
  octets[8] = (octets[8] & 0x3f) | 0x80;
  const hex = Array.from(octets, (octet) => octet.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}
