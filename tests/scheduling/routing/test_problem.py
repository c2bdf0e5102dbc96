from dataclasses import replace

import pytest

from scheduling.routing.plan import Plan
from scheduling.routing.problem import (
    Access,
    Appointment,
    Placement,
    Problem,
    Shift,
    Technician,
    Weights,
)
from scheduling.routing.wire import from_json, to_json
from tests.scheduling.routing.problems import problem, shifts, technician, visit

GOOD = problem([technician("ann"), technician("ben")], [visit("v")])


@pytest.mark.parametrize(
    ("build", "name"),
    [
        (lambda: Weights(overtime=-1), "weights.overtime"),
        (lambda: Weights(late_most=86_400), "weights.unplanned"),
        (lambda: Shift(day=-1, start=0, seconds=1), "shift.day"),
        (lambda: Shift(day=0, start=0, seconds=0), "shift.seconds"),
        (lambda: Shift(day=0, start=100, seconds=1, home_by=100), "shift.home_by"),
        (lambda: Technician(id="", home=0, shifts=()), "technician.id"),
        (lambda: Technician(id="ann", home=0, shifts=shifts(0) * 2), "shifts of technician ann"),
        (
            lambda: technician("ann", days=(0, 1), start=7 * 3600, seconds=86_400),
            "shift.start of technician ann on day 1",
        ),
        (lambda: Access(weekday=7, opens=0, closes=1), "access.weekday"),
        (lambda: Access(weekday=0, opens=5, closes=5), "access.closes"),
        (lambda: Appointment(earliest=5, latest=4), "appointment.latest"),
        (lambda: visit("v", due=-1), "visit v: due"),
        (lambda: visit("v", latest=3), "visit v: latest"),
        (lambda: visit("v", priority=0), "visit v: priority"),
        (
            lambda: visit("v", locked=Placement(technician="a", day=0, start=0, partner="b")),
            "visit v: locked.partner",
        ),
        (lambda: replace(GOOD, days=0), "problem.days"),
        (lambda: problem([technician(), technician()], []), "id in problem.technicians"),
        (lambda: problem([], [visit("v"), visit("v")]), "id in problem.visits"),
        (lambda: problem([technician(home=99)], []), "technician ann: home"),
        (lambda: problem([technician(days=(7,))], []), "technician ann: shift.day"),
        (lambda: problem([], [visit("v", place=8)]), "visit v: place"),
        (
            lambda: problem([], [visit("v", locked=Placement(technician="x", day=0, start=0))]),
            "visit v: locked technician",
        ),
        (
            lambda: replace(GOOD, seconds=((0, 1),), metres=((0,),)),
            r"length of problem.seconds\[0\]",
        ),
        (lambda: replace(GOOD, seconds=((1,),), metres=((0,),)), r"problem.seconds\[0\]\[0\]"),
        (lambda: replace(GOOD, metres=((0,),)), "rows of problem.metres"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(build, name):
    with pytest.raises(ValueError, match=name):
        build()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"days": "5"}, "problem.days is '5'; accepted: a whole number"),
        ({"days": True}, "problem.days is True; accepted: a whole number"),
        ({"first_day": "2026-13-01"}, "problem.first_day is '2026-13-01'; accepted: a date"),
        ({"colour": 1}, "problem.colour is 1; accepted: only first_day, days"),
        ({"visits": {}}, "problem.visits is {}; accepted: a list"),
        ({"visits": [{"id": "v"}]}, r"problem.visits\[0\].place is None; .* missing"),
        ({"technicians": [3]}, r"problem.technicians\[0\] is 3; accepted: an object"),
    ],
)
def test_json_of_another_shape_is_refused_by_path(change, message):
    with pytest.raises(ValueError, match=message):
        from_json(Problem, to_json(GOOD) | change)


def test_an_unknown_reason_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match=r"plan.unplanned\[0\].reason is 'mood'; .*no_capacity"):
        from_json(Plan, {"unplanned": [{"visit": "v", "reason": "mood"}]})
