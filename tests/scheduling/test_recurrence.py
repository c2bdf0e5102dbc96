from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.intervals import Span, WindowRule
from scheduling.recurrence import (
    Anchoring,
    Clock,
    Policy,
    Season,
    Status,
    Window,
    counted,
    in_season,
    intersect,
    next_window,
    occurrences_between,
    resumed,
    seasonal_window,
    status,
)

DAY = timedelta(days=1)


def rule(word, nominal, **values):
    return WindowRule(regime="rules", edition="2014", word=word, nominal=nominal, **values)


WEEKLY = rule("weekly", Span(days=7), slot="week", count_rule="once per calendar week")
MONTHLY = rule("monthly", Span(months=1), slot="month")
DAILY = rule("daily", Span(days=1), slot="day")
CALENDAR_QUARTER = rule("quarterly", Span(months=3), slot="quarter")
QUARTERLY = rule(
    "quarterly", Span(months=3), least=Span(months=2), greatest=Span(months=4), per_year=4
)
SEMIANNUAL = rule(
    "semiannual", Span(months=6), least=Span(months=4), greatest=Span(months=8), per_year=2
)
ANNUAL = rule("annual", Span(months=12), least=Span(months=9), greatest=Span(months=15), per_year=1)
FIVE_YEARS = rule("five years", Span(months=60), least=Span(months=54), greatest=Span(months=66))
TEN_YEARS = rule("ten years", Span(months=120))
WEEK_APART = rule("weekly", Span(days=7), greatest=Span(days=7))
SCHEDULED = rule("yearly", Span(months=12), before=Span(months=-2), after=Span(months=2))
WORKING_DAYS = rule(
    "monthly", Span(months=1), before=Span(working_days=-5), after=Span(working_days=5)
)
GAP_RULES = [QUARTERLY, SEMIANNUAL, ANNUAL, FIVE_YEARS, TEN_YEARS, WEEK_APART]
SLOT_RULES = [DAILY, WEEKLY, MONTHLY, CALENDAR_QUARTER]
ALL_RULES = [*GAP_RULES, *SLOT_RULES, SCHEDULED, WORKING_DAYS]
START = Clock(start=date(2020, 1, 1))
LAST = Policy(anchoring=Anchoring.LAST)

days = st.dates(date(2000, 1, 1), date(2060, 12, 31))
rules = st.sampled_from(ALL_RULES)
policies = st.builds(
    Policy,
    anchoring=st.sampled_from(Anchoring),
    rolling_year=st.booleans(),
    week_starts=st.sampled_from([0, 6]),
)


def dates(window):
    return window.earliest, window.due, window.latest


@pytest.mark.parametrize(
    ("which", "last", "expected"),
    [
        (QUARTERLY, date(2026, 1, 15), (date(2026, 3, 15), date(2026, 4, 15), date(2026, 5, 15))),
        (ANNUAL, date(2025, 5, 2), (date(2026, 2, 2), date(2026, 5, 2), date(2026, 8, 2))),
        (FIVE_YEARS, date(2024, 2, 29), (date(2028, 8, 29), date(2029, 2, 28), date(2029, 8, 29))),
        (TEN_YEARS, date(2020, 3, 1), (None, date(2030, 3, 1), date(2030, 3, 1))),
        (WEEK_APART, date(2026, 1, 5), (None, date(2026, 1, 12), date(2026, 1, 12))),
        (WEEKLY, date(2026, 7, 1), (date(2026, 7, 6), date(2026, 7, 12), date(2026, 7, 12))),
        (MONTHLY, date(2026, 1, 31), (date(2026, 2, 1), date(2026, 2, 28), date(2026, 2, 28))),
        (DAILY, date(2026, 12, 31), (date(2027, 1, 1),) * 3),
        (CALENDAR_QUARTER, date(2026, 12, 1), (date(2027, 1, 1), *[date(2027, 3, 31)] * 2)),
    ],
)
def test_the_next_window_follows_the_last_performance(which, last, expected):
    assert dates(next_window(which, START, [last])) == expected


def test_a_monday_and_the_sunday_of_the_next_week_are_both_in_order():
    monday, sunday = date(2026, 7, 6), date(2026, 7, 19)
    assert (sunday - monday).days == 13
    assert next_window(WEEKLY, START, [monday]).holds(sunday)


def test_two_readings_in_one_month_do_not_serve_the_next():
    done = [date(2026, 6, 3), date(2026, 6, 20)]
    assert counted(MONTHLY, START, done) == (date(2026, 6, 3),)
    assert next_window(MONTHLY, START, done).latest == date(2026, 7, 31)


def test_a_calendar_week_may_start_on_sunday():
    sunday = Policy(week_starts=6)
    assert next_window(WEEKLY, START, [date(2026, 7, 5)], sunday).earliest == date(2026, 7, 12)
    assert next_window(WEEKLY, START, [date(2026, 7, 5)]).earliest == date(2026, 7, 6)


def test_work_done_too_early_counts_as_extra_and_moves_nothing():
    first, early = date(2026, 1, 10), date(2026, 2, 20)
    assert counted(QUARTERLY, START, [first, early]) == (first,)
    assert next_window(QUARTERLY, START, [first, early]) == next_window(QUARTERLY, START, [first])


def test_a_chain_of_longest_gaps_skips_no_calendar_year():
    window = next_window(ANNUAL, START, [date(2024, 11, 20)])
    assert window.latest == date(2025, 12, 31)
    assert "yearly count" in window.reason


def test_the_third_quarterly_of_a_year_leaves_room_for_the_fourth():
    done = [date(2026, 1, 1), date(2026, 5, 1)]
    assert next_window(QUARTERLY, START, done).latest == date(2026, 9, 1)
    done.append(date(2026, 9, 1))
    assert next_window(QUARTERLY, START, done).latest == date(2026, 12, 31)


def test_a_count_that_can_no_longer_be_kept_asks_for_what_is_left():
    window = next_window(QUARTERLY, START, [date(2026, 9, 25)])
    assert window.earliest == date(2026, 11, 25)
    assert window.latest == date(2026, 12, 31)


def test_a_rolling_year_wants_the_count_in_any_twelve_months():
    rolling = Policy(rolling_year=True)
    assert next_window(ANNUAL, START, [date(2025, 1, 5)], rolling).latest == date(2026, 1, 5)
    assert next_window(ANNUAL, START, [date(2025, 1, 5)]).latest == date(2026, 4, 5)


def test_the_count_is_prorated_in_the_year_in_which_the_clock_starts():
    july = Clock(start=date(2026, 7, 1))
    window = next_window(ANNUAL, july)
    assert dates(window) == (None, date(2027, 7, 1), date(2027, 10, 1))
    assert next_window(ANNUAL, Clock(start=date(2026, 1, 1))).latest == date(2026, 12, 31)


def test_an_acceptance_test_is_the_first_performance():
    accepted = date(2026, 3, 3)
    window = next_window(ANNUAL, Clock(start=accepted), [accepted])
    assert window.earliest == date(2026, 12, 3)
    assert window.due == date(2027, 3, 3)


def test_what_was_never_recorded_runs_from_the_start_and_may_be_done_at_once():
    window = next_window(QUARTERLY, Clock(start=date(2026, 10, 15)))
    assert window.earliest is None
    assert window.latest <= date(2027, 2, 15)
    assert "Never recorded" in window.reason


def test_a_slot_that_has_begun_before_the_start_is_not_owed():
    assert next_window(WEEKLY, Clock(start=date(2026, 7, 8))).earliest == date(2026, 7, 13)
    assert next_window(WEEKLY, Clock(start=date(2026, 7, 6))).earliest == date(2026, 7, 6)


@pytest.mark.parametrize(
    ("anchoring", "due"),
    [
        (Anchoring.LAST, date(2026, 7, 20)),
        (Anchoring.MIXED, date(2026, 5, 1)),
        (Anchoring.FIXED, date(2026, 5, 1)),
    ],
)
def test_the_due_day_goes_back_to_the_contract_month(anchoring, due):
    clock = Clock(start=date(2020, 1, 1), anchor=date(2020, 5, 1))
    window = next_window(ANNUAL, clock, [date(2025, 7, 20)], Policy(anchoring=anchoring))
    assert window.due == due
    assert (window.earliest, window.latest) == (date(2026, 4, 20), date(2026, 10, 20))


def test_a_contract_month_outside_the_window_is_pulled_to_its_nearer_end():
    clock = Clock(start=date(2020, 1, 1), anchor=date(2020, 5, 1))
    assert next_window(ANNUAL, clock, [date(2025, 10, 20)]).due == date(2026, 7, 20)


def test_five_years_work_falls_in_the_contract_month_of_its_year():
    clock = Clock(start=date(2020, 1, 1), anchor=date(2020, 5, 1))
    assert next_window(FIVE_YEARS, clock, [date(2022, 3, 10)]).due == date(2027, 5, 1)
    fixed = Policy(anchoring=Anchoring.FIXED)
    assert next_window(FIVE_YEARS, clock, [date(2020, 6, 1)], fixed).due == date(2025, 5, 1)


def test_a_first_test_by_age_is_due_whenever_the_clock_started():
    clock = Clock(start=date(2026, 1, 1), born=date(1976, 1, 1), first_after=Span(months=600))
    window = next_window(TEN_YEARS, clock)
    assert dates(window) == (None, date(2026, 1, 1), date(2026, 1, 1))
    assert next_window(TEN_YEARS, clock, [date(2026, 3, 1)]).due == date(2036, 3, 1)


def test_a_sample_taken_long_before_the_age_asks_for_it_does_not_stand_for_the_first():
    clock = Clock(start=date(2000, 1, 1), born=date(2000, 6, 1), first_after=Span(months=240))
    assert next_window(TEN_YEARS, clock, [date(2010, 1, 1)]).due == date(2020, 6, 1)
    assert next_window(TEN_YEARS, clock, [date(2019, 9, 1)]).due == date(2029, 9, 1)


def test_an_age_nobody_knows_leaves_the_repeat_and_says_so():
    window = next_window(TEN_YEARS, Clock(start=date(2026, 1, 1), first_after=Span(months=600)))
    assert window.due == date(2036, 1, 1)
    assert "Age not known" in window.reason


def test_scheduled_dates_do_not_drift_with_late_work():
    clock = Clock(start=date(2024, 3, 31))
    late = next_window(SCHEDULED, clock, [date(2024, 3, 31), date(2025, 5, 31)])
    assert dates(late) == (date(2026, 1, 31), date(2026, 3, 31), date(2026, 5, 31))


def test_a_tolerance_in_working_days_leaves_out_weekends_and_holidays():
    clock = Clock(start=date(2026, 1, 1))
    window = next_window(WORKING_DAYS, clock, [date(2026, 5, 1)])
    assert dates(window) == (date(2026, 5, 25), date(2026, 6, 1), date(2026, 6, 8))
    holiday = Policy(holidays=frozenset({date(2026, 6, 3)}))
    assert next_window(WORKING_DAYS, clock, [date(2026, 5, 1)], holiday).latest == date(2026, 6, 9)


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (date(2026, 1, 1), Status.IN_ORDER),
        (date(2026, 5, 2), Status.IN_ORDER),
        (date(2026, 5, 3), Status.DUE),
        (date(2026, 8, 2), Status.DUE),
        (date(2026, 8, 3), Status.OVERDUE),
    ],
)
def test_between_the_due_and_the_latest_day_work_is_due_and_not_late(day, expected):
    assert status(next_window(ANNUAL, START, [date(2025, 5, 2)]), day) is expected


def test_a_running_slot_is_in_order_until_it_ends():
    window = next_window(MONTHLY, START, [date(2026, 6, 9)])
    assert status(window, date(2026, 7, 31)) is Status.IN_ORDER
    assert status(window, date(2026, 8, 1)) is Status.OVERDUE


def test_regimes_that_apply_together_leave_the_days_that_suit_all():
    wide = next_window(ANNUAL, START, [date(2025, 5, 2)])
    narrow = Window(
        earliest=date(2026, 4, 2), due=date(2026, 5, 2), latest=date(2026, 6, 1), reason="30 days"
    )
    both = intersect([("rules", wide), ("hospital", narrow)])
    assert dates(both) == (date(2026, 4, 2), date(2026, 5, 2), date(2026, 6, 1))
    assert both.clash == ""
    assert "hospital: 30 days" in both.reason


def test_regimes_that_leave_no_day_are_named_and_the_earlier_latest_day_rules():
    early = Window(
        earliest=date(2026, 1, 1), due=date(2026, 1, 20), latest=date(2026, 2, 1), reason="one"
    )
    late = Window(
        earliest=date(2026, 3, 1), due=date(2026, 3, 20), latest=date(2026, 4, 1), reason="two"
    )
    both = intersect([("insurer", late), ("state", early)])
    assert dates(both) == dates(early)
    assert both.clash == (
        "state wants it by 2026-02-01; insurer would not count it before 2026-03-01"
    )


def test_nothing_cannot_be_intersected():
    with pytest.raises(ValueError, match="no window"):
        intersect([])


WARM = Season(name="warm weather", first=(4, 1), last=(10, 31))
COLD = Season(name="cold weather", first=(11, 1), last=(3, 31))


def test_a_season_narrows_the_window():
    window = next_window(ANNUAL, START, [date(2025, 12, 20)])
    found, fits = in_season(window, WARM)
    assert fits
    assert dates(found) == (date(2026, 9, 20), date(2026, 10, 31), date(2026, 10, 31))
    assert "warm weather" in found.reason


def test_a_season_that_does_not_meet_the_window_leaves_it_and_warns():
    window = next_window(QUARTERLY, START, [date(2026, 10, 10)])
    assert in_season(window, WARM) == (window, False)
    assert in_season(window, COLD)[1]


def test_a_daily_look_in_cold_weather_rests_in_summer():
    spring = [date(2026, 3, 31)]
    window, fits = seasonal_window(DAILY, START, COLD, spring)
    assert fits
    assert dates(window) == (date(2026, 11, 1),) * 3
    week, _ = seasonal_window(WEEKLY, START, COLD, [date(2026, 4, 8)])
    assert dates(week) == (date(2026, 11, 1),) * 3
    assert seasonal_window(DAILY, START, COLD, [date(2026, 1, 5)])[0].due == date(2026, 1, 6)


def test_a_missed_look_in_season_stays_overdue_out_of_season():
    window, fits = seasonal_window(DAILY, START, COLD, [date(2026, 3, 29)])
    assert fits
    assert status(window, date(2026, 7, 1)) is Status.OVERDUE


def test_a_test_that_no_season_meets_keeps_its_window():
    last = [date(2026, 10, 10)]
    assert seasonal_window(QUARTERLY, START, WARM, last) == (
        next_window(QUARTERLY, START, last),
        False,
    )


def test_what_falls_due_while_out_of_service_is_owed_on_return():
    window = next_window(ANNUAL, START, [date(2025, 5, 2)])
    back = date(2026, 12, 1)
    assert resumed(window, date(2026, 3, 1), back).latest == back
    assert resumed(window, date(2026, 9, 1), back) == window
    assert resumed(window, date(2025, 6, 1), date(2025, 7, 1)) == window


def test_the_coming_year_has_each_week_once():
    found = list(
        occurrences_between(
            WEEKLY, START, [date(2026, 12, 30)], date(2027, 1, 1), date(2027, 12, 31)
        )
    )
    assert len(found) == 51
    assert [window.earliest for window in found[:2]] == [date(2027, 1, 4), date(2027, 1, 11)]


def test_an_overdue_occurrence_leads_the_coming_year():
    found = list(
        occurrences_between(ANNUAL, START, [date(2023, 5, 2)], date(2026, 1, 1), date(2028, 1, 1))
    )
    assert found[0].latest == date(2024, 8, 2)
    assert [window.due for window in found[1:]] == [date(2027, 1, 1), date(2028, 1, 1)]


@given(rules, days, st.none() | days, policies)
def test_a_window_lies_in_order_and_is_the_same_when_asked_again(which, last, anchor, policy):
    clock = Clock(start=last, anchor=anchor)
    window = next_window(which, clock, [last], policy)
    assert window.due <= window.latest
    assert window.earliest is None or window.earliest <= window.due
    assert last < window.latest
    assert next_window(which, clock, [last], policy) == window


@given(rules, days, st.none() | days, policies, st.data())
def test_windows_leave_no_gap_and_do_not_overlap(which, last, anchor, policy, data):
    clock = Clock(start=last, anchor=anchor)
    done = [last]
    for _ in range(6):
        window = next_window(which, clock, done, policy)
        if which.slot is not None:
            assert window.earliest is not None
            assert window.earliest > done[-1]
        if which.greatest is not None:
            assert window.latest <= which.greatest.after(done[-1])
        opens = window.earliest or done[-1] + DAY
        day = data.draw(st.dates(opens, window.latest))
        assert counted(which, clock, [*done, day], policy) == (*done, day)
        done.append(day)


@given(st.sampled_from([WEEKLY, MONTHLY, DAILY, CALENDAR_QUARTER]), days, policies)
def test_slots_follow_each_other_without_a_day_between(which, start, policy):
    clock = Clock(start=start)
    found = list(occurrences_between(which, clock, (), start, start + 400 * DAY, policy))
    for one, following in pairwise(found):
        assert following.earliest == one.latest + DAY


@given(rules, days, st.lists(st.integers(1, 500), max_size=5), days, policies)
def test_more_history_never_brings_the_next_window_forward(which, first, gaps, anchor, policy):
    clock = Clock(start=first, anchor=anchor)
    done = [first]
    before = next_window(which, clock, done, policy)
    for gap in gaps:
        done.append(done[-1] + gap * DAY)
        after = next_window(which, clock, done, policy)
        # The yearly count may ask for the next one sooner, never before the work just done.
        assert after.latest > done[-1] or after == before
        assert which.per_year is not None or after.latest >= before.latest
        before = after


@given(rules, days, st.lists(st.integers(0, 400), max_size=8), policies)
def test_what_counts_is_counted_once(which, first, gaps, policy):
    clock = Clock(start=first)
    done = [first]
    for gap in gaps:
        done.append(done[-1] + gap * DAY)
    found = counted(which, clock, done, policy)
    assert counted(which, clock, found, policy) == found
    assert set(found) <= set(done)
    assert found[0] == first


@given(st.sampled_from([QUARTERLY, SEMIANNUAL, ANNUAL]), days, st.data())
def test_work_in_every_window_keeps_the_yearly_count(which, first, data):
    clock = Clock(start=first)
    done = [first]
    while done[-1].year < first.year + 4:
        window = next_window(which, clock, done, LAST)
        done.append(data.draw(st.dates(window.earliest, window.latest)))
    for year in range(first.year + 1, first.year + 4):
        assert sum(day.year == year for day in done) >= which.per_year


@given(days, st.integers(1, 600))
def test_a_month_step_ends_on_the_anchors_day_or_the_months_last(day, months):
    moved = Span(months=months).after(day)
    assert (moved.year * 12 + moved.month) - (day.year * 12 + day.month) == months
    assert moved.day == day.day or (moved.day < day.day and (moved + DAY).day == 1)


@given(days, st.integers(1, 40))
def test_steps_counted_from_the_anchor_do_not_wear_off(day, count):
    step = Span(months=1)
    assert step.times(count).after(day).day in (day.day, 28, 29, 30)
    assert step.times(12 * count).after(day).month == day.month


@given(st.lists(st.tuples(days, st.integers(0, 200), st.integers(0, 200)), min_size=1, max_size=4))
def test_an_intersection_is_no_later_than_any_of_its_windows(parts):
    windows = [
        (
            f"regime {number}",
            Window(
                earliest=due - before * DAY, due=due, latest=due + after * DAY, reason=f"{number}"
            ),
        )
        for number, (due, before, after) in enumerate(parts)
    ]
    both = intersect(windows)
    assert both.latest == min(window.latest for _, window in windows)
    assert both.earliest <= both.due <= both.latest
    shared = max(window.earliest for _, window in windows) <= both.latest
    assert shared == (both.clash == "")
    assert intersect([("all", both), ("all", both)]).latest == both.latest


@given(st.sampled_from(GAP_RULES), days, st.sampled_from([WARM, COLD]))
def test_a_season_only_ever_narrows(which, last, season):
    window = next_window(which, Clock(start=last), [last])
    found, fits = in_season(window, season)
    assert found.latest <= window.latest
    if fits:
        assert season.holds(found.due)
        assert season.holds(found.latest)
        assert window.earliest is None or found.earliest >= window.earliest
    else:
        assert found == window


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("P1Y", Span(12)),
        ("P3M", Span(3)),
        ("P7D", Span(0, 7)),
        ("P1Y6M", Span(18)),
        ("P3M-10D", Span(3, -10)),
        ("P1Y+30D", Span(12, 30)),
        ("-P2M", Span(-2)),
        ("+P6M", Span(6)),
        ("-5 working days", Span(working_days=-5)),
    ],
)
def test_a_duration_is_read_as_the_tables_write_it(text, span):
    assert Span.parse(text) == span


@pytest.mark.parametrize("text", ["", "P", "3M", "P3", "PT1H", "P-3M", "yearly", "5 working days"])
def test_what_is_no_duration_is_refused(text):
    with pytest.raises(ValueError, match="is no duration"):
        Span.parse(text)


@pytest.mark.parametrize(
    ("span", "words"),
    [
        (Span(1), "1 month"),
        (Span(15), "1 year 3 months"),
        (Span(600), "50 years"),
        (Span(0, 7), "7 days"),
        (Span(working_days=5), "5 working days"),
    ],
)
def test_a_span_reads_in_words(span, words):
    assert str(span) == words


def test_a_provisional_rule_says_so():
    window = next_window(replace(ANNUAL, provisional=True), START, [date(2025, 5, 2)])
    assert "provisional" in window.reason
