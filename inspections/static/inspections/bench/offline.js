// Opening an exercise again without signal: a worker keeps its page and what it loads.

const SCOPE = "/practice/";

/** Have this page kept, and call `done` once it is; a worker of a newer build takes over at once. */
export async function keepHere(alsoFiles, done) {
  const workers = navigator.serviceWorker;
  if (!workers) return;
  const isNew = !workers.controller;
  workers.addEventListener("controllerchange", () => isNew || location.reload());
  workers.addEventListener("message", ({ data }) => data === "kept" && done());
  await workers.register(`${SCOPE}worker.js`, { scope: SCOPE }).catch(() => {}); // Without signal what is kept goes on.
  const loaded = performance.getEntriesByType("resource").map((entry) => new URL(entry.name));
  const files = loaded.filter((url) => url.origin === location.origin && url.pathname.startsWith("/static/")).map((url) => url.pathname);
  const { active } = await workers.ready;
  active.postMessage({ page: location.pathname, files: [...new Set([...files, ...alsoFiles])] });
}
