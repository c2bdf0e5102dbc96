"""`manage.py rebuild` derives everything from the record again."""

import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand
from django.db import connection

from contractors.outbox import each_contractor
from contractors.scope import contractor_scope
from inspections import projections
from scheduling import due


class Command(BaseCommand):
    """Derives visits, findings, due dates and standings of every contractor from its events."""

    help = "Derive visits, results, findings, due dates and standings from the record again."

    def handle(self, *args: Any, **options: Any) -> None:
        """Go through the contractors one by one."""
        for contractor in each_contractor():
            with contractor_scope(contractor.pk):
                counts = projections.rebuild()
                chunks = due.chunks()
            open_now = sum(_derived([(contractor.pk, ids) for ids in chunks]))
            told = ", ".join(f"{count} {stream}s" for stream, count in sorted(counts.items()))
            self.stdout.write(f"{contractor.name}: {told or 'no events'}; {open_now} occurrences")


def _derived(chunks: list[tuple[UUID, Sequence[UUID]]]) -> list[int]:
    """Derive chunks of buildings, by a process on each processor where several can write."""
    processes = min(len(os.sched_getaffinity(0)), len(chunks))
    if processes < 2 or connection.vendor != "postgresql" or connection.in_atomic_block:
        return [_derive(one) for one in chunks]
    # No process may go on with a connection of this one.
    connection.close()
    connection.close_pool()  # type: ignore[attr-defined]
    with ProcessPoolExecutor(processes, mp_context=get_context("fork")) as pool:
        return list(pool.map(_derive, chunks))


def _derive(chunk: tuple[UUID, Sequence[UUID]]) -> int:
    contractor_id, ids = chunk
    with contractor_scope(contractor_id):
        return due.derive_ids(ids)
