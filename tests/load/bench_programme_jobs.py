"""How long a contractor's whole programme takes from scratch, by one process and by all workers.

`make bench ARGS="-k programme_jobs"` clones a building with its history, commits it, has the
database take its statistics as it does in service, and derives every building by the job that
becomes one of each chunk, with a worker on each processor; the smallest size by this process too.
BUILDINGS names the sizes, such as `BUILDINGS=1000,10000`. Seconds are by the clock; the database's
share is in them. The floor, measured in the same run: copying the occurrences from one table into
another and reading them.
"""

import os
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest

from config import supervisor
from contractors import outbox
from contractors.models import OutboxMessage
from contractors.outbox import wake
from scheduling import due
from scheduling.models import (
    Occurrence,
    PublishedBuilding,
    PublishedStanding,
    Question,
    StandingInterval,
    Workload,
)
from tests import scene, servers
from tests.conftest import COMMITTED
from tests.load.bench_programme import (
    NOW,
    copy_and_read,
    fill,
    give_history,
    say,
    say_growth,
    settle,
    timed,
)

SIZES = [int(size) for size in os.environ.get("BUILDINGS", "200,800").split(",")]
PROCESSORS = len(os.sched_getaffinity(0))
DERIVED = (Occurrence, Workload, Question, StandingInterval, PublishedStanding, PublishedBuilding)


def bench_programme_jobs(committed_database: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Print seconds, milliseconds a building, memory and growth."""
    # The database is this bench's alone, and so are the workers that are woken.
    monkeypatch.setattr("contractors.outbox.wake", wake)
    ours = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
    with ours.scope():
        give_history(ours)
    took: dict[int, float] = {}
    there = 1
    with _workers() as workers:
        for size in SIZES:
            fill(ours, there, size)
            there = size
            if size == SIZES[0]:
                _forget(ours)
                _alone(ours, size)
            _forget(ours)
            before, _memory = _spent(workers)
            took[size] = _by_jobs(ours, size)
            after, memory = _spent(workers)
            say(
                f"  {PROCESSORS} workers: {after - before:.1f} s their own,"
                f" {(after - before) / size * 1000:.1f} ms a building, {memory:.0f} MiB together"
            )
    say_growth("growth", took)


def _forget(ours: Any) -> None:
    """Take away what was derived."""
    with ours.scope():
        for model in DERIVED:
            model.objects.all().delete()
    settle()


def _alone(ours: Any, size: int) -> None:
    wall, cpu = time.perf_counter(), time.process_time()
    with ours.scope():
        count = due.derive_all(NOW)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    say(
        f"{size} buildings, {count} occurrences, by one process: {wall:.1f} s, {cpu:.1f} s its own,"
        f" {cpu / size * 1000:.1f} ms a building"
    )


def _by_jobs(ours: Any, size: int) -> float:
    begun = time.perf_counter()
    with ours.scope():
        outbox.add("programme.derive", f"of {size}")
    servers.until(_all_done, seconds=900, what="the programme")
    wall = time.perf_counter() - begun
    with ours.scope():
        count = Occurrence.objects.count()
        floor, _cpu, _none = timed(copy_and_read)
    say(
        f"  {count} occurrences by jobs: {wall:.1f} s, {wall / size * 1000:.1f} ms a building,"
        f" {wall / floor:.1f} times the floor ({floor:.1f} s)"
    )
    return wall


def _all_done() -> bool:
    jobs = OutboxMessage.objects.filter(kind__startswith="programme.")
    assert not jobs.filter(state=OutboxMessage.State.PARKED).exists()
    return not jobs.exclude(state=OutboxMessage.State.DONE).exists()


@contextmanager
def _workers() -> Iterator[list[servers.Server]]:
    environment = {"TEST_DATABASE": COMMITTED, "DJANGO_SETTINGS_MODULE": "config.settings_test"}
    with ExitStack() as stack:
        found = []
        for number in range(PROCESSORS):
            name = f"derives{number}"
            worker = servers.Server(
                name,
                supervisor.worker_command(name, "bulk", log_level="INFO"),
                folder=Path(os.environ["DATA_DIR"]),
                environment=environment,
            )
            stack.callback(worker.stop)
            worker.wait(lambda worker=worker: " ready." in worker.log(), seconds=300)
            found.append(worker)
        yield found


def _spent(workers: list[servers.Server]) -> tuple[float, float]:
    """Return processor seconds and MiB of the workers; what their processes share counts once.

    A process keeps the memory of its largest chunk, so what it has afterwards is the most it had.
    """
    ticks = memory = 0
    waiting = [worker.process.pid for worker in workers]
    while waiting:
        about = Path(f"/proc/{waiting.pop()}")
        waiting += map(int, (about / "task" / about.name / "children").read_text().split())
        ticks += sum(map(int, (about / "stat").read_text().rpartition(")")[2].split()[11:13]))
        memory += int((about / "smaps_rollup").read_text().partition("\nPss:")[2].split()[0])
    return ticks / os.sysconf("SC_CLK_TCK"), memory / 1024
