"""A visit on paper, for when there is no tablet: every line with its code, and room to write."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any
from uuid import UUID

import segno
from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from buildings.models import Device
from contractors.models import Membership
from contractors.refusal import Refusal
from inspections import access, guided, pdf
from inspections.models import Result, Visit
from inspections.pack import pack_of

STYLE = Path(__file__).resolve().parent / "static/inspections/blank.css"
# Without I, L, O, U: none is taken for a digit or another letter.
ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_MISREAD = str.maketrans("OIL", "011")
SHORTEST = 5
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
MOST_VISITS = 30
# Where sheets are cut to 8 1/2 by 11 inches: common practice, no source. Elsewhere they are A4.
LETTER_COUNTRIES = ("US", "CA", "MX", "PR", "PH", "CL", "CO")
PAPERS = ("letter", "A4")
# Components by whose test a valve is tripped, or its alarm and main drain are tried.
TRIPPED = ("alarm_valve", "main_drain", "dry_pipe_valve", "preaction_valve", "deluge_valve")
BOXES = {
    "inspection": (_("In order"), _("Finding"), _("Not done")),
    "test": (_("Pass"), _("Fail"), _("Not done")),
}


class NothingToPrint(Refusal):
    """No visit that is still to be done falls on that day."""

    code = "nothing_to_print"
    status = 404
    sentence = "No visit that is still to be done is planned for %(day)s."


class TooMany(Refusal):
    """More visits than one file should hold."""

    code = "too_many_visits"
    status = 422
    sentence = "%(count)s visits are too many for one file: at most %(most)s. Name a technician."


def codes_of(line_ids: Iterable[UUID]) -> dict[UUID, str]:
    """Return the short code of each line of a visit: the same on every printing, unlike in it.

    Parameters
    ----------
    line_ids
        Of one visit. Where two of them had the same five signs, the later one gets more.
    """
    codes: dict[UUID, str] = {}
    taken: set[str] = set()
    for line_id in sorted(line_ids):
        number = int.from_bytes(hashlib.sha256(line_id.bytes).digest(), "big")
        signs = ""
        while len(signs) < SHORTEST or signs in taken:
            number, rest = divmod(number, len(ALPHABET))
            signs += ALPHABET[rest]
        taken.add(signs)
        codes[line_id] = signs
    return codes


def line_of(visit: Visit, code: str) -> UUID | None:
    """Return the line that a typed code stands for, however it was typed; None for no line."""
    signs = "".join(one for one in code.upper() if one.isalnum()).translate(_MISREAD)
    lines = visit.lines.values_list("pk", flat=True)
    return next((pk for pk, known in codes_of(lines).items() if known == signs), None)


def paper_for(country: str) -> str:
    """Return the paper that is usual in a country."""
    return "letter" if country.upper() in (*LETTER_COUNTRIES, "USA") else "A4"


def of_day(member: Membership, day: date, technician: UUID | None = None) -> list[Visit]:
    """Return the visits of a day that are still to be done, as far as the member may see them.

    Raises
    ------
    NothingToPrint
        When there is none.
    TooMany
        For one file.
    """
    rows = access.visits_of(member).filter(planned_on=day, state__in=Visit.UNDER_WAY)
    if technician is not None:
        rows = rows.filter(technician=technician)
    found = list(rows.order_by("technician__name", "planned_start", "pk"))
    if not found:
        raise NothingToPrint(day=day.isoformat())
    if len(found) > MOST_VISITS:
        raise TooMany(count=len(found), most=MOST_VISITS)
    return found


def render(visits: Sequence[Visit], paper: str = "") -> bytes:
    """Return the blanks of visits as one PDF, each on pages of its own.

    Parameters
    ----------
    paper
        ``letter`` or ``A4``; empty for what is usual where the first building stands.

    Raises
    ------
    CannotRender
        When the layout fails.
    """
    blanks = [facts(visit) for visit in visits]
    context = {
        "blanks": blanks,
        "paper": paper or paper_for(visits[0].building.country),
        "style": STYLE.read_text(),
    }
    page = render_to_string("inspections/blank.html", context)
    told = json.dumps(
        [{"visit": one["visit"]["id"], "lines": _told_lines(one)} for one in blanks], indent=1
    )
    digest = hashlib.sha256(page.encode()).hexdigest()
    return pdf.write(page, told, {}, name="blank.json", identifier=digest)


def facts(visit: Visit) -> dict[str, Any]:
    """Return what the blank of a visit says: its work pack, with codes and what is recorded."""
    pack = pack_of(visit)
    codes = codes_of(visit.lines.values_list("pk", flat=True))
    results = Result.objects.filter(visit=visit)
    answered = {(str(row.subject_id), row.activity): row.answer for row in results}
    letters: dict[str, str] = {}
    valves: dict[str, dict[str, Any]] = {}
    for system in pack["systems"]:
        for group in system["groups"]:
            for line in group["lines"]:
                line |= _printed(line, codes, answered)
            group["cautions"] = _cautions(group["lines"], letters)
            _move_end_state(group, valves)
    for group in valves.values():
        group["valve"]["guides"] = _guides(group, visit)
    numbered = [one["licence"] for one in pack["people"] if one["here"] and one["licence"]]
    return pack | {
        "contractor": visit.contractor.name,
        "second": visit.second.name if visit.second else "",
        "licences": ", ".join(numbered),
        "code": _square(reverse("visit_paper", args=[visit.pk])),
        "count": len(codes),
    }


def _printed(
    line: Mapping[str, Any], codes: Mapping[UUID, str], answered: Mapping[tuple[str, str], str]
) -> dict[str, Any]:
    line_id = UUID(line["id"])
    return {
        "code": codes[line_id],
        "square": _square(reverse("paper_line", args=[line_id])),
        "boxes": BOXES["inspection" if line["activity_kind"] == "inspection" else "test"],
        "recorded": answered.get((line["subject"]["id"], line["activity"]), ""),
    }


def _cautions(lines: Sequence[dict[str, Any]], letters: dict[str, str]) -> list[dict[str, str]]:
    """Return the cautions of a riser, each once and under the letter it has in the whole visit."""
    here: dict[str, str] = {}
    for line in lines:
        for words in line["cautions"]:
            here[words] = letters.setdefault(words, _letter(len(letters)))
        line["heed"] = ", ".join(letters[words] for words in line["cautions"])
    return [{"letter": letter, "words": words} for words, letter in here.items()]


def _move_end_state(group: dict[str, Any], valves: dict[str, dict[str, Any]]) -> None:
    """Leave a valve's end state to the last group that works at it: it is seen before leaving."""
    if group["valve"]:
        before = valves.get(group["valve"]["device"])
        valves[group["valve"]["device"]] = group
        if before is not None:
            before["valve"] = None


def _guides(group: dict[str, Any], visit: Visit) -> list[dict[str, Any]]:
    """Return the guided tasks of a valve, the test with its steps where it is on the visit."""
    valve = group["valve"]
    device = Device.objects.select_related("system").get(pk=valve["device"])
    tested = any(
        line["activity_kind"] == "test" and line["component"] in TRIPPED for line in group["lines"]
    )
    whole = valve["tasks"][0] if tested else ""
    return [
        {
            "task": task,
            "words": guided.task_words(valve["config"]["type"], task),
            "steps": guided.printed(device, task, visit.building.units) if task == whole else [],
        }
        for task in valve["tasks"]
    ]


def _letter(place: int) -> str:
    return _LETTERS[place] if place < len(_LETTERS) else f"A{place}"


def _square(path: str) -> dict[str, Any]:
    """Return an address of the service as a code to scan."""
    text = f"{settings.PUBLIC_URL}{path}"
    made = segno.make(text, error="m", micro=False)
    return {"path": pdf.code_path(text), "side": made.symbol_size(border=2)[0]}


def _told_lines(blank: Mapping[str, Any]) -> dict[str, str]:
    return {
        line["code"]: line["id"]
        for system in blank["systems"]
        for group in system["groups"]
        for line in group["lines"]
    }
