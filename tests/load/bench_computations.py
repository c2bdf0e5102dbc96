"""How fast computations are: judging main drains, their trends, an evaluation in the interface.

`make bench ARGS="-k computations"`. Each figure stands beside a floor that was measured in the same
run: the bare arithmetic on the same numbers, an empty view behind the same middleware and door,
a multiplication. RISERS sets how many main drain results are judged.
"""

import os
import sys
import time
from collections.abc import Callable
from datetime import date
from typing import Any

import pint
import pytest
from django.urls import path
from rest_framework import viewsets
from rest_framework.request import Request
from rest_framework.response import Response

from buildings import units
from config import urls
from contractors.doors import EVERYBODY, DoorMixin
from inspections.hydraulics.constants import PSI
from inspections.hydraulics.index import evaluate
from inspections.trends.series import Point, series
from inspections.trends.trend import Limit, Side, trend

RISERS = int(os.environ.get("RISERS", "100000"))
YEARS = 5
# A trend asks the statistics library and takes far longer than a verdict: a part tells its speed.
TRENDS = min(RISERS, 2_000)
CALLS = 100
EMPTY = "/bench/empty/"
DRAIN = "/api/v1/calculations/main_drain_change/"
ASKED = {
    "current_residual": "61 psi",
    "previous_residual": "66 psi",
    "earlier_residuals": ["67 psi", "68 psi"],
    "static": "82 psi",
}


class Empty(DoorMixin, viewsets.GenericViewSet[Any]):
    """Answers nothing, behind the door that the computations have."""

    write_roles = EVERYBODY

    def nothing(self, request: Request) -> Response:
        """Answer an empty object."""
        return Response({})


urlpatterns = [path(EMPTY.lstrip("/"), Empty.as_view({"post": "nothing"})), *urls.urlpatterns]


def say(*words: object) -> None:
    """Write one line at once."""
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


def _cpu(work: Callable[[], object]) -> float:
    begin = time.process_time()
    work()
    return time.process_time() - begin


def _readings(riser: int) -> list[float]:
    """Return five years of residuals of a riser in Pa: slowly falling, each riser its own."""
    start = 60.0 + riser % 37
    return [(start - 0.3 * year - (riser * 7 + year * 3) % 11 / 10) * PSI for year in range(YEARS)]


def bench_computations_main_drains() -> None:
    """Print seconds to judge every main drain result of all risers, against bare arithmetic."""
    rows = [_readings(riser) for riser in range(RISERS)]

    def bare() -> None:
        for row in rows:
            for year in range(1, YEARS):
                now, best = row[year], max(row[:year])
                _ = (best - now) / best >= 0.1

    def judged() -> None:
        for row in rows:
            for year in range(YEARS):
                before = row[:year]
                evaluate(
                    "main_drain_change",
                    {
                        "current_residual": row[year],
                        "previous_residual": before[-1] if before else None,
                        "earlier_residuals": before[:-1],
                        "static": 110 * PSI,
                    },
                )

    floor, took = _cpu(bare), _cpu(judged)
    say(
        f"every main drain result of {RISERS:,} risers over {YEARS} years: {took:.2f} s, judged"
        f" with range checks, reason and warnings (wanted: 10 s);"
        f" {took / floor:.0f} times bare arithmetic ({floor:.3f} s)"
    )


def bench_computations_trends() -> None:
    """Print how long trends take, and what all risers would take."""
    days = [date(2021 + year, 6, 1) for year in range(YEARS)]
    rows = [_readings(riser) for riser in range(TRENDS)]

    def drawn() -> None:
        for row in rows:
            points = [Point(on, value) for on, value in zip(days, row, strict=True)]
            trend(series(points), Limit(0.9 * row[0], Side.LEAST), lambda value: f"{value:.0f}")

    def floor() -> None:
        for row in rows:
            sorted((row[j] - row[i]) / (j - i) for i in range(YEARS) for j in range(i + 1, YEARS))

    least, took = _cpu(floor), _cpu(drawn)
    say(
        f"trends of {TRENDS:,} risers: {took:.2f} s, {took / least:.0f} times sorting the pairwise"
        f" slopes; {RISERS:,} risers at that speed: {took / TRENDS * RISERS:.0f} s"
    )


@pytest.mark.django_db
@pytest.mark.urls(__name__)
def bench_computations_in_the_interface(ours: Any, api: Any) -> None:
    """Print an evaluation through the API against an empty view behind the same middleware."""
    client = api(ours.manager)

    def calls(address: str) -> float:
        took = []
        for _ in range(CALLS):
            begin = time.perf_counter()
            answer = client.post(address, ASKED, format="json")
            took.append(time.perf_counter() - begin)
            assert answer.status_code == 200, answer.content
        return sorted(took)[CALLS // 2]

    calls(EMPTY), calls(DRAIN)
    least, took = calls(EMPTY), calls(DRAIN)
    say(
        f"an evaluation through the API: {1e3 * took:.2f} ms, {took / least:.1f} times an empty"
        f" view behind the same middleware and door ({1e3 * least:.2f} ms; wanted: 3 times at most)"
    )


def bench_computations_units() -> None:
    """Print what units cost: the table of factors, a text read, and Pint for each conversion."""
    registry: Any = pint.UnitRegistry(cache_folder=None)
    values = [10.0 + number / 100 for number in range(20_000)]
    texts = [f"{value} psi" for value in values]
    floor = _cpu(lambda: [value * PSI for value in values])
    for words, work in (
        ("the table of factors", lambda: [units.to_si(value, "psi") for value in values]),
        ("a text read with its unit", lambda: [units.parse(one, "pressure") for one in texts]),
        (
            "Pint at each conversion",
            lambda: [registry.Quantity(value, "psi").to("Pa").magnitude for value in values],
        ),
    ):
        took = _cpu(work)
        say(
            f"{words}: {1e6 * took / len(values):.2f} µs each, {took / floor:.0f} times a plain"
            " multiplication"
        )
