"""The planner itself, run in a child process: problem in, plan out, progress on the side.

`python -m scheduling.routing.solve` reads one JSON order on standard input and writes the plan as
JSON on standard output; each line on standard error is a JSON progress report. `run.plan` starts,
watches and if need be kills it.
"""

import json
import sys
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass

from pyvrp import IteratedLocalSearchParams, PenaltyParams, ProblemData, Solution
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.IteratedLocalSearch import IteratedLocalSearch, IteratedLocalSearchCallbacks
from pyvrp.search import NeighbourhoodParams
from pyvrp.solve import SolveParams
from pyvrp.solve import solve as search

from scheduling.routing.draft import Draft, placement_of
from scheduling.routing.explain import finished
from scheduling.routing.model import Model, build
from scheduling.routing.plan import Plan
from scheduling.routing.problem import Placement, Problem, accept
from scheduling.routing.timing import Piece
from scheduling.routing.wire import from_json, to_json

# First price of a second of broken window: low for weeks, where visits change days by way of plans
# that break windows; high for a single day, where every minute is taken and such plans lead astray.
WEEKS_PENALTY = 5.0
DAY_PENALTY = 500.0
# Shorter memory and more neighbours than the library's own: many clients are one visit's intervals.
HISTORY = 50
NEIGHBOURS = 70
REPORT_EVERY = 0.5
# Share of the effort after which visits that found no place in time are offered their late days.
ON_TIME_SHARE = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How long to search: seconds of the clock, or a number of iterations (repeatable), or both.

    Attributes
    ----------
    seconds
        Time limit, the making of the model included; > 0, or None.
    iterations
        Iteration limit; > 0, or None. With the same seed and no time limit the plan is the same.
    seed
        Of the random numbers; >= 0.
    first_penalty
        First price of a second of broken window or shift during the search, > 0; None: low for
        plans of several days, high for one day.
    updates
        Iterations between changes of that price: 500 for planning, 50 for runs of a few seconds.
    """

    seconds: float | None = None
    iterations: int | None = None
    seed: int = 0
    first_penalty: float | None = None
    updates: int = 500

    def __post_init__(self) -> None:
        given = self.seconds is not None or self.iterations is not None
        accept(given, "effort.seconds", self.seconds, "a limit in seconds or in iterations")
        accept(self.seconds is None or self.seconds > 0, "effort.seconds", self.seconds, "above 0")
        enough = self.iterations is None or self.iterations > 0
        accept(enough, "effort.iterations", self.iterations, "1 or more")
        accept(0 <= self.seed < 2**32, "effort.seed", self.seed, "0 to 4294967295")
        first = self.first_penalty
        accept(first is None or first > 0, "effort.first_penalty", first, "above 0")
        accept(self.updates >= 1, "effort.updates", self.updates, "1 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far the search is: seconds since its start, visits planned, left out, travel seconds."""

    seconds: float
    planned: int
    left_out: int
    travel: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What the child process is asked: a problem, how long to search, and a plan to start from."""

    problem: Problem
    effort: Effort
    start: Plan | None = None


class LowStart(PenaltyParams):
    """Penalties that start low and may rise to the full cap.

    The library starts halfway to the cap, absurdly high for seconds as units: the search freezes.
    A low cap is a trap too: breaking a window can become cheaper than leaving a visit out.
    """

    first = WEEKS_PENALTY

    def midpoint_penalties(self, data: ProblemData) -> tuple[list[float], float, float]:
        """Return the first price of a unit too much of load, time and distance."""
        return [self.first] * data.num_load_dimensions, self.first, self.first


def solve(
    problem: Problem,
    effort: Effort,
    *,
    start: Plan | None = None,
    report: Callable[[Progress], None] | None = None,
) -> Plan:
    """Return a plan: legal routes, and a proved reason for every visit left out.

    Runs in this process and can't be interrupted while inside the library; use `run.plan` from a
    service.

    Parameters
    ----------
    problem, effort
        What to plan and how long to search.
    start
        A plan to start from; what no longer fits it is left aside.
    report
        Called now and then with the progress.
    """
    watch = _Watch(effort, report)
    pairs = choose_pairs(problem, start)
    draft = _searched(problem, pairs, frozenset(), watch, start)
    missing = frozenset(visit.id for visit in draft.missing())
    if missing and not watch.spent():
        watch.share = 1.0
        draft = _searched(problem, pairs, missing, watch, draft.plan())
    draft.fill()
    return finished(problem, draft.plan(), draft.missing())


def choose_pairs(problem: Problem, start: Plan | None = None) -> dict[str, Placement]:
    """Return crew and start for each two-technician visit that can have one, before routing.

    Locked visits stand first; the others follow, earliest due first, each at its cheapest place
    beside the earlier ones. A place that `start` gives and that is still legal is kept.
    """
    draft = Draft(problem)
    for key, pieces in _locked(problem).items():
        for piece in pieces:
            draft.append(key, piece)
    standing = start.placements() if start else {}
    chosen: dict[str, Placement] = {}
    doubles = [v for v in problem.visits if v.two_technicians and not v.locked]
    for visit in sorted(doubles, key=lambda v: (-v.priority, v.due, v.id)):
        old = standing.get(visit.id)
        places = (draft.pair_as(visit, old) if old else ()) or draft.cheapest_pair(visit)
        if places:
            draft.take(places)
            chosen[visit.id] = placement_of(places, visit)
    return chosen


def _locked(problem: Problem) -> dict[tuple[str, int], list[Piece]]:
    found: dict[tuple[str, int], list[Piece]] = {}
    for visit in problem.visits:
        if visit.locked:
            start = visit.locked.start
            for member in visit.locked.crew:
                piece = Piece(visit, ((start, start),))
                found.setdefault((member, visit.locked.day), []).append(piece)
    for pieces in found.values():
        pieces.sort(key=lambda p: p.intervals)
    return found


def _searched(
    problem: Problem,
    pairs: dict[str, Placement],
    late: frozenset[str],
    watch: "_Watch",
    start: Plan | None,
) -> Draft:
    model = build(problem, pairs, late)
    if not model.tasks:
        return Draft(problem)
    days = {shift.day for technician in problem.technicians for shift in technician.shifts}
    penalty = watch.effort.first_penalty or (WEEKS_PENALTY if len(days) > 1 else DAY_PENALTY)
    first = model.solution(start) if start else None
    return _draft(problem, model, _search(model, watch, first, penalty))


def _search(model: Model, watch: "_Watch", start: Solution | None, penalty: float) -> Solution:
    watch.model = model
    penalties = LowStart(solutions_between_updates=watch.effort.updates)
    penalties.first = penalty
    params = SolveParams(
        ils=IteratedLocalSearchParams(history_length=HISTORY, callbacks=watch),
        neighbourhood=NeighbourhoodParams(num_neighbours=NEIGHBOURS),
        penalty=penalties,
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PenaltyBoundWarning)
        result = search(
            model.data,
            watch,
            seed=watch.effort.seed,
            collect_stats=False,
            params=params,
            initial_solution=start,
        )
    return result.best


class _Watch(IteratedLocalSearchCallbacks):
    """Stops a search at its limit, or at a share of it while visits are missing, and reports."""

    model: Model

    def __init__(self, effort: Effort, report: Callable[[Progress], None] | None) -> None:
        self.effort, self.report = effort, report
        self.began = time.monotonic()
        self.share = ON_TIME_SHARE
        self.iterations = 0
        self.reported = float("-inf")
        self.missing = 0

    def spent(self, share: float = 1.0) -> bool:
        elapsed = time.monotonic() - self.began
        over = self.effort.seconds is not None and elapsed >= share * self.effort.seconds
        count = self.effort.iterations
        return over or (count is not None and self.iterations >= share * count)

    def __call__(self, best_cost: float) -> bool:
        return self.spent() or (self.missing > 0 and self.spent(self.share))

    def on_start(self, ils: IteratedLocalSearch) -> None:
        self.on_best(ils.initial_solution)

    def on_iteration(self, current: object, candidate: object, best: object, costs: object) -> None:
        self.iterations += 1

    def on_best(self, best: Solution) -> None:
        planned = len(self.model.planned(best))
        self.missing = len(self.model.tasks) - planned
        elapsed = time.monotonic() - self.began
        if self.report and best.is_feasible() and elapsed - self.reported >= REPORT_EVERY:
            self.reported = elapsed
            self.report(
                Progress(
                    seconds=round(elapsed, 3),
                    planned=planned,
                    left_out=self.missing,
                    travel=best.distance(),
                )
            )


def _draft(problem: Problem, model: Model, best: Solution) -> Draft:
    draft = Draft(problem)
    vehicles = [list(keys) for keys in model.members]
    for route in best.routes():
        key = vehicles[route.vehicle_type()].pop(0)
        served = [
            (model.tasks[model.client_task[a.idx]], a.start_time)
            for a in route.schedule()
            if a.is_client()
        ]
        exact = [Piece(task.visit, _interval(task.slots, start)) for task, start in served]
        loose = [
            piece if task.technician else draft.piece(task.visit, key) or piece
            for (task, _), piece in zip(served, exact, strict=True)
        ]
        if not draft.put(key, loose) and not draft.put(key, exact):
            for piece in exact:
                draft.append(key, piece)
    return draft


def _interval(
    slots: tuple[tuple[int, int, int, int], ...], start: int
) -> tuple[tuple[int, int], ...]:
    return next(((s[1], s[2]),) for s in slots if s[1] <= start <= s[2])


def main() -> None:
    """Read an order, answer with a plan; progress goes to standard error line by line."""
    order = from_json(Order, json.load(sys.stdin))

    def report(progress: Progress) -> None:
        sys.stderr.write(json.dumps(to_json(progress)) + "\n")
        sys.stderr.flush()

    report(Progress(seconds=0, planned=0, left_out=len(order.problem.visits), travel=0))
    plan = solve(order.problem, order.effort, start=order.start, report=report)
    json.dump(to_json(plan), sys.stdout)


if __name__ == "__main__":
    main()
