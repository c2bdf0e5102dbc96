"""How good the plans are: gap to the best known values, and beside a dispatcher's rule of thumb.

`python -m tests.load.bench_routing [--seconds N] [--only NAME ...]` plans the published instances
of the reference folder beside the repository, through the product's own model, and prints for
each one the gap above the best known value and how the rule of thumb does on it. What is not there
is named and left out.
"""

import argparse
import csv
import sys
from collections.abc import Iterator
from pathlib import Path

from scheduling.routing import run
from scheduling.routing.cost import cost
from scheduling.routing.draft import Draft
from scheduling.routing.plan import Cost
from scheduling.routing.problem import Problem, Visit
from scheduling.routing.run import Search
from tests.scheduling.routing import instances

REFERENCE = Path(__file__).resolve().parents[3] / "shared" / "reference" / "routing"
SCALE = {"vrptw100": 10, "vrptw200": 10, "sdvrptw": 1000, "mdvrptw": 1000, "technician": 1}
PRESSING = 5


def say(*words: object) -> None:
    """Write one line at once."""
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


def greedy(problem: Problem) -> Cost:
    """Return what a dispatcher's rule of thumb costs: fill each day in turn, nearest of the urgent.

    Day by day and technician by technician, the next stop is the nearest of the five most urgent
    visits that may still be put at the end of the route.
    """
    draft = Draft(problem)
    placed: set[str] = set()
    for visit in problem.visits:
        if visit.locked:
            draft.insert(visit)
            placed.add(visit.id)
    shifts = [(s.day, t.id, t.home) for t in problem.technicians for s in t.shifts]
    for day, technician, home in sorted(shifts):
        _fill_day(problem, draft, placed, (technician, day), home)
    plan = draft.plan()
    left = [visit.id for visit in draft.missing()]
    worth = problem.weights.unplanned
    found = cost(problem, plan)
    return Cost(
        travel=found.travel,
        overtime=found.overtime,
        not_preferred=found.not_preferred,
        late=found.late,
        unplanned=worth * len(left),
    )


def _fill_day(
    problem: Problem, draft: Draft, placed: set[str], key: tuple[str, int], home: int
) -> None:
    here, tired = home, set[str]()
    while True:
        open_ones = (v for v in problem.visits if v.id not in placed | tired)
        pressing = sorted(open_ones, key=lambda v: _urgency(draft, v))
        fitting = [v for v in pressing if draft.piece(v, key)][:PRESSING]
        if not fitting:
            return
        visit = min(fitting, key=lambda v: problem.seconds[here][v.place])
        if draft.append_visit(key, visit):
            placed.add(visit.id)
            here = visit.place
        else:
            tired.add(visit.id)


def _urgency(draft: Draft, visit: Visit) -> int:
    slots = draft.slots(visit)
    return slots[-1].latest if slots else 0


def _rows(only: list[str]) -> Iterator[tuple[str, str, float, Problem]]:
    index = REFERENCE / "index.csv"
    if not index.exists():
        say(f"left out: everything; {index} is not there")
        return
    skipped: dict[str, int] = {}
    with index.open() as lines:
        for row in csv.DictReader(lines):
            family, name = row["family"], row["instance"]
            if only and name not in only and family not in only:
                continue
            if family not in SCALE:
                skipped[family] = skipped.get(family, 0) + 1
                continue
            found = _read(family, name)
            if found is None:
                say(f"left out: {family}/{name}, no file")
                continue
            yield family, name, float(row["best_known"] or 0) * SCALE[family], found
    for family, count in skipped.items():
        say(f"left out: {count} instances of {family}, another kind of problem")


def _read(family: str, name: str) -> Problem | None:
    path = next(iter(sorted((REFERENCE / family).glob(f"{name}.*"), reverse=True)), None)
    if path is None:
        return None
    if family == "technician":
        return instances.made(path)[0]
    if family.startswith("vrptw"):
        return instances.solomon(path)
    return instances.vrplib(path.with_suffix(".vrp"))


def main() -> None:
    """Run the benchmark as the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=10.0, help="for each instance")
    parser.add_argument("--processes", type=int, default=1, help="searches side by side")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="*", default=[], help="families or instances")
    parser.add_argument("--no-greedy", action="store_true", help="leave the rule of thumb out")
    asked = parser.parse_args()
    gaps: dict[str, list[float]] = {}
    say("family instance best_known cost gap_% left_out rule_of_thumb ratio")
    for family, name, best, problem in _rows(asked.only):
        plan = run.plan(
            problem,
            seconds=asked.seconds,
            seed=asked.seed,
            search=Search(processes=asked.processes),
        )
        gap = 100 * (plan.cost.total / best - 1)
        gaps.setdefault(family, []).append(gap)
        thumb = 0 if asked.no_greedy else greedy(problem).total
        ratio = f"{plan.cost.total / thumb:.2f}" if thumb else "-"
        left_out = len(plan.unplanned)
        say(family, name, round(best), plan.cost.total, f"{gap:.2f}", left_out, thumb, ratio)
    for family, found in gaps.items():
        say(f"{family}: mean {sum(found) / len(found):.2f} %, worst {max(found):.2f} %")


if __name__ == "__main__":
    main()
