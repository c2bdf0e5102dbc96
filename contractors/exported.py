"""The contractor's own people and their licences, as a table for export."""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _

from contractors import exports
from contractors.doors import Door
from contractors.exports import Filters, Table
from contractors.models import Licence, Person

COLUMNS = (
    *("code", "name", "telephone", "e-mail", "office", "goes out", "role", "sign-in ended on"),
    *("licence", "number", "jurisdiction", "valid from", "valid until"),
)


def register() -> None:
    """Offer the table."""
    exports.register(
        Table(
            name="people",
            title=_("People and licences"),
            says=_("A row a licence; people without one have a row too."),
            columns=lambda _units: COLUMNS,
            chosen=_chosen,
            rows=_rows,
        )
    )


def _chosen(_narrowed: Filters, _door: Door) -> Any:
    return None, Person.objects.order_by("name", "pk")


def _rows(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    people = exports.in_order(Person.objects.select_related("office", "membership"), ids)
    licences: dict[UUID, list[Licence]] = {}
    for licence in Licence.objects.filter(person__in=people).order_by("kind", "valid_until", "pk"):
        licences.setdefault(licence.person_id, []).append(licence)
    for person in people:
        office, member = person.office, person.membership
        about = (
            *(person.code, person.name, person.phone, person.email),
            *(office.name if office else None, person.is_technician),
            *((member.role, member.ended_on) if member else (None, None)),
        )
        held = licences.get(person.pk, [])
        for one in held:
            until = one.valid_until
            yield (*about, one.kind, one.number, one.jurisdiction, one.valid_from, until)
        if not held:
            yield (*about, *[None] * 5)
