from dataclasses import replace

import pytest
from hypothesis import given, settings

from scheduling.routing import replan as replanning
from scheduling.routing.plan import Reason
from scheduling.routing.problem import DAY, Appointment, Placement
from scheduling.routing.replan import News, Why, remaining, replan, under_way
from scheduling.routing.run import PlanFailed, Search
from scheduling.routing.solve import Effort, solve
from scheduling.routing.verify import verify
from tests.scheduling.routing.problems import (
    HOUR,
    problem,
    problems,
    technician,
    visit,
)

SHORT = {"seconds": 30.0, "search": Search(iterations=150, updates=50)}


@pytest.fixture(scope="module")
def week():
    crew = [technician("ann"), technician("ben", home=1)]
    work = [visit(f"v{i}", place=2 + i % 6, due=2 + i % 3, seconds=2 * HOUR) for i in range(14)]
    return problem(crew, work)


@pytest.fixture(scope="module")
def published(week):
    return solve(week, Effort(iterations=400))


def without_search(monkeypatch):
    def fail(*args, **kwargs):
        raise PlanFailed("no result")

    monkeypatch.setattr(replanning, "plan", fail)


def stops_of(plan, technician_id, day):
    routes = [r for r in plan.routes if (r.technician, r.day) == (technician_id, day)]
    return [stop for route in routes for stop in route.stops]


def test_when_nothing_changed_nothing_moves(week, published):
    again = replan(week, published, News(now=0), **SHORT)
    assert again.plan.routes == published.routes
    assert again.changes == () == again.begun == again.choices


@given(problems())
@settings(max_examples=40)
def test_when_nothing_changed_nothing_moves_whatever_the_plan(given_problem):
    published = solve(given_problem, Effort(iterations=30))
    again = replan(given_problem, published, News(now=given_problem.now), **SHORT)
    assert {c.visit for c in again.changes if c.before is not None} == set()
    assert verify(again.problem, again.plan) == ()


def test_what_has_begun_stays_and_the_rest_of_the_day_goes_on_from_there(week, published):
    route = published.routes[0]
    now = route.stops[1].start + 600
    again = replan(week, published, News(now=now), **SHORT)
    assert {s.visit for s in route.stops[:2]} <= set(again.begun)
    assert again.begun == under_way(published, now)
    assert again.changes == ()
    rest = next(t for t in again.problem.technicians if t.id == route.technician)
    shift = rest.shift_on(route.day)
    assert shift is None or shift.begins == route.stops[1].end
    assert verify(again.problem, again.plan) == ()


def test_a_technician_fallen_ill_loses_the_day_and_others_take_over(week, published):
    day = max(r.day for r in published.routes if r.technician == "ann")
    ill = {s.visit for s in stops_of(published, "ann", day)}
    again = replan(week, published, News(now=0, absences=(("ann", day),)), **SHORT)
    assert stops_of(again.plan, "ann", day) == []
    placed = again.plan.placements()
    explained = {entry.visit for entry in again.plan.unplanned}
    assert ill <= placed.keys() | explained
    assert {c.visit for c in again.changes if c.why is Why.ABSENT} == ill
    untouched = published.placements().keys() - ill
    for visit_id in untouched:
        before, after = published.placements()[visit_id], placed[visit_id]
        assert after.day == before.day
        assert abs(after.start - before.start) <= HOUR
    assert verify(again.problem, again.plan) == ()


def test_an_emergency_is_placed_before_its_response_limit(week, published):
    now = 8 * HOUR
    limit = Appointment(earliest=now, latest=13 * HOUR)
    emergency = visit("burst", place=4, seconds=5400, appointment=limit, priority=4, due=0)
    again = replan(week, published, News(now=now, new_visits=(emergency,)), **SHORT)
    at = again.plan.placements()["burst"].start
    assert now <= at <= limit.latest
    assert again.plan.placements().keys() >= published.placements().keys() - set(again.begun)
    assert next(c.why for c in again.changes if c.visit == "burst") is Why.NEW
    assert verify(again.problem, again.plan) == ()


def test_without_a_result_of_the_search_what_fits_is_placed_and_nothing_is_dropped(
    week, published, monkeypatch
):
    without_search(monkeypatch)
    again = replan(week, published, News(now=0, absences=(("ben", 0),)), **SHORT)
    kept = published.placements().keys() - {s.visit for s in stops_of(published, "ben", 0)}
    assert kept <= again.plan.placements().keys()
    assert verify(again.problem, again.plan) == ()


def test_a_cancelled_visit_leaves_a_gap_and_moves_nobody(week, published):
    gone = published.routes[0].stops[0].visit
    again = replan(week, published, News(now=0, cancelled=(gone,)), **SHORT)
    assert gone not in again.plan.placements()
    assert again.changes == ()


def test_what_fits_only_if_others_change_days_is_offered_and_not_done():
    full = problem(
        [technician(days=(0, 1), overtime=0)],
        [visit("today", seconds=6 * HOUR, due=0), visit("any", seconds=6 * HOUR, due=1)],
        days=2,
    )
    stands = Placement(technician="ann", day=0, start=8 * HOUR)
    published = solve(
        full.with_visits((replace(full.visits[1], locked=stands),)), Effort(iterations=50)
    )
    news = News(now=0, new_visits=(replace(full.visits[0], latest=0),))
    again = replan(full.with_visits((full.visits[1],)), published, news, **SHORT)
    assert [(u.visit, u.reason) for u in again.plan.unplanned] == [("today", Reason.NO_CAPACITY)]
    assert again.plan.placements()["any"].day == 0
    (choice,) = again.choices
    assert choice.places == ("today",)
    assert choice.moves == 1
    assert choice.plan.placements()["any"].day == 1
    assert verify(choice.problem, choice.plan) == ()


def test_a_choice_moves_no_more_visits_than_it_needs_to():
    work = [visit(f"d{day}", place=2, seconds=6 * HOUR, earliest=day, due=day) for day in (0, 1, 2)]
    full = problem([technician(days=(0, 1, 2, 3), overtime=0)], work)
    loose = full.with_visits(tuple(replace(v, due=4) for v in full.visits))
    published = solve(full, Effort(iterations=50))
    new = visit("new", place=2, seconds=6 * HOUR, due=1, latest=1)
    again = replan(loose, published, News(now=0, new_visits=(new,)), **SHORT)
    (choice,) = again.choices
    assert choice.places == ("new",)
    assert choice.moves == 1
    assert choice.plan.cost.moved == loose.weights.moved
    assert verify(choice.problem, choice.plan) == ()


def test_a_day_that_runs_late_lets_go_of_what_it_no_longer_reaches():
    tight = problem(
        [technician(days=(0, 1), overtime=0)],
        [visit("v", seconds=6 * HOUR, due=1)],
        days=2,
    )
    published = solve(tight, Effort(iterations=50))
    stop = published.routes[0].stops[0]
    late = replace(published, routes=(replace(published.routes[0], leaves=stop.arrival - 60),))
    shifted = replace(stop, arrival=stop.arrival + 3 * HOUR, wait=0)
    late = replace(late, routes=(replace(late.routes[0], stops=(shifted,)),))
    again = replan(tight, late, News(now=stop.start + 2 * HOUR), **SHORT)
    (change,) = again.changes
    assert change.why is Why.RUNNING_LATE
    assert change.after.day == 1


def test_a_double_visit_whose_technician_is_absent_gets_another_pair():
    crew = [technician(n) for n in ("ann", "ben", "cat")]
    double = problem(crew, [visit("double", two_technicians=True, due=0)])
    published = solve(double, Effort(iterations=50))
    ill = published.placements()["double"].technician
    again = replan(double, published, News(now=0, absences=((ill, 0),)), **SHORT)
    assert ill not in again.plan.placements()["double"].crew


def test_a_lock_on_an_absent_technician_is_let_go():
    lock = Placement(technician="ann", day=1, start=DAY + 9 * HOUR)
    crew = [technician("ann"), technician("ben")]
    locked = problem(crew, [visit("v", locked=lock)])
    published = solve(locked, Effort(iterations=20))
    again = replan(locked, published, News(now=0, absences=(("ann", 1),)), **SHORT)
    assert "v" in again.plan.placements()


def test_visits_of_the_plan_keep_their_day_and_an_hour_around_their_start(week, published):
    rest = remaining(week, published, News(now=0))
    assert all(v.kept == published.placements()[v.id] for v in rest.visits)


@pytest.mark.parametrize(
    ("news", "name"),
    [
        (News(now=0, absences=(("nobody", 0),)), "news.absences"),
        (News(now=0, absences=(("ann", 99),)), "news.absences day"),
        (News(now=0, cancelled=("nothing",)), "news.cancelled"),
        (News(now=0, new_visits=(visit("v1"),)), "news.new_visits"),
        (News(now=-1), "news.now"),
    ],
)
def test_news_about_what_does_not_exist_is_refused_by_name(week, published, news, name):
    with pytest.raises(ValueError, match=name):
        replan(week, published, news, **SHORT)
