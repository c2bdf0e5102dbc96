from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.events.clock import (
    LONG_AGO,
    Estimate,
    Quality,
    Side,
    Stamp,
    elapsed,
    estimate,
    stopwatch_seconds,
)

TICKET = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)
HAPPENED = TICKET + timedelta(hours=2)
PUSHED = TICKET + timedelta(hours=5)


def estimated(*, off_s=0, stepped_s=0, slept_s=0, boots=("b1", "b1"), known=("wall", "mono")):
    """Return the estimate of a tablet whose clock is off, was put on, or whose stopwatch slept."""

    def stamp(moment, boot, *, later):
        wall = moment + timedelta(seconds=off_s + (stepped_s if later else 0))
        mono = int((moment - TICKET).total_seconds() - (slept_s if later else 0)) * 1000
        return Stamp(
            wall=wall if "wall" in known else None,
            mono=mono if "mono" in known else None,
            boot=boot,
        )

    return estimate(
        event=stamp(HAPPENED, boots[0], later=False),
        push=stamp(PUSHED, boots[1], later=True),
        ticket=TICKET,
        received=PUSHED,
    )


def test_a_tablet_that_is_right_is_believed():
    found = estimated()
    assert found == Estimate(at=HAPPENED, quality=Quality.GOOD, earliest=TICKET, latest=PUSHED)


def test_a_clock_that_is_days_off_all_the_time_does_no_harm():
    assert estimated(off_s=-400_000).at == HAPPENED
    assert estimated(off_s=-400_000).quality is Quality.GOOD


@pytest.mark.parametrize("fault", [{"stepped_s": 3600}, {"stepped_s": -121}, {"slept_s": 121}])
def test_clock_and_stopwatch_that_disagree_leave_it_uncertain(fault):
    found = estimated(**fault)
    assert found.quality is Quality.UNCERTAIN
    assert found.span == (TICKET, PUSHED)


def test_a_difference_of_two_minutes_is_agreement():
    found = estimated(slept_s=120)
    assert found.quality is Quality.GOOD
    assert found.span == (found.at - timedelta(seconds=120), found.at + timedelta(seconds=120))


def test_a_clock_put_on_is_overruled_by_the_stopwatch():
    assert estimated(stepped_s=3600).at == HAPPENED


def test_after_a_restart_only_the_clock_is_left_and_it_stays_uncertain():
    found = estimated(boots=("b1", "b2"))
    assert found.at == HAPPENED
    assert found.quality is Quality.UNCERTAIN


def test_an_impossible_stopwatch_gives_way_to_a_possible_clock():
    found = estimate(
        event=Stamp(wall=HAPPENED, mono=0, boot="b1"),
        push=Stamp(wall=PUSHED, mono=10**9, boot="b1"),
        ticket=TICKET,
        received=PUSHED,
    )
    assert found.at == HAPPENED
    assert found.quality is Quality.UNCERTAIN


def test_without_any_clock_only_the_bounds_are_known():
    found = estimated(known=())
    assert (found.earliest, found.latest, found.quality) == (TICKET, PUSHED, Quality.UNCERTAIN)


def test_what_comes_by_page_happens_when_it_is_received():
    found = estimate(event=Stamp(), push=Stamp(), ticket=None, received=PUSHED)
    assert (found.at, found.quality, found.span) == (PUSHED, Quality.GOOD, (PUSHED, PUSHED))


def test_a_ticket_from_the_future_says_that_our_own_clock_was_set_back():
    made = Stamp(wall=HAPPENED, mono=0, boot="b1")
    sent = Stamp(wall=HAPPENED + timedelta(minutes=9), mono=9 * 60_000, boot="b1")
    found = estimate(event=made, push=sent, ticket=PUSHED, received=TICKET)
    assert (found.at, found.quality) == (TICKET - timedelta(minutes=9), Quality.UNCERTAIN)
    assert found.span == (LONG_AGO, TICKET)


def test_a_clock_without_offset_is_refused():
    with pytest.raises(ValueError, match="no offset"):
        Stamp(wall=datetime(2026, 3, 9))  # noqa: DTZ001  # that is the fault


@pytest.mark.parametrize("year", [1, 9999])
def test_a_clock_at_the_edge_of_the_calendar_does_no_harm(year):
    found = estimate(
        event=Stamp(wall=datetime(year, 1, 1, tzinfo=UTC), mono=2**53 - 1, boot="b1"),
        push=Stamp(wall=datetime(10_000 - year, 12, 31, tzinfo=UTC), mono=2**53 - 1, boot="b1"),
        ticket=TICKET,
        received=PUSHED,
    )
    assert TICKET <= found.at <= PUSHED
    assert found.quality is Quality.UNCERTAIN


def test_what_decides_something_is_asked_about_where_it_is_uncertain():
    good, uncertain = estimated(), estimated(boots=("b1", "b2"))
    noon = HAPPENED + timedelta(minutes=10)
    assert good.side_of(noon) is Side.BEFORE
    assert good.side_of(HAPPENED - timedelta(minutes=10)) is Side.AFTER
    assert good.side_of(HAPPENED + timedelta(seconds=60)) is Side.ASK
    assert uncertain.side_of(noon) is Side.ASK
    assert uncertain.side_of(PUSHED + timedelta(seconds=1)) is Side.BEFORE
    assert uncertain.side_of(TICKET) is Side.AFTER


def test_a_test_is_timed_by_the_stopwatch_only():
    start = Stamp(mono=10_000, boot="b1", wall=HAPPENED)
    assert stopwatch_seconds(start, Stamp(mono=51_800, boot="b1")) == pytest.approx(41.8)
    assert stopwatch_seconds(start, Stamp(mono=51_800, boot="b2", wall=PUSHED)) is None
    assert stopwatch_seconds(start, Stamp(mono=9_999, boot="b1")) is None
    assert stopwatch_seconds(start, Stamp(boot="b1")) is None


def test_an_outage_over_the_change_of_clocks_is_not_an_hour_wrong():
    # Clocks go forward at 2:00 on 8 March 2026 in this zone: tz database, America/Chicago.
    zone = ZoneInfo("America/Chicago")
    start, end = datetime(2026, 3, 8, 1, 0, tzinfo=zone), datetime(2026, 3, 8, 4, 0, tzinfo=zone)
    assert elapsed(start, end) == timedelta(hours=2)


moments = st.integers(-(10**6), 10**6)


@given(moments, moments, moments, st.integers(0, 10**9), st.integers(0, 10**9), st.booleans())
def test_an_estimate_never_leaves_what_is_certain(off, step, length, first, second, same):
    received = TICKET + timedelta(seconds=abs(length))
    found = estimate(
        event=Stamp(wall=TICKET + timedelta(seconds=off), mono=first, boot="b1"),
        push=Stamp(
            wall=received + timedelta(seconds=step), mono=second, boot="b1" if same else "b2"
        ),
        ticket=TICKET,
        received=received,
    )
    assert found.earliest <= found.span[0] <= found.at <= found.span[1] <= found.latest
    if not same and length:
        assert found.quality is Quality.UNCERTAIN
