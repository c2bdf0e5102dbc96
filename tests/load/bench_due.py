"""How long the due list takes, and deriving a building again after a closed visit, as it grows.

`make bench ARGS="-k due"` derives one building of 25 devices and clones it with its history and its
derived rows by SQL, so that sizes can be large at once; each copy is due in another week. BUILDINGS
names the sizes, such as `BUILDINGS=1000,10000`. Figures are the best of a few runs, beside floors
of the same run: an empty part of the list behind the same door, and reading the rows of the
building. All of it is committed, and the database takes its statistics as it does in service.
"""

import os
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from buildings.models import Device
from contractors import outbox
from contractors.models import OutboxMessage
from inspections.models import Event, Result
from scheduling import due
from scheduling.models import Occurrence, WeekLoad
from tests import scene
from tests.conftest import session_of
from tests.load.bench_programme import (
    CLONED,
    NOW,
    clone,
    give_history,
    say,
    say_growth,
    settle,
    timed,
)
from tests.scheduling.recording import closed

SIZES = [int(size) for size in os.environ.get("BUILDINGS", "100,300,1000").split(",")]
MODELS = (*CLONED, Occurrence, WeekLoad)
WEEKS = "mod(n, 26) * 7"
AGED = dict.fromkeys(
    ("performed_on", "read_on", "last_done_on", "earliest_on", "due_on", "latest_on", "monday"),
    WEEKS,
)
RUNS = 5
PAGES = {"": "due list", "?kind=test": "narrowed to tests", "?week=overdue": "overdue"}


def bench_due(committed_database: None) -> None:
    """Print seconds, their ratio to the floor and growth."""
    ours = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
    pages: dict[str, dict[int, float]] = {query: {} for query in PAGES}
    again: dict[int, float] = {}
    with time_machine.travel(NOW, tick=False), ours.scope():
        give_history(ours)
        due.derive(ours.building, NOW)
    manager = Client()
    there = 1
    for size in SIZES:
        with time_machine.travel(NOW, tick=False):
            with ours.scope():
                clone(ours.building, there, size, MODELS, AGED)
            settle()
            manager.cookies["sessionid"] = session_of(ours.manager)
            with ours.scope():
                devices, rows = Device.objects.count(), Occurrence.objects.count()
            say(f"{size} buildings, {devices} devices, {rows} occurrences")
            floor, _queries = _best(lambda: manager.get(_empty(ours)))
            for query, told in PAGES.items():
                took, asked = _best(lambda query=query: manager.get(f"/due/{query}"))
                pages[query][size] = took
                say(f"  {told}: {_told(took, floor)}, {asked}")
        again[size] = _again(ours, there)
        there = size
    for query, told in PAGES.items():
        say_growth(told, pages[query])
    say_growth("derived again", again)


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
