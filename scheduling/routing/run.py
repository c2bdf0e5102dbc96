"""Planning from a service: the search runs in a child process that can be killed at any moment."""

import json
import os
import subprocess  # nosec
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from scheduling.routing.plan import Plan
from scheduling.routing.problem import Problem, accept
from scheduling.routing.solve import Effort, Order, Progress
from scheduling.routing.verify import verify
from scheduling.routing.wire import from_json, to_json

CHILD = (sys.executable, "-m", "scheduling.routing.solve")
ROOT = Path(__file__).resolve().parents[2]
# Seconds for a child to load its libraries on a busy machine, and beyond its limit to end.
START, GRACE = 60.0, 5.0
LOOK_EVERY = 0.1


class PlanFailed(Exception):
    """No plan came out in time or it was not legal; the old plan stays as it is."""


class PlanCancelled(PlanFailed):
    """The search was called off; the old plan stays as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """How a search is run.

    Attributes
    ----------
    iterations
        Limit beside the time limit; None: time alone. The same problem, seed and iterations give
        the same plan as long as the time limit is not reached.
    processes
        Searches with other random numbers side by side, one a core; the cheapest plan wins; 1 to 8.
    updates
        As in `Effort`.
    child
        The command of the child process.
    """

    iterations: int | None = None
    processes: int = 1
    updates: int = 500
    child: tuple[str, ...] = CHILD

    def __post_init__(self) -> None:
        accept(1 <= self.processes <= 8, "search.processes", self.processes, "1 to 8")


def plan(
    problem: Problem,
    *,
    seconds: float,
    seed: int = 0,
    on_progress: Callable[[Progress], None] | None = None,
    is_cancelled: Callable[[], bool] | None = None,
    start: Plan | None = None,
    search: Search | None = None,
) -> Plan:
    """Return a plan that was checked rule by rule.

    Parameters
    ----------
    problem
        What to plan.
    seconds
        Time limit of the search, > 0, counted from its first report. The child process is killed
        5 s later at the latest, or when it has not begun within a minute.
    seed
        Of the random numbers, >= 0.
    on_progress
        Called in this thread with each progress report of the first process.
    is_cancelled
        Asked about ten times a second; True kills the search.
    start
        A plan to start from: re-planning, or going on with an earlier search.
    search
        How the search is run; None: one process, time alone.

    Raises
    ------
    PlanCancelled
        When `is_cancelled` said so.
    PlanFailed
        When no legal plan came out within the limit; "no result, old plan kept".
    ValueError
        When an argument is out of range.
    """
    how = search or Search()
    children = []
    for n in range(how.processes):
        effort = Effort(
            seconds=seconds,
            iterations=how.iterations,
            seed=seed + n,
            updates=how.updates,
        )
        order = Order(problem=problem, effort=effort, start=start)
        children.append(_Child(how.child, json.dumps(to_json(order))))
    try:
        _wait(children, seconds + GRACE, on_progress, is_cancelled)
    finally:
        for one in children:
            one.kill()
    plans = [found for one in children if (found := one.result(problem)) is not None]
    if not plans:
        raise PlanFailed(f"no result, old plan kept: {children[0].complaint()}")
    return min(plans, key=lambda p: p.cost.total)


def _wait(
    children: list["_Child"],
    limit: float,
    on_progress: Callable[[Progress], None] | None,
    is_cancelled: Callable[[], bool] | None,
) -> None:
    deadline = time.monotonic() + START
    begun = False
    while any(one.runs() for one in children) and time.monotonic() < deadline:
        if not begun and all(one.has_begun for one in children):
            begun, deadline = True, time.monotonic() + limit
        if is_cancelled is not None and is_cancelled():
            raise PlanCancelled("called off, old plan kept")
        for report in children[0].reports():
            if on_progress is not None:
                on_progress(report)
        next((one for one in children if one.runs()), children[0]).wait(LOOK_EVERY)


class _Child:
    """One search in a process of its own, with threads that keep its pipes flowing."""

    def __init__(self, command: Sequence[str], order: str) -> None:
        one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
        self._process = subprocess.Popen(  # noqa: S603
            list(command),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd=ROOT,
            env={**os.environ, **one_thread},
            text=True,
        )
        self.has_begun = False
        self._out = ""
        self._lines: list[str] = []
        self._other: list[str] = []
        self._threads = [
            threading.Thread(target=self._write, args=(order,), daemon=True),
            threading.Thread(target=self._read_out, daemon=True),
            threading.Thread(target=self._read_err, daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    def runs(self) -> bool:
        return self._process.poll() is None

    def wait(self, seconds: float) -> None:
        try:
            self._process.wait(seconds)
        except subprocess.TimeoutExpired:
            return

    def kill(self) -> None:
        if self.runs():
            self._process.kill()
        self._process.wait()
        for thread in self._threads:
            thread.join()

    def reports(self) -> list[Progress]:
        lines, self._lines = self._lines, []
        found = []
        for line in lines:
            try:
                found.append(from_json(Progress, json.loads(line)))
            except ValueError:
                self._other.append(line)
        return found

    def result(self, problem: Problem) -> Plan | None:
        if self._process.returncode != 0:
            return None
        try:
            found = from_json(Plan, json.loads(self._out))
        except ValueError:
            return None
        return None if verify(problem, found) else found

    def complaint(self) -> str:
        self.reports()
        if self._process.returncode == 0:
            return "the plan was not legal"
        said = self._other[-1].strip() if self._other else "nothing"
        return f"the search ended with code {self._process.returncode} and said {said}"

    def _write(self, order: str) -> None:
        assert self._process.stdin is not None
        try:
            with self._process.stdin as pipe:
                pipe.write(order)
        except OSError:
            return

    def _read_out(self) -> None:
        assert self._process.stdout is not None
        with self._process.stdout as pipe:
            self._out = pipe.read()

    def _read_err(self) -> None:
        assert self._process.stderr is not None
        with self._process.stderr as pipe:
            for line in pipe:
                self._lines.append(line)
                self.has_begun = True
