"""Every row of the table of tolerances, each checked against the dates that it allows.

The dates are counted here by plain arithmetic, apart from the module that counts windows; the
source of each figure stands in its row.
"""

import calendar
import csv
import re
from datetime import date, timedelta
from pathlib import Path

import pytest

from inspections.catalogue_files import catalogue
from inspections.intervals import Span
from scheduling.recurrence import Clock, next_window

TABLE = Path(__file__).parents[2] / "fixtures" / "catalogue" / "itm" / "tolerances.csv"
ROWS = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))
DEFINED = [row for row in ROWS if row["nominal"]]
LASTS = (date(2024, 2, 29), date(2025, 12, 31), date(2026, 5, 10), date(2027, 1, 31))
FIRST = date(2020, 1, 1)
# Enough of each interval to reach the year 2100 from the first day.
MOST_STEPS = {"P1M": 960, "P3M": 320, "P6M": 160, "P1Y": 80, "P5Y": 16, "P10Y": 8}
MOST_STEPS |= {"P25Y": 4, "P30Y": 3}


def named(row):
    return f"{row['regime']}-{row['edition'] or 'any'}-{row['frequency']}".replace(" ", "_")


def year_of(row):
    """An edition in which the row is in force, as a number; None for the newest."""
    years = [int(word) for word in row["edition"].split() if word.isdigit()]
    if not years:
        return None
    return years[0] - 1 if "before" in row["edition"] else years[0]


def add(day, text, times=1):
    """The day that lies an interval such as P3M, P3M+10D or -5 working days after another."""
    if "working" in text:
        count = int(text.split()[0])
        while count:
            day += timedelta(days=1 if count > 0 else -1)
            if day.weekday() < 5:
                count += -1 if count > 0 else 1
        return day
    sign = -1 if text.startswith("-") else 1
    months = days = 0
    for minus, number, unit in re.findall(r"([+-]?)P?(\d+)([DMY])", text.lstrip("+-")):
        amount = sign * (-1 if minus == "-" else 1) * int(number)
        months += amount * {"M": 1, "Y": 12}.get(unit, 0)
        days += amount if unit == "D" else 0
    month = day.year * 12 + day.month - 1 + months * times
    year, index = divmod(month, 12)
    last = calendar.monthrange(year, index + 1)[1]
    return day.replace(year=year, month=index + 1, day=min(day.day, last)) + timedelta(days * times)


def slot_after(day, rule):
    """First and last day of the calendar slot after the one that holds a day."""
    if "every day" in rule:
        return day + timedelta(days=1), day + timedelta(days=1)
    if "week" in rule:
        monday = day - timedelta(days=day.weekday()) + timedelta(days=7)
        return monday, monday + timedelta(days=6)
    months = 3 if "quarter" in rule else 1
    begins = add(day.replace(day=1), f"P{months - (day.month - 1) % months}M")
    return begins, add(begins, f"P{months}M") - timedelta(days=1)


def by_count(row, last, latest):
    """The last day by the count in the calendar year too, with one performance in it so far.

    The count is a minimum: what is still to come of the year has to fit in, each after the least
    gap; a year in which it cannot is left, and the next one counts.
    """
    wanted = {"four times per year": 4, "twice per year": 2, "once per year": 1}
    least = row["min_interval"]
    for year, left in ((last.year, -1), (last.year + 1, 0)):
        left += wanted.get(row["count_rule"], 0)
        limit = add(date(year, 12, 31), f"-{least}", times=left - 1) if left > 1 else None
        limit = date(year, 12, 31) if left == 1 else limit
        if limit is not None and limit >= add(last, least):
            return min(latest, limit)
    return latest


def window(row, last):
    edition = year_of(row)
    rule = catalogue().own_window_rule(row["regime"], edition, Span.parse(row["nominal"]))
    assert rule is not None
    clock = Clock(start=FIRST, anchor=FIRST)
    return rule, next_window(rule, clock, [last])


def test_the_table_is_the_one_that_is_loaded():
    loaded = {(one.regime, one.edition, one.word) for one in catalogue().windows}
    assert loaded == {
        (row["regime"], row["edition"], row["frequency"].replace("_", " ")) for row in DEFINED
    }
    assert {row["regime"] for row in DEFINED} == {
        *("nfpa25", "nfpa72", "joint_commission", "cms", "as_1851", "bs_en_12845")
    }


@pytest.mark.parametrize("row", DEFINED, ids=named)
def test_a_row_is_found_by_its_regime_edition_and_interval(row):
    rule, _ = window(row, LASTS[0])
    assert rule.word == row["frequency"].replace("_", " ")
    assert (rule.source, rule.confidence) == (row["source"], row["confidence"])


@pytest.mark.parametrize("last", LASTS, ids=str)
@pytest.mark.parametrize("row", DEFINED, ids=named)
def test_the_window_of_a_row_begins_and_ends_where_it_says(row, last):
    rule, found = window(row, last)
    least, greatest = row["min_interval"], row["max_interval"]
    if rule.slot:
        assert (found.earliest, found.latest) == slot_after(last, row["count_rule"])
    elif least.startswith("-"):
        # Round dates counted from the first of all: the next one after that of the last work.
        assert found.earliest == add(found.due, least)
        assert found.latest == add(found.due, greatest)
        steps = [add(FIRST, row["nominal"], times=n) for n in range(MOST_STEPS[row["nominal"]])]
        assert found.due == next(day for day in steps if found.due <= day)
        assert found.due > last
    else:
        assert found.earliest == (add(last, least) if least else None)
        assert found.latest == by_count(row, last, add(last, greatest or row["nominal"]))
        assert (found.earliest or last) <= found.due <= found.latest


@pytest.mark.parametrize("row", DEFINED, ids=named)
def test_work_on_the_edges_is_in_the_window_and_beyond_them_it_is_not(row):
    _, found = window(row, LASTS[2])
    assert found.holds(found.latest)
    assert not found.holds(found.latest + timedelta(days=1))
    if found.earliest is not None:
        assert found.holds(found.earliest)
        assert not found.holds(found.earliest - timedelta(days=1))


def test_the_row_without_an_interval_makes_the_later_gaps_provisional():
    (row,) = [one for one in ROWS if not one["nominal"]]
    assert row["regime"] == "nfpa25"
    for one in DEFINED:
        if one["regime"] == "nfpa25":
            span = Span.parse(one["nominal"])
            early = catalogue().own_window_rule("nfpa25", int(row["edition"]), span)
            assert early.provisional
            assert early.least == catalogue().own_window_rule("nfpa25", 2014, span).least
