"""Planning against published instances, through the product's own model.

Sources: fixtures/published/routing/README.md names paper, repository and rounding of each instance.
The stored routes are the best known ones; the gap bounds of the searches are our own.
"""

from pathlib import Path

import pytest

from scheduling.routing.draft import Draft
from scheduling.routing.explain import finished
from scheduling.routing.model import build
from scheduling.routing.solve import Effort, solve
from scheduling.routing.verify import verify
from tests.scheduling.routing import instances

FOLDER = Path(__file__).parents[2] / "fixtures" / "published" / "routing"
# Instance, best known value in the unit of the problem, iterations, gap allowed in %.
INSTANCES = [
    ("C101", 8273, 400, 1.0),
    ("R104", 9715, 1500, 3.0),
    ("RC107", 12078, 1500, 3.0),
    ("PR01", 1655420, 2000, 1.0),
]


def problem_of(name):
    if name.startswith("PR"):
        return instances.vrplib(FOLDER / f"{name}.vrp")
    return instances.solomon(FOLDER / f"{name}.txt")


def stored_routes(name):
    """Return the stored routes by vehicle number, as visit ids of the problem read here."""
    shift = 1 if name.startswith("PR") else 0  # their files count from the first customer
    routes = {}
    for line in (FOLDER / f"{name}.sol").read_text().splitlines():
        if line.startswith("Route #"):
            number, visits = line.removeprefix("Route #").split(":")
            routes[int(number)] = [str(int(visit) + shift) for visit in visits.split()]
    return routes


def stored_plan(name, problem):
    draft = Draft(problem)
    for number, visits in stored_routes(name).items():
        key = (problem.technicians[number - 1].id, 0)
        for visit in visits:
            assert draft.append_visit(key, problem.visit_by_id[visit]), (name, number, visit)
    return finished(problem, draft.plan(), draft.missing())


@pytest.mark.parametrize(("name", "best"), [row[:2] for row in INSTANCES])
def test_the_best_known_routes_are_legal_here_and_cost_what_is_published(name, best):
    problem = problem_of(name)
    plan = stored_plan(name, problem)
    assert plan.cost.total == best
    assert verify(problem, plan) == ()


@pytest.mark.parametrize(("name", "best"), [row[:2] for row in INSTANCES])
def test_the_solver_s_model_prices_the_best_known_routes_as_published(name, best):
    problem = problem_of(name)
    solution = build(problem, {}, frozenset()).solution(stored_plan(name, problem))
    assert solution.is_feasible()
    assert solution.distance() == best
    assert solution.num_clients() == len(problem.visits)


@pytest.mark.parametrize(("name", "best", "iterations", "allowed"), INSTANCES)
def test_a_short_search_comes_near_the_best_known_value(name, best, iterations, allowed):
    problem = problem_of(name)
    plan = solve(problem, Effort(iterations=iterations, seed=1))
    assert plan.unplanned == ()
    assert verify(problem, plan) == ()
    gap = 100 * (plan.cost.total / best - 1)
    assert gap <= allowed
    # These values have stood for long: a lower one means that a rule is not kept.
    assert gap >= 0
