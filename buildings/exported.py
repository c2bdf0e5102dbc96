"""Buildings and what stands in them, as tables for export."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _

from buildings import kinds, lists, units
from buildings.models import Building, Device, Riser, System, subject_model
from contractors import exports
from contractors.doors import Door
from contractors.exports import Filters, Table

BUILDING_COLUMNS = (
    *("number", "name", "address", "city", "region", "postal_code", "district"),
    "taken_over_on",
)
ITEM_COLUMNS = (
    *("building", "number", "district", "what", "code", "name", "kind", "location", "system"),
    *("riser", "part of", "serial number", "in service from", "in service until", "facts"),
)
BUILDINGS_AT_ONCE = 100


def register() -> None:
    """Offer the tables."""
    exports.register(
        Table(
            name="buildings",
            title=_("Buildings"),
            says=_("A row a building; the import takes the file again."),
            columns=lambda _units: BUILDING_COLUMNS,
            chosen=_chosen,
            rows=_buildings,
        ),
        Table(
            name="inventory",
            title=_("Inventory"),
            says=_("A row a system, riser or device, building by building; facts with units."),
            columns=lambda _units: ITEM_COLUMNS,
            chosen=_chosen,
            rows=_items,
            chunk=BUILDINGS_AT_ONCE,
        ),
    )


def _chosen(narrowed: Filters, _door: Door) -> Any:
    return lists.chosen(narrowed)


def _buildings(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    for row in exports.in_order(Building.objects.all(), ids):
        yield (
            *(row.code, row.name, row.address, row.city, row.region, row.postal_code),
            *(row.area, row.taken_over_on),
        )


def _items(ids: Sequence[UUID], system_of_units: str) -> Iterator[tuple[object, ...]]:
    found: dict[UUID, list[Any]] = defaultdict(list)
    names: dict[UUID, str] = {}
    for model in (System, Riser, Device):
        rows: Any = model
        for row in rows.objects.filter(building__in=list(ids)).order_by("position", "code"):
            found[row.building_id].append(row)
            names[row.pk] = row.code
    for building in exports.in_order(Building.objects.all(), ids):
        for row in found[building.pk]:
            yield (
                *(building.name, building.code, building.area, row.subject_kind, row.code),
                *(row.name, getattr(row, "kind", "riser"), row.location),
                *(_code(names, row, part) for part in _ABOVE),
                *(getattr(row, "serial", ""), row.in_service_from, row.in_service_to),
                facts(row.item_kind, row.attributes, system_of_units),
            )


_ABOVE = ("system", "riser", "parent")


def _code(names: Mapping[UUID, str], row: Any, part: str) -> str | None:
    above: UUID | None = getattr(row, f"{part}_id", None)
    return names.get(above) if above else None


def facts(kind: str, attributes: Mapping[str, Any], system_of_units: str) -> dict[str, Any]:
    """Return attributes by name, in a reader's units: each number's unit stands in its name."""
    known = kinds.kinds()[kind].attributes if kind in kinds.kinds() else {}
    found: dict[str, Any] = {}
    for name, value in (attributes or {}).items():
        unit = known[name].unit if name in known else ""
        if unit in ("", "dimensionless") or isinstance(value, bool | str) or value is None:
            found[name] = value
        else:
            quantity = units.quantity_of(unit)
            told = units.named(units.to_si(value, unit), quantity, system_of_units)
            found[f"{name} ({told['unit']})"] = float(f"{told['value']:.6g}")
    return found


def named(subjects: Iterable[tuple[str, UUID]]) -> dict[UUID, tuple[str, str]]:
    """Return code and name of buildings, systems, risers and devices by id, kind by kind."""
    by_kind: dict[str, set[UUID]] = defaultdict(set)
    for kind, one in subjects:
        by_kind[kind].add(one)
    found: dict[UUID, tuple[str, str]] = {}
    for kind, ids in by_kind.items():
        rows = subject_model(kind).objects.filter(pk__in=list(ids))
        found.update(
            (pk, (code, name)) for pk, code, name in rows.values_list("pk", "code", "name")
        )
    return found
