"""What upper apps show on the pages of buildings: they append to these lists in `ready`."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from buildings.models import Building


@dataclass(frozen=True)
class Panel:
    """A part of a building's or an item's page.

    Attributes
    ----------
    id, title
        Its place on the page, and its heading.
    template, context
        What is drawn inside its frame.
    aside
        Beside the systems rather than below them.
    link, link_words
        One address at the right end of the heading.
    """

    id: str
    title: str
    template: str
    context: Mapping[str, Any] = field(default_factory=dict)
    aside: bool = False
    link: str = ""
    link_words: str = ""


@dataclass(frozen=True)
class Mark:
    """How something stands: a key of `look.STATES`, with the day and the worst class."""

    state: str
    until: Any = None
    worst: str = ""
    words: str = ""


# Of a building's page: (request, building) -> Panel, or None where there is nothing to show.
building_panels: list[Callable[[Any, Building], Panel | None]] = []
# Of the page of a system, riser or device: (request, subject) -> Panel or None.
item_panels: list[Callable[[Any, Any], Panel | None]] = []
# Of the page of the import: (request) -> Panel or None.
import_panels: list[Callable[[Any], Panel | None]] = []
# One sentence of a building's title block: (request, building) -> template and context.
sentences: list[Callable[[Any, Building], Panel | None]] = []
# How buildings stand: (buildings) -> mark by id. And the filter of the list by that word.
standing_marks: list[Callable[[Sequence[Building]], Mapping[UUID, Mark]]] = []
standing_filters: list[Callable[[QuerySet[Building], str], QuerySet[Building]]] = []
# How systems, risers and devices of a building stand: (building) -> mark by id.
item_marks: list[Callable[[Building], Mapping[UUID, Mark]]] = []


def panels_of(makers: Sequence[Callable[..., Panel | None]], *given: Any) -> list[Panel]:
    """Return the panels that have something to show."""
    return [panel for panel in (make(*given) for make in makers) if panel is not None]


def marks_of(
    makers: Sequence[Callable[[Any], Mapping[UUID, Mark]]], given: Any
) -> dict[UUID, Mark]:
    """Return the marks by id; a later maker overrules an earlier one."""
    return {key: mark for make in makers for key, mark in make(given).items()}
