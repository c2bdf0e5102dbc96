"""The pictures of a visit's tests: pump curves with their limits, trip tests on a line of time."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from buildings import units
from inspections import computed, drawings, past, pump_tests
from inspections.closing import Places
from inspections.events.fold import Subject
from inspections.models import Reading, Visit
from inspections.pictures import tested
from inspections.pictures.reader import ANYBODY, Reader
from inspections.trends.trend import Side

if TYPE_CHECKING:
    from inspections.pictures.canvas import Picture

TRIP, DELIVERY = "trip_time", "delivery_time"
MOST_RUNS = 3
_NAMES = (TRIP, DELIVERY, *pump_tests.NAMES)


def of_visit(visit: Visit) -> list[dict[str, Any]]:
    """Return what the pictures of a visit's tests show, as JSON data in the building's units.

    Figures are texts, which have one written form only: a frozen report has a digest.
    """
    rows = Reading.objects.filter(visit=visit, name__in=_NAMES).order_by("read_at", "id")
    asked = dict(rows.values_list("subject_id", "subject_kind"))
    if not asked:
        return []
    places = Places(visit.building_id)
    items = {pk: places.item(Subject(kind, pk)) for pk, kind in asked.items()}
    there = {pk: item for pk, item in items.items() if item is not None}
    for item in there.values():
        item.building = visit.building
    until = visit.performed_on or timezone.localdate()
    tests = _tests(list(there), until)
    return [
        drawn
        for pk, item in there.items()
        if (drawn := _of_test(item, visit.pk, tests[pk], until)) is not None
    ]


def of_item(item: Any) -> dict[str, Any] | None:
    """Return what the picture of the newest test of a system or device shows; None without one."""
    until = timezone.localdate()
    tests = _tests([item.pk], until)[item.pk]
    for visit_id in reversed(list(tests)):
        drawn = _of_test(item, visit_id, tests, until)
        if drawn is not None:
            return drawn
    return None


def picture(data: Mapping[str, Any], reader: Reader) -> Any:
    """Return the picture of a test, drawn once for the same data."""
    return drawings.kept(tested.of_data(data), _draw, reader)


def draw(data: Mapping[str, Any], reader: Reader = ANYBODY) -> "Picture":
    """Return the picture of a test from its data."""
    return _draw(tested.of_data(data), reader)


def _draw(given: tested.Pump | tested.Trip | tested.Supply, reader: Reader) -> "Picture":
    # The drawing library takes seconds to load: only where something is drawn.
    from inspections.pictures import pump, supply, trip

    if isinstance(given, tested.Trip):
        return trip.draw(given, reader)
    if isinstance(given, tested.Pump):
        return pump.draw(given, reader)
    return supply.draw(given, reader)


_Tests = dict[UUID, list[Reading]]


def _tests(subjects: Sequence[UUID], until: date) -> dict[UUID, _Tests]:
    """Return the readings of tests by subject and visit, the oldest first."""
    rows = Reading.objects.filter(subject_id__in=subjects, name__in=_NAMES, read_on__lte=until)
    rows = rows.exclude(visit__state=Visit.State.CANCELLED)
    found: dict[UUID, _Tests] = {pk: defaultdict(list) for pk in subjects}
    for row in rows.order_by("read_on", "read_at", "id"):
        found[row.subject_id][row.visit_id].append(row)
    return found


def _of_test(item: Any, visit_id: UUID, tests: _Tests, until: date) -> dict[str, Any] | None:
    rows = tests.get(visit_id, [])
    before = list(tests.values())[: list(tests).index(visit_id)] if rows else []
    if any(row.name == TRIP for row in rows):
        return _trip(item, rows, before, until)
    return _pump(item, rows, before) if rows else None


def _trip(
    item: Any, rows: list[Reading], before: Sequence[list[Reading]], until: date
) -> dict[str, Any]:
    on = rows[-1].read_on
    with_trip = [test for test in before if any(row.name == TRIP for row in test)]
    runs = [_run(test) for test in [*with_trip[-MOST_RUNS + 1 :], rows]][::-1]
    attributes = item.attributes
    first = [
        [word, f"{float(attributes[f'baseline_{name}']):.6g}"]
        for name, word in _moments().items()
        if isinstance(attributes.get(f"baseline_{name}"), int | float)
    ]
    line = past.of_items([item], until, (DELIVERY,))[item.pk].line(DELIVERY)
    limit = line.trend.limit if line else None
    kept = next((row.judgement.get("computed") for row in rows if row.name == TRIP), None)
    return {
        "picture": "trip",
        "subject": str(item.pk),
        "title": _("Trip test of %(name)s, %(day)s") % {"name": item.name, "day": _day(on)},
        "words": " ".join([_times(rows), *_doubts(kept)]),
        "runs": [*runs, *([[_("acceptance"), first]] if first else [])],
        "limit": [f"{limit.value:.6g}", line.limit_words]
        if line and limit and limit.side is Side.GREATEST
        else None,
    }


def _doubts(kept: Mapping[str, Any] | None) -> list[str]:
    """Return what a computation says beyond the times: why it is looked into, and warnings."""
    reason = [kept["reason"]] if kept and kept["verdict"] not in ("", "pass") else []
    return [*reason, *computed.warnings_of(kept)]


def _moments() -> dict[str, str]:
    return {TRIP: _("trip"), DELIVERY: _("water")}


def _run(rows: Sequence[Reading]) -> list[Any]:
    read = {row.name: row.value_si for row in rows}
    said = _moments().items()
    moments = [[word, f"{read[name]:.6g}"] for name, word in said if name in read]
    return [rows[-1].read_on.isoformat(), moments]


def _times(rows: Sequence[Reading]) -> str:
    read = {row.name: tested.seconds(row.value_si) for row in rows if row.name in _NAMES}
    if DELIVERY in read:
        words = {"trip": read[TRIP], "water": read[DELIVERY]}
        return _("Tripped after %(trip)s, water after %(water)s.") % words
    return _("Tripped after %(trip)s.") % {"trip": read[TRIP]}


def _pump(
    item: Any, rows: Sequence[Reading], before: Sequence[list[Reading]]
) -> dict[str, Any] | None:
    plate, points = pump_tests.nameplate_of(item.attributes), pump_tests.points_of(rows)
    if plate is None or not points:
        return None
    how = item.building.units
    earlier = [row for test in before for row in test]
    kept = pump_tests.judged(rows, earlier, item.attributes, how)
    speeds = [one.speed for one in points]
    corrected = bool(plate.speed) and all(speeds)
    off = corrected and any(abs(one / plate.speed - 1.0) > 0.001 for one in speeds if one)  # type: ignore[operator]

    def shown(flow_m3s: float, net_pa: float) -> list[str]:
        return [_figure(flow_m3s, "flow", how), _figure(net_pa, "pressure", how)]

    return {
        "picture": "pump",
        "subject": str(item.pk),
        "title": _("Flow test of %(name)s, %(day)s")
        % {"name": item.name, "day": _day(rows[-1].read_on)},
        "words": " ".join([kept["reason"], *computed.warnings_of(kept)]).strip()
        if kept
        else _("Not brought to rated speed: a speed was not read or is not on the nameplate."),
        "pressure_unit": units.unit_beside("pressure", how),
        "flow_unit": units.unit_beside("flow", how),
        "rated": shown(plate.flow_m3s, plate.net_pa),
        "tested": [shown(*one.at(plate.speed if corrected else None)) for one in points],
        "raw": [shown(one.flow_m3s, one.net_pa) for one in points] if off else [],
        "base": [shown(*one) for one in pump_tests.first_curve(earlier, plate)],
        "corrected": corrected,
    }


def _figure(si: float, quantity: str, how: str) -> str:
    return f"{units.from_si(si, units.unit_beside(quantity, how), quantity):.6g}"


def _day(on: date) -> str:
    # With its year, as it also stands in sealed reports.
    return date_format(on, "j F Y")
