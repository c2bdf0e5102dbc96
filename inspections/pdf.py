"""Lays a report out as an archival PDF with the report's own JSON inside; it adds only layout."""

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import segno
from django.conf import settings
from django.template.loader import render_to_string

from inspections import drawn_tests

STYLE = Path(__file__).resolve().parent / "static/inspections/report.css"


class CannotRender(RuntimeError):
    """The report could not be laid out; the facts stay sealed and the job is tried again."""


def render(facts: Mapping[str, Any], source: str, pictures: Mapping[str, bytes]) -> bytes:
    """Return the PDF of a report; the same facts and pictures give the same bytes.

    Parameters
    ----------
    facts
        The report as `report.facts` made it.
    source
        Its canonical text, attached to the PDF as report.json.
    pictures
        JPEG bytes by id of the photo.

    Raises
    ------
    CannotRender
        When the layout fails; the cause is chained.
    """
    digest = hashlib.sha256(source.encode()).hexdigest()
    drawn = pictures_of(facts)
    context = {"report": facts, "sha256": digest, "qr": code_of(facts["code"]), "drawn": drawn}
    page = render_to_string("inspections/report.html", context)
    pictures = {**pictures, **{name: one.svg.encode() for name, one in drawn.items()}}
    return write(page, source, pictures, name="report.json", identifier=digest)


def pictures_of(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Return the pictures of tests, of readings over the years and of supplies, by their names.

    Older reports have none of them.
    """
    if not any(facts.get(name) for name in ("tests", "histories", "supplies")):
        return {}
    # The drawing library takes seconds to load: only where something is drawn.
    from inspections.pictures import history

    histories = enumerate(facts.get("histories", ()), start=1)
    return {
        **{
            f"test-{n}": drawn_tests.draw(one)
            for n, one in enumerate(facts.get("tests", ()), start=1)
        },
        **{f"history-{n}": history.draw(history.of_data(one)) for n, one in histories},
        **{
            f"supply-{n}": drawn_tests.draw(one)
            for n, one in enumerate(facts.get("supplies", ()), start=1)
        },
    }


def write(
    page: str,
    data: str,
    pictures: Mapping[str, bytes],
    *,
    name: str,
    identifier: str,
    style: Path = STYLE,
) -> bytes:
    """Return a page as an archival PDF with its data attached."""
    # The layout library takes seconds to load: only where something is laid out.
    from inspections import typeset

    try:
        return typeset.typeset(page, data, pictures, name=name, identifier=identifier, style=style)
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt | SystemExit):
            raise
        raise CannotRender(str(error)) from error


def code_of(code: str) -> str:
    """Return the verification address of a report as a QR code, an inline SVG path."""
    return code_path(verify_url(code))


def code_path(text: str) -> str:
    """Return a text as a QR code: one path of unit squares, with a quiet margin of two."""
    rows = segno.make(text, error="m", micro=False).matrix_iter(border=2)
    squares = ((x, y) for y, row in enumerate(rows) for x, dark in enumerate(row) if dark)
    return "".join(f"M{x} {y}h1v1h-1z" for x, y in squares)


def verify_url(code: str) -> str:
    """Return where a report is checked; without a public address, a path to put behind one."""
    return f"{settings.PUBLIC_URL}/verify/{code}/"
