import sys

import pytest

from scheduling.routing import run
from scheduling.routing.run import PlanCancelled, PlanFailed, Search, plan
from scheduling.routing.solve import Effort, solve
from tests.scheduling.routing.problems import HOUR, problem, technician, visit

WORK = problem(
    [technician("ann"), technician("ben", home=1)],
    [visit(f"v{i}", place=2 + i % 6, seconds=2 * HOUR) for i in range(12)],
)
LONG = 600


def child(code):
    return Search(child=(sys.executable, "-c", code))


def test_the_child_process_gives_the_plan_that_the_solver_gives():
    search = Search(iterations=100)
    assert plan(WORK, seconds=LONG, seed=3, search=search) == solve(
        WORK, Effort(iterations=100, seed=3)
    )


def test_progress_is_told_while_it_searches():
    told = []
    plan(WORK, seconds=LONG, search=Search(iterations=1_500), on_progress=told.append)
    assert told
    assert all(0 <= report.planned <= 12 for report in told)


def test_two_searches_side_by_side_give_the_cheaper_plan():
    raced = plan(WORK, seconds=LONG, search=Search(iterations=30, processes=2))
    alone = plan(WORK, seconds=LONG, search=Search(iterations=30))
    assert raced.cost.total <= alone.cost.total


def test_calling_it_off_kills_the_search_and_keeps_the_old_plan():
    asked = []

    def enough():
        asked.append(1)
        return len(asked) > 2

    with pytest.raises(PlanCancelled, match="old plan kept"):
        plan(WORK, seconds=LONG, is_cancelled=enough)


def test_a_child_that_hangs_is_killed_at_the_limit(monkeypatch):
    monkeypatch.setattr(run, "GRACE", 0.2)
    hangs = "import sys, time; sys.stderr.write('{}\\n'); sys.stderr.flush(); time.sleep(600)"
    with pytest.raises(PlanFailed, match="no result, old plan kept"):
        plan(WORK, seconds=0.1, search=child(hangs))


def test_a_child_that_never_begins_is_killed(monkeypatch):
    monkeypatch.setattr(run, "START", 0.2)
    with pytest.raises(PlanFailed, match="no result, old plan kept"):
        plan(WORK, seconds=LONG, search=child("import time; time.sleep(600)"))


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("import os, signal; os.kill(os.getpid(), signal.SIGKILL)", "ended with code -9"),
        ("import sys; sys.exit('out of paper')", "code 1 and said out of paper"),
        ("print('nonsense')", "not legal"),
        ("print('{}')", "not legal"),
        ("import sys; sys.stdin.close(); print('[]')", "not legal"),
    ],
)
def test_a_child_that_dies_or_answers_nonsense_leaves_the_old_plan(code, words):
    with pytest.raises(PlanFailed, match=words):
        plan(WORK, seconds=LONG, search=child(code))


@pytest.mark.parametrize(
    ("arguments", "name"),
    [({"seconds": 0}, "effort.seconds"), ({"seconds": 1, "seed": -1}, "effort.seed")],
)
def test_a_senseless_order_is_refused_before_anything_starts(arguments, name):
    with pytest.raises(ValueError, match=name):
        plan(WORK, **arguments)


def test_no_more_processes_than_are_sensible():
    with pytest.raises(ValueError, match=r"search.processes is 9; accepted: 1 to 8"):
        Search(processes=9)
