// A picture from the camera, made small enough to send from a basement and hashed.

import { sha256 } from "./fold.js";
import { newId } from "./ids.js";

const LONGEST_SIDE = 2048;
const QUALITY = 0.85;
const SMALL_BYTES = 400_000;

/**
 * Return a photo ready to be kept: {blob, sha256, file, type, visit, sent}.
 *
 * Drawn anew it also loses what the camera wrote into it, such as the place.
 */
export async function photoOf(file, visit) {
  const made = await redrawn(file);
  const bytes = await made.arrayBuffer();
  return { blob: newId(), sha256: await sha256(bytes), file: new Blob([bytes], { type: made.type }), type: made.type, size: bytes.byteLength, visit, sent: false };
}

async function redrawn(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", file.size < SMALL_BYTES ? 0.92 : QUALITY));
}

/** Return the payload that names a photo in the record. */
export function photoPayload(photo, { subject = null, finding = null, caption = "" } = {}) {
  return { blob: photo.blob, sha256: photo.sha256, size: photo.size, media_type: photo.type, subject, finding, caption };
}
