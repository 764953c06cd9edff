// @ts-check
/**
 * The ids of alerts: twin of `domain/ids.py`'s `alert_id`. The same subject, watch and start give
 * the same id on the phone and on the server.
 * @module
 */
const NAMESPACE_URL = "6ba7b811-9dad-11d1-80b4-00c04fd430c8";
const UUID = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/i;

/**
 * @param {string} subjectId a UUID, or any other name
 * @param {string} watch
 * @param {string} since canonical text
 */
export function alertId(subjectId, watch, since) {
  const namespace = UUID.test(subjectId) ? subjectId : uuid5(NAMESPACE_URL, subjectId);
  return uuid5(namespace, `${watch}|${since}`);
}

/**
 * The version 5 UUID of a name in a namespace (RFC 9562 section 5.5).
 * @param {string} namespace
 * @param {string} name
 */
export function uuid5(namespace, name) {
  const octets = (namespace.replaceAll("-", "").match(/../g) ?? []).map((byte) => parseInt(byte, 16));
  const digest = sha1(Uint8Array.of(...octets, ...new TextEncoder().encode(name))).slice(0, 16);
  digest[6] = (digest[6] & 0x0f) | 0x50;
  digest[8] = (digest[8] & 0x3f) | 0x80;
  const hex = Array.from(digest, (octet) => octet.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

/**
 * SHA-1 (FIPS 180-4 section 6.1), for names only: the browser's own is asynchronous, and the
 * evaluation of the watches is not.
 * @param {Uint8Array} bytes
 */
export function sha1(bytes) {
  const padded = new DataView(new ArrayBuffer((((bytes.length + 8) >> 6) + 1) << 6));
  bytes.forEach((byte, index) => padded.setUint8(index, byte));
  padded.setUint8(bytes.length, 0x80);
  padded.setUint32(padded.byteLength - 4, bytes.length * 8);
  const hash = [0x67452301, 0xefcdab89, 0x98badcfe, 0x10325476, 0xc3d2e1f0];
  for (let start = 0; start < padded.byteLength; start += 64) {
    addBlock(hash, Array.from({ length: 16 }, (_, index) => padded.getUint32(start + index * 4)));
  }
  const digest = new DataView(new ArrayBuffer(20));
  hash.forEach((word, index) => digest.setInt32(index * 4, word));
  return new Uint8Array(digest.buffer);
}

/** Run the eighty rounds over a block of sixteen words and add the outcome to the hash. */
function addBlock(hash, words) {
  for (let t = 16; t < 80; t += 1) words.push(turn(words[t - 3] ^ words[t - 8] ^ words[t - 14] ^ words[t - 16], 1));
  let [a, b, c, d, e] = hash;
  words.forEach((word, t) => {
    const next = (turn(a, 5) + mixed(t, b, c, d) + e + word) | 0;
    [a, b, c, d, e] = [next, a, turn(b, 30), c, d];
  });
  [a, b, c, d, e].forEach((word, index) => {
    hash[index] = (hash[index] + word) | 0;
  });
}

function turn(word, bits) {
  return (word << bits) | (word >>> (32 - bits));
}

/** The function and the constant of round t. */
function mixed(t, b, c, d) {
  if (t < 20) return ((b & c) | (~b & d)) + 0x5a827999;
  if (t < 40) return (b ^ c ^ d) + 0x6ed9eba1;
  if (t < 60) return ((b & c) | (b & d) | (c & d)) + 0x8f1bbcdc;
  return (b ^ c ^ d) + 0xca62c1d6;
}
