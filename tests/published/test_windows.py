"""How far repeats may stray, by regime and edition; the source stands at each row.

Listed gaps and counts: National Fire Sprinkler Association, article of 2020-04-03 on NFPA 25 (2020)
s.3.7.1; annual gap: SFPE emerging-trends issue 81 on the 2014 edition; NFPA 72 (2010) s.3.3.106 as
quoted in a public question column; AS 1851-2012 cl.1.11 and Table 1.11(B) as publicly reproduced;
Joint Commission intervals as publicly quoted; UK Technical Bulletin 203 as publicly summarised.
Three and five years and what lies before 2014: from memory, common practice, no source.
"""

from datetime import date

import pytest

from inspections.catalogue_files import catalogue
from inspections.intervals import Span
from scheduling.recurrence import Clock, intersect, next_window

LAST = date(2026, 5, 10)
CLOCK = Clock(start=LAST, anchor=date(2020, 1, 1))


def window(regime, edition, frequency, last=LAST):
    rule = catalogue().window_rule(regime, edition, Span.parse(frequency))
    return next_window(rule, CLOCK, [last])


@pytest.mark.parametrize(
    ("regime", "edition", "frequency", "earliest", "latest"),
    [
        ("nfpa25", 2020, "P1D", date(2026, 5, 11), date(2026, 5, 11)),
        ("nfpa25", 2020, "P7D", date(2026, 5, 11), date(2026, 5, 17)),
        ("nfpa25", 2020, "P1M", date(2026, 6, 1), date(2026, 6, 30)),
        ("nfpa25", 2020, "P3M", date(2026, 7, 10), date(2026, 9, 10)),
        ("nfpa25", 2014, "P6M", date(2026, 9, 10), date(2027, 1, 10)),
        ("nfpa25", 2014, "P1Y", date(2027, 2, 10), date(2027, 8, 10)),
        ("nfpa25", 2017, "P3Y", date(2028, 11, 10), date(2029, 9, 10)),
        ("nfpa25", 2017, "P5Y", date(2030, 11, 10), date(2031, 11, 10)),
        ("nfpa25", 2023, "P10Y", None, date(2036, 5, 10)),
        ("nfpa25", 2023, "P25Y", None, date(2051, 5, 10)),
        ("nfpa25", 2011, "P1Y", date(2027, 2, 10), date(2027, 8, 10)),
        ("nfpa72", 2017, "P1Y", date(2027, 2, 10), date(2027, 8, 10)),
        ("osha", 2017, "P2Y", None, date(2028, 5, 10)),
        ("bs_en_12845", None, "P7D", None, date(2026, 5, 17)),
        ("bs_en_12845", None, "P3M", None, date(2026, 8, 10)),
        ("joint_commission", None, "P3M", date(2026, 7, 31), date(2026, 8, 20)),
        ("joint_commission", None, "P6M", date(2026, 10, 21), date(2026, 11, 30)),
        ("joint_commission", None, "P1Y", date(2027, 4, 10), date(2027, 6, 9)),
        ("joint_commission", 2012, "P3M", date(2026, 7, 1), date(2026, 9, 30)),
        ("cms", None, "P1Y", None, date(2027, 5, 10)),
    ],
)
def test_a_window_is_that_of_its_regime_and_edition(regime, edition, frequency, earliest, latest):
    found = window(regime, edition, frequency)
    assert (found.earliest, found.latest) == (earliest, latest)


@pytest.mark.parametrize(
    ("frequency", "earliest", "due", "latest"),
    [
        ("P1M", date(2026, 5, 25), date(2026, 6, 1), date(2026, 6, 8)),
        ("P3M", date(2026, 6, 17), date(2026, 7, 1), date(2026, 7, 15)),
        ("P6M", date(2026, 6, 1), date(2026, 7, 1), date(2026, 8, 1)),
        ("P1Y", date(2026, 11, 1), date(2027, 1, 1), date(2027, 3, 1)),
        ("P5Y", date(2029, 10, 1), date(2030, 1, 1), date(2030, 4, 1)),
        ("P10Y", date(2029, 7, 1), date(2030, 1, 1), date(2030, 7, 1)),
    ],
)
def test_an_australian_window_lies_round_a_date_counted_from_the_first(
    frequency, earliest, due, latest
):
    found = window("as_1851", 2012, frequency)
    assert (found.earliest, found.due, found.latest) == (earliest, due, latest)


def test_words_that_were_not_defined_yet_are_provisional():
    year = Span.parse("P1Y")
    assert catalogue().window_rule("nfpa25", 2011, year).provisional
    assert not catalogue().window_rule("nfpa25", 2014, year).provisional
    assert catalogue().window_rule("local", 2020, year).provisional
    assert "provisional" in window("nfpa25", 2008, "P1Y").reason


def test_a_hospital_takes_the_narrowest_of_its_regimes():
    parts = [(name, window(name, None, "P1Y")) for name in ("nfpa25", "joint_commission", "cms")]
    found = intersect(parts)
    assert (found.earliest, found.latest) == (date(2027, 4, 10), date(2027, 5, 10))


def test_every_activity_of_the_calendar_has_a_window():
    for activity in catalogue().activities.values():
        if activity.frequency is None:
            continue
        rule = catalogue().window_rule(activity.regime, activity.edition_from, activity.frequency)
        assert rule.nominal == activity.frequency, activity.id
        found = next_window(rule, CLOCK, [LAST])
        assert LAST < found.due <= found.latest, activity.id
        assert found.reason


# Sources as each activity's own row names them: laboratory bulletins of 2020 to 2022 on NFPA 25
# (2020, 2023) s.5.3.1; a public code advisory excerpting NFPA 25 (2014) s.5.3.1.1.
@pytest.mark.parametrize(
    ("activity_id", "first", "repeat"),
    [
        ("sprinkler-test-standard-50y", "P50Y", "P10Y"),
        ("sprinkler-test-75y", "P75Y", "P5Y"),
        ("sprinkler-test-fast-response-20y", "P20Y", "P10Y"),
        ("sprinkler-test-fast-response-25y", "P25Y", "P10Y"),
        ("sprinkler-test-esfr-cmsa-20y", "P20Y", "P10Y"),
        ("sprinkler-test-dry-10y", "P10Y", "P10Y"),
        ("sprinkler-test-dry-15y", "P15Y", "P10Y"),
        ("sprinkler-test-dry-20y", "P20Y", "P10Y"),
        ("sp-hose-service-test", "P5Y", "P3Y"),
    ],
)
def test_a_first_test_is_due_by_age_and_repeats_from_the_last(activity_id, first, repeat):
    activity = catalogue().activity(activity_id)
    born = date(1990, 7, 1)
    clock = Clock(start=date(2020, 1, 1), born=born, first_after=activity.first_age)
    rule = catalogue().window_rule(activity.regime, 2020, activity.frequency)
    due = Span.parse(first).after(born)
    assert next_window(rule, clock).due == due
    assert next_window(rule, clock, [due]).due == Span.parse(repeat).after(due)
