// Locks what the tablet keeps: random keys, opened by a PIN; the office can open what was recorded here.
//
// `packs` locks what came from the server, `work` what was recorded. A PIN of a few digits holds off whoever
// finds the tablet, not a laboratory: the derivation is slow, and after too many tries the keys are gone.

import { newId } from "./ids.js";

/** So many wrong PINs in a row, and what came from the server is gone from this tablet. */
export const MOST_TRIES = 10;
const LEAST_DIGITS = 6;
const MOST_DIGITS = 12;
// PBKDF2-HMAC-SHA-256: OWASP Password Storage Cheat Sheet.
const ROUNDS = 600_000;
const AES = "AES-GCM";
const CURVE = { name: "ECDH", namedCurve: "P-256" };
const INFO = new TextEncoder().encode("maindrain rescue 1");

/** Say why a PIN will not do, or null: too_short, too_long, no_digits, too_plain. */
export function weakness(pin) {
  if (!/^\d*$/.test(pin)) return "no_digits";
  if (pin.length < LEAST_DIGITS) return "too_short";
  if (pin.length > MOST_DIGITS) return "too_long";
  const steps = new Set([...pin].slice(1).map((digit, place) => Number(digit) - Number(pin[place])));
  return steps.size === 1 && Math.abs([...steps][0]) <= 1 ? "too_plain" : null;
}

/**
 * Make new keys under a PIN; return {keys, vault}: the keys to work with, and what is kept of them.
 *
 * `office` is the office's public key (base64 of its SubjectPublicKeyInfo), to which the work key is sealed.
 */
export async function made(pin, office) {
  const [packs, work, salt] = [32, 32, 16].map((size) => crypto.getRandomValues(new Uint8Array(size)));
  const lid = await derived(pin, salt, ROUNDS);
  const vault = {
    id: newId(), salt, rounds: ROUNDS, tries: 0,
    packs: await encrypted(lid, packs, "packs"), work: await encrypted(lid, work, "work"),
    rescue: await sealedTo(office, work),
  };
  return { keys: { id: vault.id, packs: await imported(packs), work: await imported(work) }, vault };
}

/** Return the keys that a PIN opens, or null where it is the wrong one. */
export async function opened(vault, pin) {
  try {
    const lid = await derived(pin, vault.salt, vault.rounds);
    const [packs, work] = await Promise.all(["packs", "work"].map((name) => decrypted(lid, vault[name], name)));
    return { id: vault.id, packs: await imported(packs), work: await imported(work) };
  } catch (error) {
    if (error.name === "OperationError") return null;
    throw error;
  }
}

/** Lock a value under a key; `name` is what it is kept as, so that boxes cannot change places. */
export async function lock(key, value, name) {
  return encrypted(key, new TextEncoder().encode(JSON.stringify(value)), name);
}

/** Return the value in a box. */
export async function unlock(key, box, name) {
  return JSON.parse(new TextDecoder().decode(await decrypted(key, box, name)));
}

/** Lock a file's bytes under a key. */
export async function lockFile(key, file, name) {
  return { ...(await encrypted(key, await file.arrayBuffer(), name)), type: file.type };
}

/** Return the file in a box. */
export async function unlockFile(key, box, name) {
  return new Blob([await decrypted(key, box, name)], { type: box.type });
}

/** Return bytes as base64. */
export function base64(bytes) {
  let text = "";
  for (const byte of new Uint8Array(bytes)) text += String.fromCharCode(byte);
  return btoa(text);
}

async function derived(pin, salt, iterations) {
  const raw = await crypto.subtle.importKey("raw", new TextEncoder().encode(pin), "PBKDF2", false, ["deriveKey"]);
  return crypto.subtle.deriveKey({ name: "PBKDF2", hash: "SHA-256", salt, iterations }, raw, { name: AES, length: 256 }, false, ["encrypt", "decrypt"]);
}

function imported(bytes) {
  return crypto.subtle.importKey("raw", bytes, AES, false, ["encrypt", "decrypt"]);
}

async function encrypted(key, bytes, name) {
  const iv = crypto.getRandomValues(new Uint8Array(12));
  return { iv, data: await crypto.subtle.encrypt({ name: AES, iv, additionalData: new TextEncoder().encode(name) }, key, bytes) };
}

async function decrypted(key, { iv, data }, name) {
  return new Uint8Array(await crypto.subtle.decrypt({ name: AES, iv, additionalData: new TextEncoder().encode(name) }, key, data));
}

// Elliptic-curve key agreement with a key made for this one use; the other half is thrown away.
async function sealedTo(office, bytes) {
  const theirs = await crypto.subtle.importKey("spki", Uint8Array.from(atob(office), (letter) => letter.charCodeAt(0)), CURVE, false, []);
  const ours = await crypto.subtle.generateKey(CURVE, false, ["deriveBits"]);
  const shared = await crypto.subtle.deriveBits({ name: "ECDH", public: theirs }, ours.privateKey, 256);
  const raw = await crypto.subtle.importKey("raw", shared, "HKDF", false, ["deriveKey"]);
  const key = await crypto.subtle.deriveKey({ name: "HKDF", hash: "SHA-256", salt: new Uint8Array(0), info: INFO }, raw, { name: AES, length: 256 }, false, ["encrypt"]);
  return { ...(await encrypted(key, bytes, "work")), half: await crypto.subtle.exportKey("raw", ours.publicKey) };
}
