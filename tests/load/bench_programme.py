"""How long it takes to derive the programme of a contractor, and how that grows.

`make bench ARGS="-k programme"` clones a building with its history by SQL, as the application's own
role, and derives all of them. BUILDINGS names the sizes, such as `BUILDINGS=1000,10000`. Figures
are printed beside a floor measured in the same run: copying the rows that are to be derived from
one table into another and reading them.
"""

import math
import os
import resource
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

import psycopg
from django.db import connection

from buildings import inventory
from buildings.models import Agreement, Building, Device, Engagement, Revision, Riser, System
from inspections import record
from inspections.models import Result, Visit
from scheduling import due
from scheduling.models import Occurrence, StandingInterval
from tests.conftest import COMMITTED

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
DEVICES = 25
FEW = 100
SIZES = [int(size) for size in os.environ.get("BUILDINGS", "100,400").split(",")]
CLONED = (Building, System, Riser, Device, Engagement, Agreement, Revision, Visit, Result)
# Ids that name a row of another table without being a foreign key.
LOOSE = ("subject_id", "event_id")
AGED = {"performed_on": "mod(n, 180)", "read_on": "mod(n, 180)"}


def say(*words: object) -> None:
    """Write one line at once."""
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


def bench_programme(ours: Any) -> None:
    """Print seconds, memory and growth."""
    took = {}
    with ours.scope():
        give_history(ours)
        there = 1
        for size in SIZES:
            clone(ours.building, there, size)
            there = size
            Occurrence.objects.all().delete()
            StandingInterval.objects.all().delete()
            took[size] = _derive_all(size)
        say_growth("growth", took)


def give_history(ours: Any) -> None:
    """Give the building its 25 devices, and everything that is due one performance."""
    lacking = DEVICES - Device.objects.filter(building=ours.building).count()
    more = [
        Device(
            building=ours.building,
            code=f"G-{number}",
            name=f"Gauge {number}",
            kind="gauge",
            system=ours.wet,
            riser=ours.wet_riser,
            attributes={"measures": "system_water", "dated": "2024-03-01"},
        )
        for number in range(lacking)
    ]
    inventory.add(more, by=None, tell=False)
    due.derive(ours.building, NOW)
    visit = Visit.objects.create(building=ours.building)
    done = {"grade": "own_record", "done_on": date(2026, 6, 3).isoformat()}
    entries = [record.visit_entry(visit, "visit.import", done, by=None)]
    for one in Occurrence.objects.filter(building=ours.building):
        subject = {"kind": one.subject_kind, "id": str(one.subject_id)}
        payload = {"subject": subject, "activity": one.activity, "answer": "pass"}
        entries.append(record.visit_entry(visit, "item.set", payload, by=None))
    record.append(entries, via="import", by=ours.office)


def clone(
    building: Building,
    first: int,
    last: int,
    models: Sequence[Any] = CLONED,
    aged: Mapping[str, str] = AGED,
) -> None:
    """Copy a building with all that hangs on it; each copy did its work on another day.

    Parameters
    ----------
    aged
        What the days of a column become in the n-th copy, by the column's name.
    """
    for model in models:
        table = model._meta.db_table
        which = "id" if model is Building else "building_id"
        columns, values = [], []
        for field in model._meta.concrete_fields:
            columns.append(f'"{field.column}"')
            values.append(_cloned(model, field, models, aged))
        with connection.cursor() as cursor:
            cursor.execute(
                f"INSERT INTO {table} ({', '.join(columns)}) SELECT {', '.join(values)}"
                f" FROM {table} t, generate_series({first}, {last - 1}) n WHERE t.{which} = %s",
                [building.pk],
            )


def fill(
    ours: Any,
    first: int,
    last: int,
    models: Sequence[Any] = CLONED,
    aged: Mapping[str, str] = AGED,
) -> None:
    """Clone the building as `clone` does and commit, so that other processes see the copies.

    A few come first: planned on tables that are as good as empty, the checks of the keys of all
    the others would read whole tables for each row.
    """
    few = min(last, first + FEW)
    for start, end in ((first, few), (few, last)):
        with ours.scope():
            clone(ours.building, start, end, models, aged)
        settle()


def _cloned(model: Any, field: Any, models: Sequence[Any], aged: Mapping[str, str]) -> str:
    column = f't."{field.column}"'
    if field.primary_key or field.name in LOOSE or field.related_model in models:
        return f"md5({column}::text || '/' || n)::uuid"
    if model is Building and field.name in ("code", "name"):
        return f"{column} || ' ' || n"
    if model is Building and field.name == "area":
        return "'District ' || mod(n, 20)"
    if field.name in aged:
        return f"{column} - {aged[field.name]}"
    return column


def settle() -> None:
    """Have the owner of the committed tables vacuum and analyze them, which we may not."""
    server = os.environ["SCHEMA_DATABASE_URL"].rpartition("/")[0]
    with psycopg.connect(f"{server}/{COMMITTED}", autocommit=True) as connection:
        connection.execute("VACUUM ANALYZE")


def timed(act: Callable[[], Any]) -> tuple[float, float, Any]:
    """Return seconds by the clock, seconds of this process, and what the act returned."""
    wall, cpu = time.perf_counter(), time.process_time()
    done = act()
    return time.perf_counter() - wall, time.process_time() - cpu, done


def _derive_all(size: int) -> float:
    wall, cpu, count = timed(lambda: due.derive_all(NOW))
    floor, _cpu, _none = timed(copy_and_read)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    say(
        f"{size} buildings, {Device.objects.count()} devices, {count} occurrences:"
        f" {wall:.1f} s, {cpu:.1f} s of this process, {cpu / size * 1000:.1f} ms a building,"
        f" {wall / floor:.0f} times the floor ({floor:.2f} s), {memory:.0f} MiB"
    )
    wall, cpu, _count = timed(lambda: due.derive_all(NOW))
    say(f"  again, nothing changed: {wall:.1f} s, {cpu:.1f} s of this process")
    return cpu


def copy_and_read() -> None:
    """Copy what is derived into another table and read it: the floor of deriving it."""
    table = Occurrence._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE TEMP TABLE copied AS SELECT * FROM {table}")
        cursor.execute("SELECT * FROM copied")
        while cursor.fetchmany(5_000):
            pass
        cursor.execute("DROP TABLE copied")


def say_growth(what: str, took: dict[int, float]) -> None:
    """Print the exponent by which seconds grow from the smallest size to the largest."""
    (small, first), (large, last) = min(took.items()), max(took.items())
    if small < large:
        exponent = math.log(last / first) / math.log(large / small)
        say(f"{what} from {small} to {large} buildings: exponent {exponent:.2f}")
