// Notes and pictures beside the answers: of the visit as a whole, or of one item.

import * as clock from "./clock.js";
import { h } from "./dom.js";
import { attach, pictureBox } from "./finding.js";
import { personOf, subjectsOf } from "./pack.js";
import { button, complain, field, linkButton, textOf, thumb, where } from "./parts.js";
import { address } from "./shell.js";
import { language, t } from "./words.js";

/** Write a note, with or without a picture; those there are stand above. */
export function noteScreen(app, visit, subjectId = null) {
  const about = subjectId ? subjectsOf(visit.pack).find((one) => one.subject.id === subjectId) : null;
  const draft = { photo: null, marked: null };
  const notes = visit.picture.notes.filter((event) => !about || event.payload.subject?.id === subjectId);
  const save = async () => {
    const text = textOf(app.main, "text");
    if (!complain(app.main.querySelector('[name="text"]'), text || draft.photo ? null : t("Write something down, or take a picture."))) return;
    if (text) await app.record(visit.id, "note.add", { text, subject: about?.subject ?? null });
    await attach(app, visit, draft, about?.subject ?? null, null);
    app.say(t("Kept on this tablet first, sent when there is signal."));
    app.show();
  };
  return {
    title: t("Note"),
    nodes: [
      where(visit.building.name, about ? about.name : t("Note")),
      h("h1", {}, about ? t("Note: {name}", { name: about.name }) : t("Note")),
      notes.length ? h("ul", { class: "ring" }, notes.map((event) => h("li", {}, h("p", {}, event.payload.text), h("p", { class: "quiet" }, saidBy(app, visit, event))))) : null,
      field(t("What is worth knowing?"), "text", { lines: true, hint: t("The keyboard's own dictation works here.") }),
      pictureBox(app, visit, draft),
      thumb(null, button(t("Keep the note"), save, { main: true }), linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

function saidBy(app, visit, event) {
  const time = event.wall ? clock.timeOf(event.wall, visit.zone, language()) : "";
  return [personOf(app, visit, event.by), time].filter(Boolean).join(", ");
}
