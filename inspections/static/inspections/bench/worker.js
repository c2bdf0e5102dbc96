// Keeps the exercises that were opened, with all that their pages load, for where there is no signal.
// The server puts one line before this: `const BUILD = "..."`.
"use strict";

const CACHE = `bench-${BUILD}`;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(activate()));
self.addEventListener("message", (event) => event.waitUntil(keep(event.data).then(() => event.source.postMessage("kept"))));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET" || new URL(request.url).origin !== self.location.origin) return;
  event.respondWith(request.mode === "navigate" ? page(request) : file(request));
});

async function activate() {
  for (const name of await caches.keys()) if (name.startsWith("bench-") && name !== CACHE) await caches.delete(name);
  await self.clients.claim();
}

async function keep({ page, files }) {
  const cache = await caches.open(CACHE);
  for (const file of files) if (!(await cache.match(file))) await cache.add(file);
  const answer = await fetch(page, { cache: "no-store" });
  if (!answer.ok || answer.redirected) throw new Error(`${page} cannot be fetched now`);
  await cache.put(page, answer);
}

async function page(request) {
  return fetch(request).catch(async () => (await kept(request)) ?? Response.error());
}

async function file(request) {
  return (await kept(request)) ?? fetch(request);
}

function kept(request) {
  return caches.match(request, { cacheName: CACHE, ignoreVary: true });
}
