"""How long the due list takes, and deriving a building again after a closed visit, as it grows.

`make bench ARGS="-k due"` derives one building of 25 devices and clones it with its history and its
occurrences by SQL, so that sizes can be large at once; each copy is due in another week, and every
twentieth building has a visit planned for what falls due soon. BUILDINGS names the sizes, such as
`BUILDINGS=1000,10000`. The page and the API are asked for the list as it opens and for every
narrowing of it. Figures are the best of a few runs, beside floors of the same run: an empty part of
the list behind the same door, and reading the rows of the building. All of it is committed, and the
database takes its statistics as it does in service.
"""

import os
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.template import Template
from django.test import Client
from django.test.utils import CaptureQueriesContext, _TestState

from buildings.models import Device
from config import warm
from contractors import outbox
from contractors.models import OutboxMessage
from inspections.models import Event, Result, Visit
from scheduling import due
from scheduling.models import Occurrence
from tests import scene
from tests.conftest import session_of
from tests.load.bench_programme import (
    CLONED,
    NOW,
    fill,
    give_history,
    say,
    say_growth,
    settle,
    timed,
)
from tests.scheduling.planning import count_anew
from tests.scheduling.recording import closed

SIZES = [int(size) for size in os.environ.get("BUILDINGS", "100,300,1000").split(",")]
MODELS = (*CLONED, Occurrence)
WEEKS = "mod(n, 26) * 7"
AGED = dict.fromkeys(
    ("performed_on", "read_on", "last_done_on", "earliest_on", "due_on", "latest_on"),
    WEEKS,
)
RUNS = 5
PLANNED = 20
EACH = (
    *("kind=test", "system_kind=preaction", "system_kind=deluge", "qualification=fire_alarm"),
    *("qualification=laboratory", "frequency=P1Y", "frequency=P20Y", "district=District+7"),
)
PAGES = (
    *("", *EACH, "week=overdue", "who=owner", "state=free", "state=in_visit"),
    "system_kind=wet&kind=test&frequency=P1Y&state=free",
)
CALLS = ("", *EACH, "overdue=true", "by_owner=true", "in_visit=false", "in_visit=true")


def bench_due(committed_database: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Print seconds, their ratio to the floor and growth."""
    _as_in_service(monkeypatch)
    ours = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
    asked = [f"/due/?{query}" for query in PAGES]
    asked += [f"/api/v1/occurrences/?{query}" for query in CALLS]
    lists: dict[str, dict[int, float]] = {address: {} for address in asked}
    again: dict[int, float] = {}
    with time_machine.travel(NOW, tick=False), ours.scope():
        give_history(ours)
        due.derive(ours.building, NOW)
    manager = Client()
    there = 1
    for size in SIZES:
        with time_machine.travel(NOW, tick=False):
            fill(ours, there, size, MODELS, AGED)
            with ours.scope():
                _plan(ours)
                count_anew()
            settle()
            manager.cookies["sessionid"] = session_of(ours.manager)
            with ours.scope():
                devices, rows = Device.objects.count(), Occurrence.objects.count()
            say(f"{size} buildings, {devices} devices, {rows} occurrences")
            floor, _queries = _best(lambda: manager.get(_empty(ours)))
            for address, took in lists.items():
                took[size], told = _best(lambda address=address: manager.get(address))
                say(f"  {address}: {_told(took[size], floor)}, {told}")
        again[size] = _again(ours, there)
        there = size
    for address, took in lists.items():
        say_growth(address, took)
    say_growth("derived again", again)


def _as_in_service(monkeypatch: pytest.MonkeyPatch) -> None:
    """Draw without what tests add to templates, and hold what is loaded aside as servers do."""
    draw = _TestState.saved_data.template_render  # type: ignore[attr-defined]
    monkeypatch.setattr(Template, "_render", draw)
    warm.warm(warm.PAGES)


def _plan(ours: Any) -> None:
    """Plan a visit of what falls due soon for every so many buildings that have none."""
    soon = Occurrence.objects.filter(due_on__lt=NOW.date() + timedelta(days=14))
    soon = soon.exclude(building=ours.building)
    free = soon.filter(visit=None).order_by("building_id").values_list("building_id", flat=True)
    for building in list(free.distinct())[::PLANNED]:
        visit = Visit.objects.create(building_id=building, planned_on=NOW.date())
        soon.filter(building_id=building).update(visit=visit)


def _empty(ours: Any) -> str:
    return f"/due/at/{ours.building.pk}/?week=2001-01-01"


def _again(ours: Any, days: int) -> float:
    """Derive the building again after visits closed one after another; return the least seconds."""
    least, told = float("inf"), ""
    for run in range(RUNS):
        at = NOW + timedelta(days=1, hours=run, minutes=days % 60)
        with time_machine.travel(at, tick=False), ours.scope():
            message = _close(ours, at)
            floor, _cpu, _rows = timed(lambda: _read(ours))
            with CaptureQueriesContext(connection) as asked:
                wall, cpu, _done = timed(lambda message=message: outbox.run(message))
        if wall < least:
            least = wall
            told = (
                f"{_told(wall, floor)}, {cpu * 1000:.0f} ms of this process, {len(asked)} queries"
            )
    say(f"  derived again after a closed visit: {told}")
    return least


def _close(ours: Any, at: datetime) -> Any:
    OutboxMessage.objects.filter(state="waiting").update(state="done")
    closed(ours, at)
    told = OutboxMessage.objects.filter(state="waiting", kind="building.recorded")
    return told.order_by("made_at", "pk").last().pk


def _read(ours: Any) -> int:
    models = (Device, Result, Event, Occurrence)
    return sum(len(model.objects.filter(building=ours.building)) for model in models)


def _best(act: Callable[[], Any]) -> tuple[float, str]:
    act()
    runs = []
    for _run in range(RUNS):
        with CaptureQueriesContext(connection) as asked:
            wall, cpu, _answer = timed(act)
        spent = sum(float(one["time"]) for one in asked.captured_queries)
        words = f"{cpu * 1000:.0f} ms of this process, {len(asked)} queries"
        runs.append((wall, f"{words} taking {spent * 1000:.0f} ms"))
    return min(runs)


def _told(took: float, floor: float) -> str:
    return f"{took * 1000:.0f} ms, {took / floor:.1f} times the floor ({floor * 1000:.1f} ms)"
