"""A criterion filled in for the tablet comes to the same there, in a real browser, as here."""

import functools
import http.server
import random
import threading
from pathlib import Path

import pytest

from inspections.catalogue_files import catalogue
from inspections.conditions.facts import Fact, Origin
from inspections.criteria import Bound, Filled

MODULES = Path(__file__).parents[2] / "inspections" / "static" / "inspections" / "tablet"
ROUNDS = 40


class _Files(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *arguments):
        pass


@pytest.fixture
def judged(browser):
    """The tablet's verdicts on a list of {tree, given}."""
    handler = functools.partial(_Files, directory=MODULES)
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{server.server_port}/criteria.js")
        yield lambda cases: page.evaluate(
            """async (cases) => {
                const { judge } = await import('/criteria.js');
                return cases.map(({ tree, given }) => judge(tree, given));
            }""",
            cases,
        )
        page.close()
        server.shutdown()
        thread.join()


class Known:
    """Facts by name; the others are unknown."""

    def __init__(self, facts):
        self.facts = facts

    def look_up(self, name):
        return self.facts.get(name) or Fact(name, None, Origin.UNKNOWN)


def criteria():
    found = [one for one in catalogue().activities.values() if one.criterion is not None]
    return [one for one in found if "years_since" not in one.criterion.text]


def drawn(rng, kind, near):
    """A fact of a kind: absent, unknown, or a value, figures close to the limits."""
    chance = rng.random()
    if chance < 0.1:
        return None, Origin.UNKNOWN
    if chance < 0.15:
        return None, Origin.MISSING
    shape = kind.shape.value
    if shape == "truth":
        return rng.random() < 0.5, Origin.GIVEN
    if shape == "word":
        return rng.choice(kind.choices or ("none", "open", "closed", "other")), Origin.GIVEN
    return rng.choice([*near, 0.0, rng.uniform(0, 2e6)]) * rng.choice([1, 1, 0.9, 1.1]), (
        Origin.GIVEN
    )


def case(rng, activity):
    edition = rng.choice([2011, 2014, 2020, 2023])
    words = Filled(activity, catalogue(), Known({})).words
    limits = [limit.unit.to_si(limit.value) for limit in catalogue().limits]
    known, given = {}, {}
    for name in sorted(activity.criterion.names):
        if name.startswith("limit."):
            known[name] = catalogue().limit_fact(name.removeprefix("limit."), edition)
            continue
        value, origin = drawn(rng, words.kind_of(name), rng.sample(limits, 3))
        if name in activity.readings:
            given |= {name: value} if value is not None else {}
        else:
            known[name] = Fact(name, value, origin)
    read = {name: Fact(name, value) for name, value in given.items()}
    expected = activity.criterion.evaluate(Known(known | read)).value
    return {"tree": Filled(activity, catalogue(), Known(known)).tree, "given": given}, expected


def test_every_criterion_of_the_catalogue_comes_to_the_same_on_the_tablet(judged):
    rng = random.Random(11)
    drawn_cases = [case(rng, activity) for activity in criteria() for _round in range(ROUNDS)]
    cases = [one for one, _expected in drawn_cases]
    expected = [value for _one, value in drawn_cases]
    found = judged(cases)
    differing = [
        (one, wanted, got)
        for one, wanted, got in zip(cases, expected, found, strict=True)
        if wanted != got
    ]
    assert differing == []
    assert {True, False, None} == set(expected)


def test_bounds_are_those_that_must_hold_whatever_else_does():
    activities = catalogue().activities
    facts = Known({"limit.waterflow_time": Fact("limit.waterflow_time", 90.0)})
    filled = Filled(activities["waterflow-vane-test"], catalogue(), facts)
    assert filled.bounds() == {"time_to_alarm": (Bound("greatest", 90.0, met=True),)}
    past = Known(
        {
            "limit.main_drain_ratio": Fact("limit.main_drain_ratio", 0.9),
            "baseline.residual_pressure": Fact("baseline.residual_pressure", 500_000.0),
            "last.residual_pressure": Fact("last.residual_pressure", 400_000.0),
        }
    )
    drain = Filled(activities["main-drain-annual"], catalogue(), past)
    assert [bound.si for bound in drain.bounds()["residual_pressure"]] == [450_000.0, 360_000.0]
    either = Filled(activities["valve-supervisory-test"], catalogue(), Known({}))
    assert either.bounds() == {}
