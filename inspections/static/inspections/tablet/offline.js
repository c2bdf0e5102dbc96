// Opening without signal: the worker keeps the app itself, and the browser is asked to keep what is here.

let registration = null;

/** Have the app kept on this tablet; a newer one that is ready takes over before anything is shown. */
export async function start() {
  navigator.storage?.persist?.();
  if (!navigator.serviceWorker) return;
  navigator.serviceWorker.addEventListener("message", ({ data }) => {
    if (data.member && data.member !== document.documentElement.dataset.member) location.reload();
  });
  registration = await navigator.serviceWorker.getRegistration("/tablet/");
  if (newVersion()) useNewVersion();
  navigator.serviceWorker.register("/tablet/worker.js", { scope: "/tablet/" })
    .then((made) => { registration = made; })
    .catch(() => {}); // Without signal, or signed out: what is kept goes on.
}

/** Say whether a newer version waits for this one to be left. */
export function newVersion() {
  return Boolean(registration?.waiting && navigator.serviceWorker.controller);
}

/** Change to the newer version; what is recorded stays. */
export function useNewVersion() {
  navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
  registration.waiting.postMessage("now");
}

/** Throw away the kept app. */
export async function forget() {
  await registration?.unregister();
  if (!globalThis.caches) return;
  for (const name of await caches.keys()) await caches.delete(name);
}
