// Fetches the work packs of the day, and keeps them for where there is no signal.

import * as clock from "./clock.js";
import * as store from "./store.js";

/** Return the kept packs by visit. */
export async function kept() {
  return new Map((await store.packs()).map((pack) => [pack.visit.id, pack]));
}

/**
 * Make the tablet known if it is not, and fetch what changed; return what the server said.
 *
 * Packs are replaced whole; the packs given are brought up to date in place. One that is withdrawn
 * stays among them, so marked, for the screen that is open at it.
 */
export async function pull(api, packs, queue) {
  const answer = await asked(api, queue);
  await clock.note(answer);
  api.member = answer.member;
  await store.keepLocked("member", answer.member);
  await store.keep("catalogue", answer.catalogue ?? null);
  for (const pack of answer.visits) {
    packs.set(pack.visit.id, pack);
    await store.keepPack(pack);
  }
  for (const { visit, reason } of answer.withdrawn) {
    if (packs.has(visit)) packs.get(visit).withdrawn = reason;
    await store.forgetPack(visit);
  }
  await store.keep("cursor", answer.cursor);
  await queue.prune(packs);
  return answer;
}

// The server may not know this tablet any more, or know more of it than it knows itself: its
// storage was put back to an earlier day. Then it counts anew, and sends what waits once more.
async function asked(api, queue) {
  if (!api.tablet) await register(api, queue);
  const answer = await api.pull(await store.value("cursor")).catch((error) => {
    if (error.status === 404) return null;
    throw error;
  });
  if (answer && answer.next <= (await store.value("seq", 0)) + 1) return answer;
  await register(api, queue);
  return api.pull(await store.value("cursor"));
}

async function register(api, queue) {
  const answer = await api.register(label());
  await clock.note(answer);
  await queue.renumber(answer.tablet);
  api.tablet = answer.tablet;
  api.member = answer.member;
  await store.keepLocked("member", answer.member);
}

function label() {
  const platform = navigator.userAgentData?.platform ?? navigator.platform ?? "";
  return `${platform || "tablet"} ${Math.max(screen.width, screen.height)}`.trim();
}

/** Return every subject of the building with its name and number, those of the visit's lines first. */
export function subjectsOf(pack) {
  const found = new Map(linesOf(pack).map(({ line }) => [line.subject.id, null]));
  for (const { id, kind, item_kind: _kind, ...rest } of pack.items) found.set(id, { subject: { kind, id }, ...rest });
  const { id, name, code } = pack.building;
  found.set(id, { subject: { kind: "building", id }, name, code, location: "", serial: "" });
  return [...found.values()].filter(Boolean);
}

/** Return the name of whoever recorded something; empty where this tablet doesn't know. */
export function personOf(app, visit, member) {
  if (member === app.api.member?.id) return app.api.member.name;
  return (visit.pack.people ?? []).find((one) => one.member === member)?.name ?? "";
}

/** Return every line with its group and system, in water order. */
export function linesOf(pack) {
  return pack.systems.flatMap((system) =>
    system.groups.flatMap((group) => group.lines.map((line) => ({ system, group, line }))),
  );
}

/** Return the valves that can be tripped, each with the group and system it stands in. */
export function valvesOf(pack) {
  return pack.systems.flatMap((system) =>
    system.groups.filter((group) => group.valve).map((group) => ({ system, group, valve: group.valve })),
  );
}
