"""Many buildings derived together come to what each of them comes to alone."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildings import inventory
from buildings.models import Building, Device, System, TurnOrder
from contractors import bulk, outbox
from contractors.models import OutboxMessage
from scheduling import deriving, due
from scheduling.applicable import Judges
from scheduling.models import (
    Occurrence,
    PublishedBuilding,
    PublishedStanding,
    Question,
    StandingInterval,
    Workload,
)
from tests.scheduling.recording import done

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
SWITCH_TEST = "waterflow-vane-test"
TABLES = (
    *(Occurrence, Workload, Question),
    *(StandingInterval, PublishedBuilding, PublishedStanding),
)


@pytest.fixture(autouse=True)
def _on_the_day():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def buildings(ours):
    """Our building and five more, each with a wet system, a valve and a gauge."""
    with ours.scope():
        done(ours, ours.devices["wet_flow"], SWITCH_TEST, date(2026, 3, 2))
        return [ours.building, *(another(ours, number) for number in range(2, 7))]


def another(ours, number):
    building = Building(
        code=f"B-00{number}",
        # As COPY would misread it, were it not told apart.
        name=f"Warehouse\t{number} \\N\n",
        jurisdiction=ours.jurisdiction,
        taken_over_on=date(2022, number, 1),
        attributes={"country": "US", "state": "ME", "base_standard": "nfpa25", "frost": True},
    )
    wet = System(building=building, code="S1", name="Wet", kind="wet", attributes={"kind": "wet"})
    valve = Device(
        building=building,
        system=wet,
        code="V1",
        name="Valve",
        kind="control_valve",
        attributes={"type": "osy_gate", "normally": "open"},
    )
    gauge = Device(
        building=building,
        system=wet,
        code="G1",
        name="Gauge",
        kind="gauge",
        attributes={"measures": "system_water"},
    )
    inventory.add([building, wet, valve, gauge], by=None, tell=False)
    return building


def stored(but=()):
    return [
        sorted(
            repr(sorted((name, value) for name, value in row.items() if name not in but))
            for row in model.objects.values()
        )
        for model in TABLES
    ]


def test_a_chunk_comes_to_what_each_building_comes_to_alone(ours, buildings, monkeypatch):
    with ours.scope():
        for building in buildings:
            due.derive(building, NOW)
        alone = stored(but=("id",))
        assert all(rows for model, rows in zip(TABLES, alone, strict=True) if model is not Question)
        for model in TABLES:
            model.objects.all().delete()
        monkeypatch.setattr(bulk, "WORTH_COPYING", 1)
        count = due.derive_chunk(buildings, NOW, Judges())
        assert stored(but=("id",)) == alone
        assert count == len(alone[0])


def test_deriving_again_writes_nothing(ours, buildings):
    with ours.scope():
        due.derive_chunk(buildings, NOW, Judges())
        before = stored()
        due.derive_chunk(buildings, NOW, Judges())
        assert stored() == before


def test_what_is_changed_by_hand_is_put_right_again(ours, buildings, monkeypatch):
    with ours.scope():
        due.derive_chunk(buildings, NOW, Judges())
        before = stored()
        Occurrence.objects.update(due_on=NOW.date(), known=False, last_done_on=None, reason={})
        Workload.objects.update(counts=b"")
        PublishedBuilding.objects.update(name="", facts={})
        PublishedStanding.objects.update(known_to=NOW)
        monkeypatch.setattr(bulk, "WORTH_COPYING", 1)
        due.derive_chunk(buildings, NOW, Judges())
        assert stored() == before


def test_only_what_changed_is_written(ours, buildings):
    with ours.scope():
        due.derive_chunk(buildings, NOW, Judges())
        before = {row.pk: row.latest_on for row in Occurrence.objects.all()}
        done(ours, ours.devices["wet_flow"], SWITCH_TEST, date(2026, 11, 20))
        due.derive(ours.building, NOW + timedelta(minutes=1))
        after = {row.pk: row.latest_on for row in Occurrence.objects.all()}
        assert set(after) == set(before)
        moved = {Occurrence.objects.get(pk=pk).activity for pk in before if before[pk] != after[pk]}
        assert SWITCH_TEST in moved
        # Its looks in between may be closed by it; nothing else is.
        assert all("waterflow" in activity or "flow" in activity for activity in moved)


def test_more_buildings_ask_no_more_queries(ours, buildings):
    with ours.scope():
        judges = Judges()
        due.derive_chunk(buildings, NOW, judges)
        counts = []
        for some in (buildings[1:2], buildings[1:]):
            with CaptureQueriesContext(connection) as asked:
                due.derive_chunk(some, NOW, judges)
            counts.append(len(asked))
        assert counts[0] == counts[1]


def test_tables_that_hold_nothing_of_the_buildings_are_told_apart(ours, theirs, buildings):
    def order(one):
        told = {"activity": "main-drain-yearly", "valid_from": NOW.date(), "recorded_at": NOW}
        TurnOrder.objects.create(building=one.building, **told)

    with theirs.scope():
        order(theirs)
    with ours.scope():
        assert bulk.filled(deriving.SELDOM, [ours.building, theirs.building]) == frozenset()
        order(ours)
        assert bulk.filled(deriving.SELDOM, buildings) == {TurnOrder}
        assert bulk.filled(deriving.SELDOM, buildings[1:]) == frozenset()


def test_a_contractor_is_derived_chunk_by_chunk(ours, buildings, monkeypatch):
    with ours.scope():
        whole = due.derive_chunk(buildings, NOW, Judges())
        monkeypatch.setattr(deriving, "CHUNK", 4)
        told = []
        assert due.derive_all(NOW, lambda done, of: told.append((done, of))) == whole
        assert told == [(4, 6), (6, 6)]


def test_many_buildings_become_jobs_of_a_chunk_each(ours, buildings, monkeypatch):
    with ours.scope():
        whole = due.derive_chunk(buildings, NOW, Judges())
        Occurrence.objects.all().delete()
        monkeypatch.setattr(deriving, "CHUNK", 4)
        due.derive_under(outbox.add("programme.derive", "by hand"))
    jobs = OutboxMessage.objects.filter(kind="programme.chunk")
    assert jobs.count() == 2
    assert all(outbox.run(job.pk) for job in jobs)
    with ours.scope():
        assert Occurrence.objects.count() == whole
