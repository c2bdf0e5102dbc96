// What is on this tablet and not sent yet, and the ways to send it, save it, or leave.

import { h } from "./dom.js";
import * as lock from "./lock.js";
import * as offline from "./offline.js";
import { button, linkButton, row, rows, thumb, where } from "./parts.js";
import * as store from "./store.js";
import { t } from "./words.js";

/** What waits on this tablet and what was refused; the screen follows the queue. */
export function unsentScreen(app) {
  const { queue } = app;
  const refused = queue.refused.map((one) => row(`#/v/${one.event.visit}/close`, "caution", one.event.kind, one.reason ?? ""));
  const photos = queue.photos.filter((one) => one.refused).map((one) => row(`#/v/${one.visit}`, "i-camera", app.visit(one.visit)?.building.name ?? "", one.refused));
  const visits = [...app.packs.keys()].filter((id) => queue.waiting(id)).map((id) =>
    row(`#/v/${id}`, "st-send", app.visit(id).building.name, t("{n} to send", { n: queue.waiting(id) })));
  return {
    title: t("On this tablet"),
    follows: true,
    nodes: [
      where(app.api.member?.name ?? ""),
      h("h1", {}, queue.waiting() ? t("{n} to send", { n: queue.waiting() }) : t("Everything is sent")),
      queue.signedOut ? outside(queue) : null,
      queue.trouble && !queue.signedOut ? h("p", {}, t("The server says: {what}", { what: queue.trouble })) : null,
      visits.length ? rows(t("To send"), visits) : null,
      refused.length ? rows(t("Not accepted"), refused) : null,
      photos.length ? rows(t("Photos not accepted"), photos) : null,
      offline.newVersion() ? h("section", { class: "left" }, h("h2", {}, t("A new version is ready")), button(t("Use it now"), offline.useNewVersion)) : null,
      queue.waiting() ? handOver(queue) : signOut(app),
      thumb(null, button(t("Send now"), () => queue.send(), { main: true }), linkButton(t("All visits"), "#/")),
    ],
  };
}

// Signing in again helps nobody whose account may not come in any more.
function outside(queue) {
  if (queue.shutOut) return h("p", {}, t("The office has ended this account's access: nothing is sent under it. Nothing is lost; save it as a file below and give that to the office."));
  return h("p", {}, t("You are signed out. Nothing is lost; sign in again and it is sent."), " ", h("a", { href: "/account/login/?next=/tablet/" }, t("Sign in")));
}

function handOver(queue) {
  return h("details", { class: "why", open: queue.shutOut }, h("summary", {}, t("It cannot be sent?")),
    h("p", {}, t("Save it as a file and give that to the office. Only the office can open it; it stays here too.")),
    button(t("Save the file for the office"), lock.saveBundle));
}

function signOut(app) {
  return h("details", { class: "why" }, h("summary", {}, t("Sign out and clear this tablet")),
    h("p", {}, t("Everything is sent. What is kept here is thrown away; signing in again fetches it.")),
    button(t("Sign out and clear"), async () => {
      if (app.queue.waiting()) return app.show();
      await app.api.signOut();
      await offline.forget();
      await store.clear();
      location.assign("/account/login/");
    }, { harm: true }));
}
