"""Calendar rules of the trade that are easily forgotten, one test each.

Windows: NFPA 25 s.3.7.1 (2020) as publicly listed; annual 9 to 15 months as publicly reported of
the 2014 edition. Where nothing else is named: common practice, no source.
"""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from buildings.models import Engagement
from inspections import findings
from inspections.catalogue_files import catalogue
from inspections.intervals import Span
from inspections.models import Impairment
from inspections.sites import Item, Site
from scheduling import due, programme, standing
from scheduling.absorption import OpenOccurrence, Performed, closes
from scheduling.models import FollowUp, Occurrence, Standing
from scheduling.recurrence import Clock, Status, status
from scheduling.seasons import Frost, season_of
from scheduling.windows import Bound, Bounds, KeptFree, Pause, following, open_window, performed
from tests.scheduling.recording import done

BEGUN = Clock(start=date(2020, 1, 1))
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


def rule(frequency, regime="nfpa25", edition=2020):
    return Bound(name=regime, rule=catalogue().window_rule(regime, edition, Span.parse(frequency)))


def bounds(*frequencies, **more):
    rules = tuple(one if isinstance(one, Bound) else rule(one) for one in frequencies)
    return Bounds(**{"rules": rules, "clock": BEGUN} | more)


def test_a_missed_quarter_does_not_vanish_and_time_runs_from_the_last_evidence():
    window = open_window(bounds("P3M"), [date(2026, 1, 10)])
    assert window.latest == date(2026, 5, 10)
    assert status(window, date(2026, 11, 25)) is Status.OVERDUE
    late = open_window(bounds("P3M"), [date(2026, 1, 10), date(2026, 9, 20)])
    assert late.earliest == date(2026, 11, 20)


def test_an_annual_done_too_early_is_extra_and_does_not_push_the_next_one_out():
    history = [date(2024, 1, 10), date(2024, 5, 10)]
    window = open_window(bounds("P1Y"), history)
    assert window.earliest == date(2024, 10, 10)
    assert window.latest == date(2025, 4, 10)


def test_four_visits_in_may_are_one_quarter():
    may = [date(2026, 5, day) for day in (2, 9, 16, 23)]
    assert performed(bounds("P3M"), may) == (date(2026, 5, 2),)


def test_the_yearly_drain_closes_the_quarterly_one_once():
    lead_in = Item("L", "lead_in", "B", {})
    site = Site("B", 2020, {}, (lead_in,))
    activities = catalogue().activities
    quarterly = OpenOccurrence(
        item=lead_in,
        activity=activities["main-drain-quarterly-backflow"],
        window=open_window(bounds("P3M"), [date(2026, 2, 1)]),
    )
    yearly = Performed(item=lead_in, activity=activities["main-drain-annual"], on=date(2026, 5, 4))
    found = closes(yearly, [quarterly], catalogue=catalogue(), site=site)
    assert [(one.occurrence, one.own) for one in found] == [(quarterly, False)]
    after = open_window(bounds("P3M"), [date(2026, 2, 1), yearly.on])
    assert after.earliest == date(2026, 7, 4)


def test_a_full_trip_is_that_years_partial_trip_and_the_next_one_counts_from_it():
    valve = Item("V", "dry_pipe_valve", "B", {})
    site = Site("B", 2020, {}, (valve,))
    activities = catalogue().activities
    partial = OpenOccurrence(
        item=valve,
        activity=activities["dry-trip-partial"],
        window=open_window(bounds("P1Y"), [date(2025, 6, 3)]),
    )
    full = Performed(item=valve, activity=activities["dry-trip-full"], on=date(2026, 6, 9))
    found = closes(full, [partial], catalogue=catalogue(), site=site)
    assert [one.occurrence.activity.id for one in found] == ["dry-trip-partial"]
    assert open_window(bounds("P1Y"), [date(2025, 6, 3), full.on]).earliest == date(2027, 3, 9)


def test_five_year_items_fall_on_days_of_their_own_after_replacements():
    days = [date(2021, 4, 1), date(2023, 8, 15)]
    found = [open_window(bounds("P5Y"), [day]).due for day in days]
    assert found == [date(2026, 4, 1), date(2028, 8, 15)]


def test_a_gauge_replaced_early_begins_its_five_years_anew():
    replaced = Clock(start=date(2024, 3, 1))
    window = open_window(bounds("P5Y", clock=replaced))
    assert window.due == date(2029, 3, 1)
    assert window.latest == date(2029, 9, 1)


def test_sprinklers_are_due_by_the_year_of_each_group():
    activity = catalogue().activity("sprinkler-test-standard-50y")
    years = [1974, 1990]
    found = []
    for year in years:
        born = activity.counted_from({activity.counts_from: year})
        clock = Clock(start=date(2020, 1, 1), born=born, first_after=activity.first_age)
        found.append(open_window(Bounds(rules=(rule("P10Y"),), clock=clock)).due)
    assert found == [date(2024, 1, 1), date(2040, 1, 1)]


def test_the_edition_in_force_names_the_window():
    year = Span.parse("P1Y")
    assert catalogue().window_rule("nfpa25", 2011, year).provisional
    assert not catalogue().window_rule("nfpa25", 2014, year).provisional
    assert catalogue().activity("gauge-wet-quarterly").in_edition(2014) is False
    assert catalogue().activity("gauge-wet-quarterly").in_edition(2017) is True


def test_an_insurer_may_ask_more_often_and_never_less():
    history = [date(2026, 3, 1)]
    yearly, stricter = rule("P1Y"), rule("P6M", "local")
    oftener = open_window(bounds(yearly, stricter), history)
    assert oftener.latest == date(2026, 11, 1)
    assert oftener.earliest == date(2026, 7, 1)
    assert not oftener.clash
    assert open_window(bounds("P6M", rule("P1Y", "local")), history).latest == date(2026, 11, 1)


@pytest.mark.django_db
def test_what_the_owner_left_out_of_the_log_is_shown_as_the_owners_gap(ours):
    with time_machine.travel(NOW, tick=False), ours.scope():
        due.derive(ours.building, NOW)
        lines = [x for x in programme.programme(ours.building).open if x.by_owner]
        assert any(x.owner_gap and x.why.last is None for x in lines)
        told = standing.standing(ours.building, NOW.date()).reasons
        assert not {x.activity for x in lines} & {one.get("activity") for one in told}


def test_leave_to_rest_names_who_gave_it_and_what_fell_due_is_owed_on_return():
    rest = Pause(
        from_on=date(2026, 2, 1),
        back_on=date(2026, 10, 5),
        authority="the fire marshal",
        reason="vacant",
    )
    window = open_window(bounds("P3M", pauses=(rest,)), [date(2026, 1, 10)])
    assert (window.due, window.latest) == (date(2026, 10, 5), date(2026, 10, 5))
    assert "Out of service" in window.reason
    assert "the fire marshal" in str(rest)


@pytest.mark.parametrize(
    ("latitude", "warm"),
    [(45.0, range(4, 11)), (-43.0, (10, 11, 12, 1, 2, 3, 4))],
)
def test_a_dry_trip_is_wanted_out_of_the_frost_of_its_own_hemisphere(latitude, warm):
    season = season_of("warm_weather", Frost(latitude=latitude))
    for month in range(1, 13):
        window = open_window(bounds("P1Y", season=season), [date(2025, month, 10)])
        assert window.due.month in warm
        assert window.latest == open_window(bounds("P1Y"), [date(2025, month, 10)]).latest


def test_a_daily_look_of_cold_weather_rests_in_summer():
    season = season_of("cold_weather", Frost(begins=(10, 20), ends=(4, 20)))
    window = open_window(bounds("P1D", season=season), [date(2026, 4, 20)])
    assert window.due == date(2026, 10, 20)


@pytest.mark.parametrize(
    ("name", "first", "last", "yearly"),
    [
        ("a ban on using water", date(2026, 6, 1), date(2026, 9, 30), False),
        ("a school's term", date(2020, 9, 1), date(2021, 6, 20), True),
        ("a hotel's season", date(2020, 5, 1), date(2020, 9, 30), True),
    ],
)
def test_work_keeps_off_the_days_on_which_it_is_not_wanted(name, first, last, yearly):
    kept = KeptFree(from_on=first, until_on=last, yearly=yearly, why=name)
    for month in range(1, 13):
        plain = open_window(bounds("P1Y"), [date(2025, month, 10)])
        window = open_window(bounds("P1Y", kept_free=(kept,)), [date(2025, month, 10)])
        assert (window.earliest, window.latest) == (plain.earliest, plain.latest)
        assert not kept.holds(window.due) or "No day of it is free" in window.reason
        assert window.due == plain.due or kept.holds(plain.due)


def test_leap_days_month_ends_and_year_ends_keep_their_day():
    leap = open_window(bounds("P1Y"), [date(2024, 2, 29)])
    assert leap.due == date(2025, 2, 28)
    assert open_window(bounds("P1M"), [date(2026, 12, 31)]).due == date(2027, 1, 31)
    assert open_window(bounds("P7D"), [date(2026, 12, 31)]).due == date(2027, 1, 10)
    ends = [
        w.due
        for w in following(bounds("P1M"), [date(2024, 1, 31)], date(2024, 1, 31), date(2024, 6, 30))
    ]
    assert ends[:3] == [date(2024, 2, 29), date(2024, 3, 31), date(2024, 4, 30)]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("zone", "instant", "day"),
    [
        ("America/New_York", "2026-11-01T03:59:00+00:00", date(2026, 10, 31)),
        ("America/New_York", "2026-11-02T04:59:00+00:00", date(2026, 11, 1)),
        ("Pacific/Auckland", "2026-12-31T11:30:00+00:00", date(2027, 1, 1)),
    ],
)
def test_today_is_the_buildings_own_day_also_when_clocks_change(ours, zone, instant, day):
    with time_machine.travel(datetime.fromisoformat(instant), tick=False), ours.scope():
        ours.building.time_zone = zone
        ours.building.save(update_fields=["time_zone"])
        assert programme.programme(ours.building).on == day


@pytest.mark.django_db
def test_after_the_contract_nothing_is_due_and_the_impairments_notice_stays(ours):
    with time_machine.travel(NOW, tick=False), ours.scope():
        done(ours, ours.devices["wet_flow"], "waterflow-vane-test", date(2026, 9, 10))
        findings.start_impairment(
            ours.building,
            subject=("system", ours.wet.pk),
            extent="Riser shut",
            nature="emergency",
            started_at=NOW - timedelta(days=40),
            by=ours.manager,
        )
        assert due.derive(ours.building, NOW) > 0
        Engagement.objects.update(until_on=date(2026, 10, 31))
        assert due.derive(ours.building, NOW + timedelta(minutes=1)) == 0
        assert not Occurrence.objects.exists()
        assert Impairment.objects.get().ended_at is None
        assert (
            FollowUp.objects.exclude(state=FollowUp.State.DONE)
            .filter(impairment__isnull=False)
            .exists()
        )
        assert standing.standing(ours.building, date(2026, 10, 30)).word == Standing.IMPAIRED
