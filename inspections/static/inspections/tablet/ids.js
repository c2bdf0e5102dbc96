// Ids made on this tablet: sorted by the time of making, or derived from another id.

// The name space of impairments that a finding opens by itself; the server derives the same id.
const IMPAIRMENT_OF = "6f0c2b1e-6c1b-5d43-9a55-0d5c6a4f7a10";

/** Return a new UUID (version 7): unique wherever it is made, and sorted by the time of making. */
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let ms = Date.now();
  for (let place = 5; place >= 0; place -= 1) {
    bytes[place] = ms % 256;
    ms = Math.floor(ms / 256);
  }
  return written(bytes, 7);
}

/** Return the id of the one impairment that a finding of that class opens (UUID version 5). */
export function impairmentOf(finding) {
  const name = new TextEncoder().encode(finding);
  return written(sha1([...bytesOf(IMPAIRMENT_OF), ...name]).slice(0, 16), 5);
}

function written(bytes, version) {
  bytes[6] = (bytes[6] & 0x0f) | (version << 4);
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const digits = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [digits.slice(0, 8), digits.slice(8, 12), digits.slice(12, 16), digits.slice(16, 20), digits.slice(20)].join("-");
}

function bytesOf(id) {
  return id.replaceAll("-", "").match(/../g).map((pair) => parseInt(pair, 16));
}

// FIPS 180-4, for what must be known at once; the browser's own hashing only answers later.
function sha1(message) {
  const length = message.length * 8;
  const padded = [...message, 0x80];
  while (padded.length % 64 !== 56) padded.push(0);
  for (let shift = 56; shift >= 0; shift -= 8) padded.push(shift > 31 ? 0 : (length >>> shift) & 0xff);
  const state = [0x67452301, 0xefcdab89, 0x98badcfe, 0x10325476, 0xc3d2e1f0];
  for (let at = 0; at < padded.length; at += 64) block(state, padded.slice(at, at + 64));
  return state.flatMap((word) => [24, 16, 8, 0].map((shift) => (word >>> shift) & 0xff));
}

function block(state, bytes) {
  const w = [];
  for (let n = 0; n < 16; n += 1) w.push((bytes[4 * n] << 24) | (bytes[4 * n + 1] << 16) | (bytes[4 * n + 2] << 8) | bytes[4 * n + 3]);
  for (let n = 16; n < 80; n += 1) w.push(turned(w[n - 3] ^ w[n - 8] ^ w[n - 14] ^ w[n - 16], 1));
  let [a, b, c, d, e] = state;
  for (let n = 0; n < 80; n += 1) {
    const [mixed, added] = round(n, b, c, d);
    [a, b, c, d, e] = [(turned(a, 5) + mixed + e + added + w[n]) | 0, a, turned(b, 30), c, d];
  }
  [a, b, c, d, e].forEach((word, place) => { state[place] = (state[place] + word) | 0; });
}

function round(n, b, c, d) {
  if (n < 20) return [(b & c) | (~b & d), 0x5a827999];
  if (n < 40) return [b ^ c ^ d, 0x6ed9eba1];
  if (n < 60) return [(b & c) | (b & d) | (c & d), 0x8f1bbcdc];
  return [b ^ c ^ d, 0xca62c1d6];
}

function turned(word, by) {
  return (word << by) | (word >>> (32 - by));
}
