"""A closed visit has its building derived again: once, in a steady number of queries."""

from datetime import date, timedelta

import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildings import inventory
from buildings.models import Device
from contractors import outbox
from contractors.models import OutboxMessage
from scheduling import due
from scheduling.models import Occurrence, Workload
from tests.scheduling.planning import NOW, add_buildings
from tests.scheduling.recording import FLOW_TEST, closed, done

# Two of them tell PostgreSQL the contractor in scope.
MOST_STATEMENTS = 42
TOLD = ("building.recorded", "building.changed")


def followed(ours, later):
    """Close a visit some days later, do what the outbox asks for; return the statements of each."""
    at = NOW + timedelta(days=later)
    with time_machine.travel(at, tick=False), ours.scope():
        due.derive_all(at)
        closed(ours, at)
        told = list(OutboxMessage.objects.filter(kind__in=TOLD, state="waiting"))
        asked = []
        for message in sorted(told, key=lambda one: (one.made_at, one.pk)):
            with CaptureQueriesContext(connection) as queries:
                assert outbox.run(message.pk)
            asked.append([one["sql"] for one in queries.captured_queries])
    return asked


def gauges(ours, count):
    return [
        Device(
            building=ours.building,
            code=f"G-{number}",
            name=f"Gauge {number}",
            kind="gauge",
            system=ours.wet,
            riser=ours.wet_riser,
            attributes={"measures": "system_water", "dated": "2024-03-01"},
        )
        for number in range(count)
    ]


def derives(statements):
    return any('"scheduling_standinginterval"' in one for one in statements)


def test_a_closed_visit_derives_its_building_once_in_a_steady_number_of_queries(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], FLOW_TEST, date(2026, 11, 20))
    alone = followed(ours, 1)
    assert len(alone) > 1
    assert [derives(one) for one in alone] == [False] * (len(alone) - 1) + [True]
    with ours.scope():
        add_buildings(ours)
    among_many = followed(ours, 2)
    with ours.scope():
        inventory.add(gauges(ours, 20), by=None, tell=False)
    with_more_devices = followed(ours, 3)
    for later in (among_many, with_more_devices):
        assert [len(one) for one in later] == [len(one) for one in alone]
    assert len(alone[-1]) <= MOST_STATEMENTS


def test_a_closed_visit_writes_only_what_it_changed(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], FLOW_TEST, date(2026, 11, 20))
        add_buildings(ours)
        due.derive_all(NOW + timedelta(days=1))
        before = {model: rows_of(model) for model in (Occurrence, Workload)}
    *_skipped, statements = followed(ours, 1)
    with ours.scope():
        test = Occurrence.objects.get(activity=FLOW_TEST, building=ours.building)
        assert test.last_done_on == date(2026, 11, 26)
        after = rows_of(Occurrence)
        assert [pk for pk in after if after[pk] != before[Occurrence][pk]] == [test.pk]
        assert set(after) == set(before[Occurrence])
        assert rows_of(Workload) == before[Workload]
    written = [one for one in statements if one.startswith(("INSERT", "UPDATE", "DELETE"))]
    assert sum('"scheduling_occurrence"' in one.split("SET")[0] for one in written) == 1


def rows_of(model):
    return {row["id"]: row for row in model.objects.values()}
