"""Windows and first-due rules come from the tables, and every row of them is read.

The tables name the source of each row: public texts where the row says so, else from memory or
common practice, no source.
"""

import csv
from datetime import date
from pathlib import Path

import pytest

from inspections.applies import Because, Judge
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import REGIMES
from inspections.intervals import Span
from inspections.sites import Item, Site
from scheduling.recurrence import Clock, next_window

TABLES = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue" / "itm"
DAY = date(2026, 7, 1)
SLOTS = {
    "every day": "day",
    "once per calendar week": "week",
    "fifty-two times per year, once per calendar week": "week",
    "once per calendar month": "month",
    "twelve times per year, once per calendar month": "month",
    "once in each calendar quarter": "quarter",
}


def table(name):
    with (TABLES / name).open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def span(text):
    return Span.parse(text) if text else None


def test_every_row_of_the_tolerances_is_read_but_the_one_that_defines_nothing():
    rows = table("tolerances.csv")
    defining = [row for row in rows if row["nominal"]]
    assert [row["frequency"] for row in rows if not row["nominal"]] == ["before_2014"]
    assert len(catalogue().windows) == len(defining)
    for row, rule in zip(defining, catalogue().windows, strict=True):
        assert (rule.regime, rule.edition) == (row["regime"], row["edition"])
        assert rule.nominal == Span.parse(row["nominal"])
        scheduled = row["min_interval"].startswith("-")
        least, greatest = span(row["min_interval"]), span(row["max_interval"])
        assert (rule.before if scheduled else rule.least) == least, row
        assert (rule.after if scheduled else rule.greatest) == greatest, row
        assert rule.slot == SLOTS.get(row["count_rule"]), row
        assert (rule.source, rule.confidence) == (row["source"], row["confidence"])


def test_every_row_of_the_tolerances_bounds_a_repeat():
    for rule in catalogue().windows:
        found = next_window(rule, Clock(start=date(2020, 1, 1), anchor=date(2020, 1, 1)), [DAY])
        assert DAY < found.due <= found.latest, rule
        assert found.earliest is None or found.earliest <= found.due, rule
        assert found.reason


def test_every_first_due_rule_of_the_table_counts_from_the_age():
    rows = [row for row in table("activities.csv") if row["first_after"]]
    assert len(rows) > 10
    born = date(1974, 3, 1)
    for row in rows:
        activity = catalogue().activity(row["id"])
        assert activity.first_age == Span.parse(row["first_after"]), row["id"]
        if activity.frequency is None:
            continue
        rule = catalogue().window_rule(activity.regime, 2020, activity.frequency)
        clock = Clock(start=born, born=born, first_after=activity.first_age)
        assert next_window(rule, clock).due == activity.first_age.after(born), row["id"]


def test_no_row_stands_without_condition_or_gate():
    """List the rows that nothing narrows: there is none, and those meant for all say so."""
    rules = {row["id"]: row for row in table("activity_rules.csv")}
    assert rules.keys() == catalogue().activities.keys()
    without = [
        activity.id
        for activity in catalogue().activities.values()
        if not rules[activity.id]["applies"].strip() or not rules[activity.id]["gate"].strip()
    ]
    assert without == []
    for activity in catalogue().activities.values():
        for_all = rules[activity.id]["meant_for_all"] == "yes"
        assert for_all or activity.applies.names or activity.gate.names, activity.id


PLACES = {
    "nfpa25": {"country": "US", "state": "OH", "base_standard": "nfpa25", "workplace": False},
    "ca_title19": {"country": "US", "state": "CA", "base_standard": "nfpa25"},
    "osha": {"country": "US", "state": "OH", "base_standard": "nfpa25", "workplace": True},
    "nfpa72": {"country": "US", "state": "OH", "base_standard": "nfpa25"},
    "bs_en_12845": {"country": "GB", "base_standard": "bs_en_12845"},
}


@pytest.mark.parametrize("regime", sorted(PLACES))
def test_rows_of_a_regime_are_let_in_by_its_own_buildings_and_by_no_others(regime):
    rows = [one for one in catalogue().activities.values() if one.regime == regime]
    assert rows
    uk, us = regime == "bs_en_12845", PLACES["nfpa25"]
    elsewhere = us if uk else PLACES["bs_en_12845"]
    for place, lets_in in ((PLACES[regime], True), (elsewhere, False)):
        for activity in rows:
            items = (Item("i", activity.subjects[0], "b", {}),)
            ruled = Judge(catalogue(), DAY).rulings(Site("b", 2011, place, items), items[0])
            (found,) = [one for one in ruled if one.activity.id == activity.id]
            assert (found.because is not Because.REGIME) is lets_in, (activity.id, found)


def test_no_regime_of_the_activities_is_without_rows_or_windows():
    known = {one.regime for one in catalogue().activities.values()}
    assert known == set(REGIMES)
    year = Span.parse("P1Y")
    for regime in (*REGIMES, "own", "joint_commission", "cms", "as_1851"):
        assert catalogue().window_rule(regime, 2020, year).nominal == year
