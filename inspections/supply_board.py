"""What pages, API and report show of supply points: their tests, and what each system has left."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from buildings import units
from buildings.models import Building, Draw, SupplyPoint
from contractors.templatetags.look import in_words
from inspections import drawings, drawn_tests, supplies
from inspections.hydraulics.index import evaluate
from inspections.models import FlowTest, SupplyMargin, Visit
from inspections.pictures import tested
from inspections.pictures.reader import Reader

RATED = "project_flow_to_residual"


@dataclass(frozen=True, slots=True)
class Row:
    """A flow test as a reader reads it, with the flow at the residual for marking a hydrant."""

    test: FlowTest
    static: str
    residual: str
    flow: str
    rated: str


@dataclass(frozen=True, slots=True)
class Line:
    """A system on a point with the margin of the newest test, and that margin in words."""

    draw: Draw
    margin: SupplyMargin | None
    said: str
    since: str = ""
    table: tested.Table | None = None


@dataclass(frozen=True, slots=True)
class Corrected:
    """A flow test that no longer counts, and the one that corrects it."""

    row: Row
    by: FlowTest


@dataclass(frozen=True, slots=True)
class Board:
    """A supply point: its tests, newest first, and the systems that draw on it today."""

    point: SupplyPoint
    units: str
    rows: Sequence[Row]
    lines: Sequence[Line]
    corrected: Sequence[Corrected] = ()

    @property
    def newest(self) -> FlowTest | None:
        """The newest test that nothing corrected."""
        return self.rows[0].test if self.rows else None


def of_building(building: Building) -> list[Board]:
    """Return the supply points that a building draws on today, with its own systems alone."""
    rows = supplies.standing_draws(Draw.objects.filter(building=building), building.today)
    points = {draw.supply_point_id: draw.supply_point for draw in rows}
    return _boards(sorted(points.values(), key=lambda one: one.code), rows, building.units)


def of_point(point: SupplyPoint) -> Board:
    """Return a supply point with every system that draws on it today."""
    rows = supplies.standing_draws(Draw.objects.filter(supply_point=point), timezone.localdate())
    return _boards([point], rows, _units_of(rows))[0]


def told(buildings: Sequence[Building]) -> dict[UUID, list[dict[str, Any]]]:
    """Return what owners are told of the water of their buildings: a margin for each demand.

    Values are written in the building's units; the number of queries does not grow.
    """
    rows = supplies.standing_draws(
        Draw.objects.filter(building__among=buildings), timezone.localdate()
    )
    points = {draw.supply_point_id: draw.supply_point for draw in rows}
    found: dict[UUID, list[dict[str, Any]]] = {}
    for board in _boards(list(points.values()), rows, "us") if points else ():
        for line in board.lines:
            if line.margin is not None and board.newest is not None:
                told_of = _told_of(line.margin, board.newest)
                found.setdefault(line.draw.building_id, []).append(told_of)
    return found


def _told_of(margin: SupplyMargin, test: FlowTest) -> dict[str, Any]:
    return {
        "system": margin.system.name,
        "tested_on": test.tested_on.isoformat(),
        "short": margin.margin_pa < 0.0,
        **_figures_of(margin),
    }


def units_of(point: SupplyPoint) -> str:
    """Return the units in which a point is shown and typed: those of a building on it."""
    return _units_of(
        supplies.standing_draws(Draw.objects.filter(supply_point=point), timezone.localdate())
    )


def said(margin: SupplyMargin) -> str:
    """Return what a test leaves a system, in one sentence with its units."""
    words = _figures_of(margin)
    at = _("At %(flow)s, hose %(hose)s included,") if words["hose"] else _("At %(flow)s")
    left = (
        _("the supply gives %(available)s; %(wanted)s is wanted: %(margin)s to spare.")
        if margin.margin_pa >= 0.0
        else _("the supply gives %(available)s; %(wanted)s is wanted: %(margin)s too little.")
    )
    return f"{at % words} {left % words}"


def _figures_of(margin: SupplyMargin) -> dict[str, str]:
    given, how = margin.inputs, margin.building.units
    hose = float(given["hose"])
    return {
        "flow": units.show(float(given["demand_flow"]) + hose, "flow", how),
        "hose": units.show(hose, "flow", how) if hose else "",
        "available": units.show(margin.outcome["values"]["available"], "pressure", how),
        "wanted": units.show(float(given["demand_pressure"]), "pressure", how),
        "margin": units.show(abs(margin.margin_pa), "friction", how),
    }


def title_of(test: FlowTest, margin: SupplyMargin | None = None) -> str:
    """Return the heading of a picture."""
    words = {"point": test.supply_point, "day": _full_day(test.tested_on)}
    if margin is None:
        return _("Supply at %(point)s, %(day)s") % words
    return _("%(system)s against the supply at %(point)s, %(day)s") % {
        "system": margin.system.name,
        **words,
    }


def drawing(
    test: FlowTest,
    how: str,
    margin: SupplyMargin | None = None,
    earlier: FlowTest | None = None,
) -> dict[str, Any]:
    """Return what a picture of a test shows, as JSON data in the reader's units.

    Parameters
    ----------
    how
        "us" or "metric".
    margin
        The system's demand to be drawn against it.
    earlier
        The test before, to be drawn beside it.
    """

    def pressure(pascal: float) -> str:
        return _figure(pascal, "pressure", how)

    def flow(m3s: float) -> str:
        return _figure(m3s, "flow", how)

    demand = margin and [
        flow(margin.inputs["demand_flow"]),
        pressure(margin.inputs["demand_pressure"]),
    ]
    before = earlier and [
        _full_day(earlier.tested_on),
        pressure(earlier.static_pa),
        pressure(earlier.residual_pa),
        flow(earlier.flow_m3s),
    ]
    return {
        "test": str(test.pk),
        "margin": str(margin.pk) if margin else "",
        "title": title_of(test, margin),
        "words": said(margin) if margin else _test_words(test, how),
        "pressure_unit": units.unit_beside("pressure", how),
        "flow_unit": units.unit_beside("flow", how),
        "static": pressure(test.static_pa),
        "residual": pressure(test.residual_pa),
        "flow": flow(test.flow_m3s),
        "demand": demand,
        "hose": flow(margin.inputs["hose"]) if margin else "0",
        "earlier": before,
    }


def picture(test: FlowTest, how: str, reader: Reader, margin: SupplyMargin | None = None) -> Any:
    """Return the picture of a test, beside the one before it."""
    return drawn_tests.picture(drawing(test, how, margin, before(test)), reader)


def picture_url(drawn: Mapping[str, Any]) -> str:
    """Return where the picture of what `drawing` gave is."""
    if drawn["margin"]:
        return reverse("margin_picture", args=[drawn["margin"]])
    return reverse("flow_test_picture", args=[drawn["test"]])


def before(test: FlowTest) -> FlowTest | None:
    """Return the test of the same point before this one."""
    older = [
        one for one in supplies.standing_tests(test.supply_point) if one.tested_on < test.tested_on
    ]
    return older[-1] if older else None


def of_visit(visit: Visit) -> list[dict[str, Any]]:
    """Return the pictures of the flow tests that were made at a visit.

    A test of the visit's day that no visit is told of counts as made at it.
    """
    building, on = visit.building, visit.performed_on
    made = Q(visit=visit)
    if on is not None:
        draws = supplies.standing_draws(Draw.objects.filter(building=building), on)
        points = {draw.supply_point_id for draw in draws}
        made |= Q(visit=None, supply_point__in=points, tested_on=on)
    rows = FlowTest.objects.filter(made, replaced_by=None)
    tests = list(rows.select_related("supply_point").order_by("supply_point__code", "recorded_at"))
    margins = supplies.margins_of(tests)
    found = []
    for test in tests:
        own = [m for m in margins.get(test.pk, {}).values() if m.building_id == building.pk]
        shown: list[SupplyMargin | None] = [*own] or [None]
        found += [drawing(test, building.units, one, before(test)) for one in shown]
    return found


def _boards(points: Sequence[SupplyPoint], draws: Sequence[Draw], how: str) -> list[Board]:
    """Return boards in two queries, however many points."""
    tests: dict[Any, list[FlowTest]] = {point.pk: [] for point in points}
    corrected: dict[Any, list[Corrected]] = {point.pk: [] for point in points}
    rows = FlowTest.objects.filter(supply_point__in=points).select_related(
        "recorded_by__user", "visit__building"
    )
    every = list(rows.order_by("-tested_on", "-recorded_at", "-id"))
    after = {test.replaces_id: test for test in every if test.replaces_id}
    at = {point.pk: point for point in points}
    for test in every:
        test.supply_point = at[test.supply_point_id]
        if test.pk in after:
            one = Corrected(_row(test, how), after[test.pk])
            corrected[test.supply_point_id].append(one)
        else:
            tests[test.supply_point_id].append(test)
    margins = supplies.margins_of([one for found in tests.values() for one in found])
    return [
        Board(
            point,
            how,
            [_row(test, how) for test in tests[point.pk]],
            [
                _line(draw, tests[point.pk], margins)
                for draw in draws
                if draw.supply_point_id == point.pk
            ],
            corrected[point.pk],
        )
        for point in points
    ]


def _line(draw: Draw, tests: Sequence[FlowTest], margins: Mapping[Any, Any]) -> Line:
    of_system = [margins.get(test.pk, {}).get(draw.system_id) for test in tests]
    newest = of_system[0] if of_system else None
    if newest is None:
        why = _("No flow test yet.") if not tests else _("Its placard is not known yet.")
        return Line(draw, None, why)
    older = next((one for one in of_system[1:] if one is not None), None)
    earlier = next((one for one in tests if one.tested_on < tests[0].tested_on), None)
    shown = tested.supply_of(drawing(tests[0], newest.building.units, newest, earlier))
    since = _since(newest, older, tests) if older else ""
    return Line(draw, newest, said(newest), since, shown.table(drawings.in_words()))


def _since(newest: SupplyMargin, older: SupplyMargin, tests: Sequence[FlowTest]) -> str:
    on = next(test.tested_on for test in tests if test.pk == older.flow_test_id)
    change_pa = newest.margin_pa - older.margin_pa
    words = {
        "change": units.show(abs(change_pa), "friction", newest.building.units),
        "day": in_words(on),
    }
    less, more = _("%(change)s less than on %(day)s."), _("%(change)s more than on %(day)s.")
    return (less if change_pa < 0.0 else more) % words


def _row(test: FlowTest, how: str) -> Row:
    given = {"static": test.static_pa, "residual": test.residual_pa, "flow": test.flow_m3s}
    rated = float(evaluate(RATED, given).answer.value or 0.0)
    return Row(
        test,
        units.show(test.static_pa, "pressure", how),
        units.show(test.residual_pa, "pressure", how),
        units.show(test.flow_m3s, "flow", how),
        units.show(rated, "flow", how),
    )


def _test_words(test: FlowTest, how: str) -> str:
    row = _row(test, how)
    return _("Static %(static)s, residual %(residual)s at %(flow)s.") % {
        "static": row.static,
        "residual": row.residual,
        "flow": row.flow,
    }


def _figure(si: float, quantity: str, how: str) -> str:
    # As a text: a sealed report holds no binary fractions.
    return f"{units.from_si(float(si), units.unit_beside(quantity, how), quantity):.6g}"


def _units_of(draws: Sequence[Draw]) -> str:
    return str(draws[0].building.units) if draws else "us"


def _full_day(on: date) -> str:
    # With its year, as it also stands in sealed reports.
    return date_format(on, "j F Y")
