"""The record of water supplies: flow tests of a point, and what each leaves the systems on it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from buildings import design, units
from buildings.inventory import tell_changed
from buildings.kinds import kinds
from buildings.models import Building, Draw, SupplyPoint, System
from contractors import audit
from contractors.models import Membership
from contractors.refusal import FieldRefused
from inspections import findings, record
from inspections.conditions.units import UNITS
from inspections.flow_readings import Read, figures, si
from inspections.hydraulics.computation import Outcome
from inspections.hydraulics.index import evaluate
from inspections.models import Event, Finding, FlowTest, SupplyMargin, Visit

MARGIN, ELEVATION = "supply_margin", "elevation_pressure"
# Figures of a placard: at the base of the riser with hose, else the greatest demand.
ASKED = (("base_flow", "base_pressure"), ("demand_flow", "demand_pressure"))
FINDING_OF = UUID("6f2c4a52-1c0e-5b5f-9a77-4f0d2a9be113")


class NumberUsed(FieldRefused):
    """The number stands for another supply point already."""

    code = "number_used"


@dataclass(frozen=True, slots=True)
class Demand:
    """What a system asks at the place of the test, in SI, and where that comes from."""

    flow_m3s: float
    pressure_pa: float
    hose_m3s: float
    placard: Mapping[str, Any]

    def inputs(self, test: FlowTest) -> dict[str, float]:
        """Return the inputs of the margin's computation."""
        return {
            "static": test.static_pa,
            "residual": test.residual_pa,
            "flow": test.flow_m3s,
            "demand_flow": self.flow_m3s,
            "demand_pressure": self.pressure_pa,
            "hose": self.hose_m3s,
        }


def add_point(code: str, name: str, main_size: str = "", *, by: Membership) -> SupplyPoint:
    """Enter a point of water supply.

    Raises
    ------
    FieldRefused
        When number or name is empty, or the number is used.
    """
    for field, value in (("code", code), ("name", name)):
        if not value.strip():
            raise FieldRefused(field, "nothing", "A text.")
    if SupplyPoint.objects.filter(code=code.strip()).exists():
        raise NumberUsed("code", code, "A number that stands for no other supply point.")
    with transaction.atomic():
        point: SupplyPoint = SupplyPoint.objects.create(
            code=code.strip(), name=name.strip(), main_size=main_size.strip()
        )
        audit.record("supply.entered", by=by, on=point, code=point.code)
    return point


def connect(
    point: SupplyPoint,
    system: System,
    *,
    from_on: date,
    height: str = "",
    loss: str = "",
    hose: str = "",
    ends: bool = False,
    by: Membership,
) -> Draw:
    """Say that a system draws on a point from a day on (or no longer), and reckon its margin.

    Parameters
    ----------
    height
        The base of the riser above the gauge of the flow test, as typed; below it is negative.
    loss
        What lead-in and backflow take at the demand.
    hose
        Hose taken outside that the placard does not hold.

    Raises
    ------
    FieldRefused
        Naming the field whose value is not accepted.
    """
    how = system.building.units
    with transaction.atomic():
        draw: Draw = Draw.objects.create(
            supply_point=point,
            building=system.building,
            system=system,
            height_m=si("height", height or "0", "length", how, -2000.0, 2000.0),
            loss_pa=si("loss", loss or "0", "pressure", how, 0.0, 1.4e7),
            hose_m3s=si("hose", hose or "0", "flow", how, 0.0, 3.2),
            ends=ends,
            valid_from=from_on,
            recorded_at=timezone.now(),
            recorded_by=by,
        )
        audit.record("supply.connected", by=by, on=draw, ends=ends)
        tell_changed(system.building_id, draw.recorded_at)
        _reckon_newest(point, by=by, systems=[system.pk])
    return draw


def write_placard(
    system: System, values: Mapping[str, Any], *, from_on: date, source: str = "", by: Membership
) -> None:
    """Write down a system's placard, and reckon its margin again."""
    with transaction.atomic():
        design.write(system, values, valid_from=from_on, source=source, by=by)
        tell_changed(system.building_id, timezone.now())
        for point in points_of(system.building):
            _reckon_newest(point, by=by, systems=[system.pk])


def placard_of(typed: Mapping[str, str], system: str) -> dict[str, float]:
    """Return a placard's figures in the units of the dictionary, from how they were typed.

    Raises
    ------
    FieldRefused
        Naming the figure whose value is not accepted.
    """
    found = {}
    for name, value in typed.items():
        quantity = "flow" if name.endswith("flow") else "pressure"
        most = 3.2 if quantity == "flow" else 1.4e7
        value_si = si(name, value, quantity, system, 0.0, most)
        unit = kinds()[design.GROUP].attributes[name].unit
        found[name] = round(units.from_si(value_si, unit, quantity), 3)
    return found


def record_test(
    point: SupplyPoint,
    read: Read,
    *,
    by: Membership,
    system: str = "us",
    visit: Visit | None = None,
    replaces: FlowTest | None = None,
    reason: str = "",
) -> FlowTest:
    """Record a flow test, and judge every building that draws on the point.

    A negative margin proposes a finding at the building, class observation: a design question for
    the owner. It is proposed once for each test and building; what only a corrected test proposed,
    and nobody took up yet, is dropped.

    Parameters
    ----------
    system
        "us" or "metric": the units of numbers typed without one.
    visit
        At which it was made.
    replaces
        The test that this one corrects; it stays as it was recorded.
    reason
        Why it is corrected.

    Raises
    ------
    FieldRefused
        Naming the field, its value, what is accepted and why: a residual at or above the static,
        a day to come or outside the visit, a unit of another quantity, an outlet without its bore,
        a visit elsewhere, a test that was corrected before.
    """
    if read.tested_on > timezone.localdate():
        raise FieldRefused("tested_on", read.tested_on.isoformat(), _("A day that has come."))
    if visit is not None:
        _check_visit(visit, point, read.tested_on)
    known = figures(read, system)
    with transaction.atomic():
        if replaces is not None:
            _check_replaced(point, replaces)
        test: FlowTest = FlowTest.objects.create(
            supply_point=point,
            visit=visit,
            tested_on=read.tested_on,
            hour=read.hour,
            static_typed=read.static.strip()[:40],
            static_pa=known.static_pa,
            residual_typed=read.residual.strip()[:40],
            residual_pa=known.residual_pa,
            flow_typed=known.flow_typed,
            flow_m3s=known.flow_m3s,
            residual_hydrant=read.residual_hydrant,
            flow_hydrants=read.flow_hydrants,
            outlets=known.outlets,
            witnessed_by=read.witnessed_by,
            note=read.note,
            warnings=[*known.warnings],
            replaces=replaces,
            reason=reason.strip(),
            recorded_at=timezone.now(),
            recorded_by=by,
        )
        audit.record("supply.tested", by=by, on=test, point=str(point.pk))
        newest = newest_test(point)
        if newest is not None and (newest == test or replaces is not None):
            reckon(newest, by=by)
        if replaces is not None:
            _drop_proposed(replaces, by)
        # What the owners of the buildings on it are told of their water follows.
        for building_id in {draw.building_id for draw in draws_on(point, test.tested_on).values()}:
            tell_changed(building_id, test.recorded_at)
    return test


def _check_visit(visit: Visit, point: SupplyPoint, on: date) -> None:
    """Refuse a visit at which a test of the point cannot have been made on that day."""
    begun = visit.performed_on
    if visit.state in (Visit.State.PLANNED, Visit.State.CANCELLED) or begun is None:
        accepted = _("A visit that has begun and was not cancelled.")
        raise FieldRefused("visit", str(visit), accepted)
    if visit.building_id not in {draw.building_id for draw in draws_on(point, on).values()}:
        accepted = _("A visit to a building that draws on this supply point.")
        raise FieldRefused("visit", str(visit), accepted)
    zone = visit.building.zone
    ended = visit.handed_in_at.astimezone(zone).date() if visit.handed_in_at else begun
    last = timezone.localdate(timezone=zone) if visit.state == Visit.State.OPEN else ended
    if not begun <= on <= max(begun, last):
        days = {"first": begun.isoformat(), "last": max(begun, last).isoformat()}
        accepted = _("A day of the visit, %(first)s to %(last)s.") % days
        raise FieldRefused("tested_on", on.isoformat(), accepted)


def _check_replaced(point: SupplyPoint, replaced: FlowTest) -> None:
    """Refuse to correct a test of another point, or one that was corrected before."""
    # Locked, so that of two corrections at once the second sees the first.
    FlowTest.objects.select_for_update().get(pk=replaced.pk)
    corrected = FlowTest.objects.filter(replaces=replaced).exists()
    if corrected or replaced.supply_point_id != point.pk:
        accepted = _("A test of this supply point that was not corrected before.")
        raise FieldRefused("replaces", str(replaced), accepted)


def _drop_proposed(replaced: FlowTest, by: Membership) -> None:
    """Drop what a corrected test proposed and nobody has taken up."""
    buildings = replaced.margins.values_list("building_id", flat=True).distinct()
    ids = [finding_id_of(replaced, building_id) for building_id in buildings]
    for found in Finding.objects.filter(pk__in=ids, state=Finding.State.PROPOSED):
        reason = _("The flow test behind it was corrected.")
        findings.settle_proposed(found, accept=False, reason=reason, by=by)


def reckon(
    test: FlowTest, *, by: Membership | None, systems: Sequence[UUID] | None = None
) -> list[SupplyMargin]:
    """Reckon what a test leaves the systems on its point, where it has not been reckoned so yet."""
    made = []
    for draw in draws_on(test.supply_point, test.tested_on).values():
        if systems is not None and draw.system_id not in systems:
            continue
        demand = demand_of(draw, test.tested_on)
        if demand is not None:
            made += _margin(test, draw, demand)
    for building_id in {one.building_id for one in made if one.margin_pa < 0.0}:
        short = [one for one in made if one.building_id == building_id and one.margin_pa < 0.0]
        _propose(test, min(short, key=lambda one: one.margin_pa), by)
    return made


def draws_on(point: SupplyPoint, on: date) -> dict[UUID, Draw]:
    """Return the draws that hold on a day, by system."""
    rows = standing_draws(Draw.objects.filter(supply_point=point), on)
    return {row.system_id: row for row in rows}


def points_of(building: Building) -> list[SupplyPoint]:
    """Return the supply points that a building draws on today."""
    draws = standing_draws(Draw.objects.filter(building=building), building.today)
    points = {draw.supply_point_id: draw.supply_point for draw in draws}
    return sorted(points.values(), key=lambda point: point.code)


def buildings_on(point: SupplyPoint) -> set[UUID]:
    """Return the buildings that draw on a point, or did."""
    return set(Draw.objects.filter(supply_point=point).values_list("building_id", flat=True))


def standing_draws(rows: QuerySet[Draw], on: date) -> list[Draw]:
    """Return, of some draws, those that hold on a day: the newest of each point and system."""
    held = rows.filter(valid_from__lte=on).select_related("supply_point", "building", "system")
    found = {
        (row.supply_point_id, row.system_id): row
        for row in held.order_by("valid_from", "recorded_at", "id")
    }
    return [row for row in found.values() if not row.ends]


def demand_of(draw: Draw, on: date) -> Demand | None:
    """Return what a system asks at the place of the test; None while its placard is not known."""
    placard = design.values_of([draw.system_id], on)
    for flow_name, pressure_name in ASKED:
        if flow_name in placard and pressure_name in placard:
            break
    else:
        return None
    height_pa = float(evaluate(ELEVATION, {"h": draw.height_m}).answer.value or 0.0)
    at_base_pa = _design_si(placard, pressure_name)
    return Demand(
        flow_m3s=_design_si(placard, flow_name),
        pressure_pa=max(0.0, at_base_pa + height_pa + draw.loss_pa),
        hose_m3s=draw.hose_m3s,
        placard={flow_name: placard[flow_name], pressure_name: placard[pressure_name]},
    )


def standing_tests(point: SupplyPoint) -> list[FlowTest]:
    """Return the tests of a point that nothing corrected, oldest first."""
    rows = FlowTest.objects.filter(supply_point=point, replaced_by=None)
    return list(rows.order_by("tested_on", "recorded_at", "id"))


def newest_test(point: SupplyPoint) -> FlowTest | None:
    """Return the newest test of a point that nothing corrected."""
    tests = standing_tests(point)
    return tests[-1] if tests else None


def margins_of(tests: Sequence[FlowTest]) -> dict[UUID, dict[UUID, SupplyMargin]]:
    """Return the margin that counts, by test and system: the newest reckoning of each."""
    rows = SupplyMargin.objects.filter(flow_test__in=tests).select_related("building", "system")
    found: dict[UUID, dict[UUID, SupplyMargin]] = {}
    for row in rows.order_by("number"):
        found.setdefault(row.flow_test_id, {})[row.system_id] = row
    return found


def finding_id_of(test: FlowTest, building_id: UUID) -> UUID:
    """Return the id of the one finding that a test may propose at a building."""
    return uuid5(FINDING_OF, f"{test.pk}:{building_id}")


def _reckon_newest(point: SupplyPoint, *, by: Membership, systems: Sequence[UUID]) -> None:
    test = newest_test(point)
    if test is not None:
        reckon(test, by=by, systems=systems)


def _margin(test: FlowTest, draw: Draw, demand: Demand) -> list[SupplyMargin]:
    inputs = demand.inputs(test)
    before = SupplyMargin.objects.filter(flow_test=test, system=draw.system).order_by("number")
    last = before.last()
    outcome = evaluate(MARGIN, inputs, show=partial(units.show, system=draw.building.units))
    same = last is not None and (last.inputs, last.version) == (inputs, outcome.version)
    if same or outcome.margin is None:
        return []
    margin_pa = float(outcome.margin.value or 0.0)
    made: SupplyMargin = SupplyMargin.objects.create(
        flow_test=test,
        building=draw.building,
        system=draw.system,
        computation=outcome.name,
        version=outcome.version,
        inputs=inputs,
        outcome=_kept(outcome) | {"placard": dict(demand.placard)},
        margin_pa=margin_pa,
        verdict=outcome.verdict or "",
        finding_id=finding_id_of(test, draw.building_id) if outcome.verdict != "pass" else None,
        number=(last.number if last else 0) + 1,
        reckoned_at=timezone.now(),
    )
    return [made]


def _kept(outcome: Outcome) -> dict[str, Any]:
    return {
        "values": {name: value.value for name, value in outcome.values.items()},
        "reason": outcome.reason,
        "warnings": list(outcome.warnings),
    }


def _propose(test: FlowTest, short: SupplyMargin, by: Membership | None) -> None:
    finding_id = finding_id_of(test, short.building_id)
    if Event.objects.filter(stream="finding", stream_id=finding_id).exists():
        return
    point = test.supply_point
    text = _(
        "The supply no longer covers the demand on the placard of %(system)s: %(reason)s"
        " Flow test of %(point)s on %(day)s."
    ) % {
        "system": short.system,
        "reason": short.outcome["reason"],
        "point": point,
        "day": test.tested_on.isoformat(),
    }
    payload = {
        "subject": {"kind": "system", "id": str(short.system_id)},
        "class": Finding.Class.OBSERVATION.value,
        "text": text,
        "proposed": True,
        "source": f"{short.computation}, version {short.version}",
    }
    entry = findings.finding_entry(finding_id, "finding.add", payload, by=by)
    record.append([entry], via=Event.Via.SERVICE, by=by, building=short.building)


def _design_si(placard: Mapping[str, Any], name: str) -> float:
    attribute = kinds()[design.GROUP].attributes[name]
    return UNITS[attribute.unit].to_si(float(placard[name]))
