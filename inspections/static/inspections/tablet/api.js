// The server's addresses, as the tablet calls them.

import { base64 } from "./vault.js";

const ROOT = "/api/v1/";
const CHUNK = 256 * 1024;
// A line that only holds a call is given up; the same goes again later.
const PATIENCE_MS = 120_000;
const TUS = { "Tus-Resumable": "1.0.0" };

/** An answer other than good: its status, the sentence and code that came with it, seconds to wait. */
export class Refused extends Error {
  constructor(status, { message, code = "" }, wait = 0) {
    super(message);
    Object.assign(this, { status, code, wait });
  }
}

/** The server, called as the person who is signed in. */
export class Api {
  constructor() {
    this.tablet = null;
    this.member = null;
  }

  /** Make this tablet known: it gets an id, under which its entries are counted from 1. */
  register(label) {
    return this.post("sync/tablets/", { label });
  }

  /** Fetch today's packs and what changed since the cursor. */
  pull(cursor) {
    const asked = new URLSearchParams({ tablet: this.tablet, ...(cursor ? { cursor } : {}) });
    return this.call(`sync/pull/?${asked}`);
  }

  /** Send events. */
  push(body) {
    return this.post("sync/push/", body);
  }

  /** Fetch how far the visits of this tablet have come. */
  receipts() {
    return this.call(`sync/receipts/?${new URLSearchParams({ tablet: this.tablet })}`);
  }

  /**
   * Send a photo's bytes in chunks, from where the server has them; what came over is not sent again.
   *
   * As tus 1.0 says it.
   */
  async upload(photo, file) {
    const told = { blob: photo.blob, sha256: photo.sha256 };
    const metadata = Object.entries(told).map(([name, value]) => `${name} ${btoa(value)}`).join(",");
    const begun = await this.answer("blobs/", { method: "POST", headers: { ...TUS, "Upload-Length": file.size, "Upload-Metadata": metadata } });
    for (let at = offset(begun); at < file.size;) {
      const chunk = await file.slice(at, at + CHUNK).arrayBuffer();
      const checksum = `sha256 ${base64(await crypto.subtle.digest("SHA-256", chunk))}`;
      const headers = { ...TUS, "Content-Type": "application/offset+octet-stream", "Upload-Offset": at, "Upload-Checksum": checksum };
      at = offset(await this.answer(`blobs/${photo.blob}/`, { method: "PATCH", headers, body: chunk }));
    }
  }

  /** Fetch a sketch or photo of a building. */
  async picture(id) {
    return (await this.answer(`sketches/${id}/picture/`, {})).blob();
  }

  /** Sign out; what the tablet keeps is not touched. */
  async signOut() {
    await fetch("/account/logout/", { method: "POST", credentials: "same-origin", redirect: "manual", headers: { "X-CSRFToken": csrf() } });
  }

  post(path, body) {
    const headers = { "Content-Type": "application/json" };
    return this.call(path, { method: "POST", headers, body: JSON.stringify(body) });
  }

  async call(path, options = {}) {
    return (await this.answer(path, options)).json();
  }

  async answer(path, options) {
    // A browser that falls may lose the cookie that came last; the page brings it again.
    if (options.method && !csrf()) await fetch("/tablet/", { cache: "no-store", credentials: "same-origin", signal: AbortSignal.timeout(PATIENCE_MS) });
    const headers = { Accept: "application/json", "Accept-Language": document.documentElement.lang, "X-CSRFToken": csrf(), ...options.headers };
    const answer = await fetch(ROOT + path, { credentials: "same-origin", redirect: "manual", signal: AbortSignal.timeout(PATIENCE_MS), ...options, headers });
    if (answer.ok) return answer;
    throw new Refused(answer.status || 401, await problem(answer), Number(answer.headers.get("Retry-After")) || 0);
  }
}

// Something on the way may answer in the server's place; only the server says how far a photo has come.
function offset(answer) {
  const told = answer.headers.get("Upload-Offset");
  if (!/^\d+$/.test(told ?? "")) throw new TypeError("the answer is not the server's");
  return Number(told);
}

function csrf() {
  return document.cookie.match(/(?:^|; )(?:__Host-)?csrftoken=([^;]+)/)?.[1] ?? "";
}

async function problem(answer) {
  try {
    const { detail, title, code } = await answer.json();
    return { message: detail ?? title ?? String(answer.status), code };
  } catch {
    return { message: String(answer.status) };
  }
}
