"""Which work closes which: the rows of a table, each with its source."""

import csv
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Change
from inspections.sites import Item, Site
from scheduling.absorption import Owing, Performed, taken_in
from scheduling.recurrence import Clock
from scheduling.windows import Bound, Bounds, open_window

TABLE = Path(__file__).parents[2] / "fixtures" / "published" / "itm" / "taking_in.csv"
ROWS = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))
TAKEN = [one for one in ROWS if one["taken_in"] == "yes"]
DAY = date(2026, 7, 1)
BEGAN = date(2020, 1, 1)
PLACES = (
    *(("S1", "system", "B"), ("R", "riser", "S1"), ("V", "dry_pipe_valve", "R")),
    *(("Q", "quick_opening_device", "V"), ("A", "air_maintenance_device", "R")),
    *(("S", "supervisory_device", "R"), ("S2", "system", "B"), ("RR", "riser", "S2")),
    *(("V2", "dry_pipe_valve", "RR"), ("L", "lead_in", "B"), ("C", "control_valve", "R")),
    *(("T", "supervisory_switch", "C"), ("F", "waterflow_switch", "R"), ("P", "fire_pump", "B")),
    *(("SP", "standpipe", "B"), ("H1", "hose_valve", "SP"), ("H2", "hose_valve", "SP")),
    *(("B1", "backflow_assembly", "L"), ("G", "sprinkler_group", "S1")),
    *(("R1", "pressure_reducing_valve", "S1"), ("R3", "pressure_reducing_valve", "S1")),
)
ITEMS = {name: Item(name, kind, parent, {}) for name, kind, parent in PLACES}
ITEMS["B"] = ITEMS.pop("B1")
SITE = Site("B", 2020, {}, tuple(ITEMS.values()))
LAW = Change(rule="1", act="takes_in", activity="*", from_on=BEGAN, whose="A state", source="Code")
AGREED = Change(rule="2", act="takes_in", activity="*", from_on=BEGAN, source="contract, s.3")


def named(rows):
    return [f"{at}-{row['performed']}-{row['closes']}" for at, row in enumerate(rows)]


def under(law=False, agreed=False):
    changes = tuple(one for one, holds in ((LAW, law), (AGREED, agreed)) if holds)
    return replace(catalogue(), takes_in=changes)


def owing(item, activity_id, last):
    """What is owed on an item, last done on a day."""
    activity = catalogue().activity(activity_id)
    frequency = activity.frequency or catalogue().activity("dry-trip-partial").frequency
    rule = catalogue().window_rule("nfpa25", 2020, frequency)
    bound = Bound(name="nfpa25", rule=rule, activity=activity_id)
    bounds = Bounds(rules=(bound,), clock=Clock(start=BEGAN))
    return Owing(item=item, activity=activity, bounds=bounds, days=(last,) if last else ())


def a_while_ago(activity_id):
    """A day for which the next performance is due on `DAY`."""
    frequency = catalogue().activity(activity_id).frequency
    return DAY if frequency is None else frequency.times(-1).after(DAY)


def done(row, **more):
    said = [one.partition("@") for one in row["also"].split(";") if one]
    return Performed(
        item=ITEMS[row["on"]],
        activity=catalogue().activity(row["performed"]),
        on=DAY,
        remarks=frozenset(what for what, _, _ in said),
        named=frozenset((what, item) for what, _, item in said if item),
        **more,
    )


def taken(row, act, last):
    open_one = owing(ITEMS[row["item"]], row["closes"], last)
    rules = under(bool(row["law"]), bool(row["agreed"]))
    return taken_in([act], [open_one], catalogue=rules, site=SITE)


@pytest.mark.parametrize("row", ROWS, ids=named(ROWS))
def test_work_takes_in_what_the_table_says_and_names_itself(row):
    found = taken(row, done(row), a_while_ago(row["closes"]))
    assert bool(found) == (row["taken_in"] == "yes"), row["source"]
    for one in found:
        assert row["performed"] in one.reason
        assert (one.item, one.activity, one.on) == (row["item"], row["closes"], DAY)
        if row["agreed"]:
            assert "contract, s.3" in one.reason


@pytest.mark.parametrize("row", TAKEN, ids=named(TAKEN))
@pytest.mark.parametrize("fault", [{"failed": True}, {"recorded": False}], ids=["failed", "bare"])
def test_a_failed_result_and_one_without_its_readings_take_nothing_in(row, fault):
    assert taken(row, done(row, **fault), a_while_ago(row["closes"])) == []


@pytest.mark.parametrize("row", TAKEN, ids=named(TAKEN))
def test_what_was_done_shortly_before_is_not_open_and_what_was_done_that_day_is_itself(row):
    assert taken(row, done(row), DAY) == []


def test_law_takes_in_up_to_yearly_work():
    """Florida Administrative Code 69A-46.041(1), read: up to annual, all that is more frequent."""
    family = {"dry-trip-partial", "dry-trip-full"}
    assert family & {one.activity_id for one in catalogue().family("system_trip")}
    half = owing(ITEMS["V"], "uk-halfyear-dry", a_while_ago("uk-halfyear-dry"))
    yearly = Performed(item=ITEMS["V"], activity=catalogue().activity("dry-trip-partial"), on=DAY)
    (found,) = taken_in([yearly], [half], catalogue=under(law=True), site=SITE)
    assert "Amended by A state" in found.reason
    assert taken_in([yearly], [half], catalogue=under(), site=SITE) == []


def test_a_visit_closes_the_one_open_occurrence_and_the_rest_of_the_year_stays_owed():
    """A yearly visit closes one of 52 weekly looks."""
    weekly = owing(ITEMS["C"], "control-valve-sealed-weekly", DAY - timedelta(days=7))
    turned = Performed(
        item=ITEMS["C"], activity=catalogue().activity("control-valve-exercise"), on=DAY
    )
    (found,) = taken_in([turned], [weekly], catalogue=under(), site=SITE)
    after = open_window(weekly.bounds, [*weekly.days, found.on])
    assert after.latest <= DAY + timedelta(days=14)


VALVE_WORK = [one.id for one in catalogue().for_kind("dry_pipe_valve") if one.frequency]
ACTS = st.builds(
    Performed,
    item=st.sampled_from([ITEMS["V"], ITEMS["V2"]]),
    activity=st.sampled_from([catalogue().activity(one) for one in VALVE_WORK]),
    on=st.dates(date(2024, 1, 1), date(2027, 12, 31)),
    failed=st.booleans(),
    recorded=st.booleans(),
    remarks=st.sets(st.sampled_from(["cover_opened", "quick_opening_operated"])).map(frozenset),
)


@given(st.lists(ACTS, max_size=6), st.booleans(), st.booleans())
def test_absorption_never_loses_a_requirement(acts, law, agreed):
    """Whatever is taken in, every task stays owed, no later than if it had been done itself."""
    start = date(2024, 1, 1)
    open_ones = [owing(ITEMS[name], work, start) for name in ("V", "V2") for work in VALVE_WORK]
    rules = under(law, agreed)
    found = taken_in(acts, open_ones, catalogue=rules, site=SITE)
    good = [act for act in acts if act.recorded and not act.failed]
    assert found == taken_in(good, open_ones, catalogue=rules, site=SITE)
    for one in open_ones:
        here = [
            each for each in found if (each.item, each.activity) == (one.item.id, one.activity.id)
        ]
        days = [each.on for each in here]
        # Each day once, for a good result of other work on the same item, inside the open window.
        assert len(set(days)) == len(days)
        for place, each in enumerate(here):
            (act,) = {
                act.item.id for act in good if (act.activity.id, act.on) == (each.by, each.on)
            } & {each.item}
            assert act == one.item.id
            assert each.by != one.activity.id
            before = [*one.days, *days[:place]]
            window = open_window(one.bounds, before)
            assert window.holds(each.on) or window.due.year == each.on.year
        # Still owed, and by a day no later than after the last performance that counts.
        after = open_window(one.bounds, sorted([*one.days, *days]))
        last = max([start, *days])
        assert after.latest <= (one.bounds.rule.greatest or one.bounds.rule.nominal).after(
            last
        ) + timedelta(days=31)
