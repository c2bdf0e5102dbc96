// Keeps the technician's app on the tablet, whole, one build at a time.
// The server puts one line before this: `const SHELL = {build, page, files}`.
"use strict";

const { build: BUILD, page: PAGE, files: FILES } = SHELL;
const CACHE = `tablet-${BUILD}`;

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(activate()));
self.addEventListener("message", ({ data }) => data === "now" && self.skipWaiting());
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (event.request.mode === "navigate" && url.pathname === PAGE) event.respondWith(page(event));
  else if (FILES.includes(url.pathname)) event.respondWith(file(event.request));
});

async function install() {
  const cache = await caches.open(CACHE);
  await cache.addAll(FILES);
  const answer = await fetched();
  if (!answer) throw new Error("the page cannot be fetched by somebody who is signed out");
  await cache.put(PAGE, answer);
}

async function activate() {
  for (const name of await caches.keys()) if (name.startsWith("tablet-") && name !== CACHE) await caches.delete(name);
  await self.clients.claim();
}

// What is kept comes at once, so that weak signal holds nobody up; the page is fetched anew behind it.
async function page(event) {
  const kept = await caches.match(PAGE, { cacheName: CACHE });
  if (!kept) return fetch(event.request);
  event.waitUntil(renewed());
  return kept;
}

async function file(request) {
  return (await caches.match(request, { cacheName: CACHE, ignoreVary: true })) ?? fetch(request);
}

// The page says who is signed in; where that is somebody else now, the open windows are told.
async function renewed() {
  const answer = await fetched().catch(() => null);
  if (!answer) return;
  const text = await answer.clone().text();
  if (!text.includes(BUILD)) return; // Of a newer build, whose own worker keeps it.
  await (await caches.open(CACHE)).put(PAGE, answer);
  const member = text.match(/data-member="([^"]*)"/)?.[1];
  for (const client of await self.clients.matchAll()) client.postMessage({ member });
}

async function fetched() {
  const answer = await fetch(PAGE, { cache: "no-store", credentials: "same-origin" });
  return answer.ok && !answer.redirected ? answer : null;
}
