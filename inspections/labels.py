"""Sheets of labels for systems, risers and devices: a code to scan, and the words to find it by."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import UUID

import segno
from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from buildings.models import Building, Device, Riser, System
from inspections import pdf

STYLE = Path(__file__).resolve().parent / "static/inspections/labels.css"


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of labels; lengths in millimetres.

    Attributes
    ----------
    paper
        The page's size as a style sheet names it.
    across, down
        How many labels.
    width, height
        Of one label.
    top, left
        From the paper's edge to the first label.
    gap
        Between two labels side by side.
    """

    name: Any
    paper: str
    across: int
    down: int
    width: float
    height: float
    top: float
    left: float
    gap: float = 0.0

    @property
    def side(self) -> float:
        """Return the side of the code, mm: what the label's height leaves."""
        return round(self.height - 3, 1)

    @property
    def count(self) -> int:
        """Return how many labels a sheet holds."""
        return self.across * self.down


# Sizes of label paper that is sold everywhere: common practice, no source.
SHEETS = {
    "letter-30": Sheet(
        _("Letter, 3 by 10, 2 5/8 by 1 inch"), "letter", 3, 10, 66.7, 25.4, 12.7, 4.8, 3.1
    ),
    "letter-10": Sheet(
        _("Letter, 2 by 5, 4 by 2 inches"), "letter", 2, 5, 101.6, 50.8, 12.7, 4.1, 4.5
    ),
    "a4-24": Sheet(_("A4, 3 by 8, 70 by 37 mm"), "A4", 3, 8, 70.0, 37.0, 0.5, 0.0),
    "a4-14": Sheet(_("A4, 2 by 7, 99 by 38 mm"), "A4", 2, 7, 99.1, 38.1, 15.15, 4.65, 2.5),
}


@dataclass(frozen=True, slots=True)
class Label:
    """What one label says."""

    id: UUID
    name: str
    code: str
    location: str
    building: str

    @property
    def path(self) -> str:
        """Return the code to scan as the path of an inline SVG."""
        return pdf.code_path(address_of(self.id))

    @property
    def side(self) -> int:
        """Return the side of the code in modules, its quiet margin included."""
        return int(segno.make(address_of(self.id), error="m", micro=False).symbol_size(border=2)[0])


def address_of(item_id: UUID) -> str:
    """Return what a label's code holds: where the item is found, whoever scans it."""
    return f"{settings.PUBLIC_URL}{reverse('at', args=[item_id])}"


def labels_of(building: Building, kinds: Sequence[str], system: UUID | None = None) -> list[Label]:
    """Return the labels of a building's items in service, in the order that water flows.

    Parameters
    ----------
    kinds
        Of ``system``, ``riser`` and ``device``.
    system
        One system alone, where given.
    """
    items: list[Any] = []
    for model in (System, Riser, Device):
        if model.subject_kind not in kinds:
            continue
        rows = model.objects.filter(building=building, in_service_to=None)
        if system is not None:
            rows = rows.filter(pk=system) if model is System else rows.filter(system=system)
        items += rows if model is System else rows.select_related("system")
    items.sort(key=lambda item: (_system(item).position if _system(item) else 10**6, _rank(item)))
    return [Label(item.pk, item.name, item.code, item.location, building.name) for item in items]


def _system(item: Any) -> Any:
    return item if isinstance(item, System) else item.system


def _rank(item: Any) -> tuple[int, int, str]:
    return (("system", "riser", "device").index(item.subject_kind), item.position, item.code)


def render(labels: Sequence[Label], sheet: Sheet, *, skip: int = 0) -> bytes:
    """Return sheets of labels as a PDF.

    Parameters
    ----------
    skip
        Labels of the first sheet that are gone already.

    Raises
    ------
    CannotRender
        When the layout fails.
    """
    cells: list[Label | None] = [*([None] * (skip % sheet.count)), *labels]
    pages = [cells[at : at + sheet.count] for at in range(0, len(cells), sheet.count)]
    page = render_to_string("inspections/labels.html", {"pages": pages, "sheet": sheet})
    told = json.dumps([{"id": str(one.id), "code": one.code, "name": one.name} for one in labels])
    digest = hashlib.sha256(page.encode()).hexdigest()
    return pdf.write(page, told, {}, name="labels.json", identifier=digest, style=STYLE)
