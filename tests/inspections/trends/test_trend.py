"""Planted series: what is found, how often, and how seldom a steady series is called changing."""

from datetime import date, timedelta

import numpy as np
import pytest
import scipy
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.trends.series import Point, Split, series
from inspections.trends.trend import (
    FEWEST_FOR_SLOPE,
    FEWEST_FOR_STEP,
    Change,
    Limit,
    Side,
    slope_of,
    trend,
)

START = date(2016, 3, 1)
RUNS = 100


def points(values, every_days=91):
    return [
        Point(START + timedelta(days=every_days * i), float(v), f"{v:.3f}")
        for i, v in enumerate(values)
    ]


def planted(seed, n=16, noise=0.03, step=0.0, at=8, slope=0.0, level=70.0):
    rng = np.random.default_rng(seed)
    i = np.arange(n)
    return points(level * (1 + noise * rng.normal(size=n) - step * (i >= at) - slope * i / n))


def changes(**plan):
    return [trend(series(planted(seed, **plan))).change for seed in range(RUNS)]


def test_a_step_of_15_percent_in_noise_of_3_is_found_in_95_of_100():
    assert changes(step=0.15).count(Change.STEP) >= 95


@pytest.mark.parametrize(("n", "at"), [(10, 5), (12, 7), (20, 15)])
def test_a_step_of_15_percent_is_not_missed_in_shorter_or_lopsided_series(n, at):
    found = changes(step=0.15, n=n, at=at)
    assert sum(change is not Change.STEADY for change in found) >= 95
    assert found.count(Change.SLOPE) <= 10


@pytest.mark.parametrize("n", [5, 9, 16, 30])
def test_a_steady_series_is_called_changing_in_at_most_8_of_100(n):
    # 5 of 100 are allowed by the tests; 8 is within their spread over 100 seeded series.
    assert RUNS - changes(n=n).count(Change.STEADY) <= 8


def test_a_steady_slide_is_a_slope_and_seldom_a_step():
    found = changes(slope=0.30, n=20)
    assert sum(change in (Change.SLOPE, Change.EITHER) for change in found) >= 95
    assert found.count(Change.STEP) <= 5


def test_the_change_point_has_its_days_and_its_size():
    found = trend(series(planted(3, step=0.15))).step
    assert (found.after, found.until) == (START + timedelta(91 * 7), START + timedelta(91 * 8))
    assert found.low <= -0.15 * 70 <= found.high
    assert found.size == pytest.approx(-0.15 * 70, rel=0.3)


def test_the_interval_of_the_slope_holds_the_planted_slope_in_90_of_100():
    per_year = -0.30 * 70 / (20 * 91 / 365.25)
    held = 0
    for seed in range(RUNS):
        slope = trend(series(planted(seed, n=20, slope=0.30))).slope
        held += slope.low <= per_year <= slope.high
    assert held >= 90


def test_one_wild_reading_does_not_make_a_trend():
    values = [70.2, 69.8, 70.1, 69.9, 70.3, 12.0, 70.0, 70.2, 69.7, 70.1, 69.9, 70.0]
    assert trend(series(points(values))).change is Change.STEADY


def test_the_limit_is_crossed_when_a_plain_line_says():
    # 1 a year down from 70: 60 is met ten years after the start, to the day.
    rows = [
        Point(START + timedelta(days=round(365.25 * y)), 70.0 - y + 0.01 * (-1) ** y)
        for y in range(8)
    ]
    rows.append(Point(START + timedelta(days=round(365.25 * 8)), 62.0))
    found = trend(series(rows), Limit(60.0, Side.LEAST))
    assert abs((found.crossing.on - date(2026, 3, 1)).days) <= 10
    assert found.crossing.earliest <= found.crossing.on <= found.crossing.latest
    assert found.verdict == "look into it"
    assert "crossed about 2026-0" in found.reason


def test_a_limit_out_of_reach_is_not_forecast():
    rows = points([70 - 0.1 * i for i in range(12)])
    assert trend(series(rows), Limit(10.0, Side.LEAST)).crossing is None


def test_a_series_that_rises_away_from_its_least_is_not_forecast():
    rows = points([60 + i for i in range(12)])
    assert trend(series(rows), Limit(50.0, Side.LEAST)).crossing is None
    assert trend(series(rows), Limit(75.0, Side.GREATEST)).crossing is not None


def test_a_step_is_not_extended_into_a_forecast():
    found = trend(series(planted(3, step=0.15, noise=0.01)), Limit(55.0, Side.LEAST))
    assert (found.change, found.crossing) == (Change.STEP, None)


@pytest.mark.parametrize("n", range(FEWEST_FOR_SLOPE))
def test_too_few_readings_get_no_verdict_and_the_missing_are_counted(n):
    found = trend(series(points([70.0 - 5 * i for i in range(n)])), Limit(10.0, Side.LEAST))
    assert (found.change, found.verdict) == (Change.TOO_FEW, "")
    assert found.missing == FEWEST_FOR_SLOPE - n
    assert f"{found.missing} more needed" in found.reason


def test_a_step_is_not_looked_for_in_fewer_readings_than_the_test_can_tell():
    values = [70.0, 70.1, 69.9, 70.2, 60.0, 60.1, 59.9, 60.2]
    assert len(values) < FEWEST_FOR_STEP
    assert trend(series(points(values))).step is None


def test_the_newest_reading_beyond_its_limit_fails_even_without_a_trend():
    found = trend(series(points([70.0, 49.0])), Limit(50.0, Side.LEAST))
    assert (found.verdict, found.margin) == ("fail", -1.0)


def test_a_limit_is_kept_at_equality():
    assert trend(series(points([50.0])), Limit(50.0, Side.LEAST)).verdict == ""


def test_a_replaced_device_begins_anew_and_the_former_readings_are_named():
    rows = points([70.0, 69.0, 68.0, 82.0, 82.1])
    found = series(rows, [Split(rows[3].on, "device replaced")])
    assert [point.value for point in found.points] == [82.0, 82.1]
    assert {left.why for left in found.left_out} == {"before: device replaced"}
    assert found.baseline.value == 82.0
    assert "Not used: 3" in trend(found).reason


def test_an_invalid_reading_is_left_out_with_its_reason():
    rows = points([70.0, 69.0])
    rows.append(Point(START + timedelta(days=900), 12.0, "12", "drain not fully open"))
    found = series(rows)
    assert found.left_out[0].why == "drain not fully open"
    assert trend(found).value == 69.0


def test_three_readings_equal_to_the_last_digit_ask():
    assert "shut off" in series(points([70.0, 68.0, 68.0, 68.0])).question
    assert series(points([68.0, 68.0, 70.0, 68.0])).question == ""


def test_no_reading_at_all_is_an_answer_too():
    found = trend(series([]), Limit(1.0, Side.LEAST))
    assert (found.value, found.margin, found.missing) == (None, None, FEWEST_FOR_SLOPE)


FIGURES = st.lists(st.integers(0, 120), min_size=5, max_size=14)


@settings(max_examples=60, deadline=None)
@given(FIGURES, st.integers(1, 400), st.randoms(use_true_random=False))
def test_the_order_in_which_readings_arrive_does_not_matter(values, every, rng):
    rows = points(values, every)
    mixed = list(rows)
    rng.shuffle(mixed)
    assert trend(series(rows)) == trend(series(mixed))


@settings(max_examples=60, deadline=None)
@given(FIGURES, st.sampled_from([0.5, 2.0, 1024.0]))
def test_the_unit_does_not_change_the_answer(values, scale):
    plain, scaled = (
        trend(series(points(values))),
        trend(series(points([scale * v for v in values]))),
    )
    assert plain.change == scaled.change
    assert scaled.slope.per_year == pytest.approx(scale * plain.slope.per_year)


@settings(max_examples=60, deadline=None)
@given(FIGURES, st.integers(0, 120))
def test_a_forecast_lies_within_its_band_and_after_the_newest_reading(values, figure):
    rows = points(values)
    for side in Side:
        crossing = trend(series(rows), Limit(float(figure), side)).crossing
        if crossing:
            assert rows[-1].on <= crossing.earliest <= crossing.on
            assert crossing.latest is None or crossing.on <= crossing.latest


def test_one_reading_more_and_a_band_that_rounding_closes_are_said_plainly():
    slide = points(np.linspace(70.0, 40.0, FEWEST_FOR_STEP - 1), every_days=365)
    said = trend(series(slide), show=lambda value: f"{value:.0f} psi").reason
    assert "Changes by -4 psi a year; 1 more reading tells a step from a slope." in said


@given(
    st.lists(st.integers(0, 12), min_size=FEWEST_FOR_SLOPE, max_size=14).filter(
        lambda values: len(set(values)) > 1
    )
)
def test_the_statistics_are_those_of_the_library(values):
    rows = [Point(date(2010 + i, 3, 1), float(value)) for i, value in enumerate(values)]
    years = [(row.on - rows[0].on).days / 365.25 for row in rows]
    found = slope_of(rows)
    fit = scipy.stats.theilslopes(values, years, alpha=0.95)
    assert (found.per_year, found.p) == (fit.slope, scipy.stats.kendalltau(years, values).pvalue)
