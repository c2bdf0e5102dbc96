"""What must hold of windows whatever the history: nothing is lost, nothing is owed twice."""

from datetime import date, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from inspections.catalogue_files import catalogue
from inspections.intervals import Span
from inspections.sites import Item, Site
from scheduling import recurrence, windows
from scheduling.absorption import OpenOccurrence, Performed, closes
from scheduling.recurrence import Anchoring, Clock, Policy, intersect
from scheduling.seasons import Frost, season_of
from scheduling.windows import Bound, Bounds, Pause, following, open_window, performed

FIRST, LAST = date(2019, 12, 1), date(2029, 3, 1)
days = st.dates(FIRST, LAST)
histories = st.lists(days, max_size=8, unique=True).map(sorted)
frequencies = st.sampled_from(["P1D", "P7D", "P1M", "P3M", "P6M", "P1Y", "P3Y", "P5Y", "P10Y"])
policies = st.builds(
    Policy,
    anchoring=st.sampled_from(Anchoring),
    rolling_year=st.booleans(),
    week_starts=st.integers(0, 6),
)


def _bound(regime, frequency):
    rule = catalogue().window_rule(regime, 2020, Span.parse(frequency))
    return Bound(name=regime, rule=rule)


@st.composite
def every_bounds(draw, *, pauses=True):
    frequency = draw(frequencies)
    regimes = ["nfpa25", *draw(st.lists(st.sampled_from(["joint_commission", "cms"]), max_size=2))]
    season = draw(st.sampled_from([None, "warm_weather", "before_freezing"]))
    out = draw(days)
    rest = Pause(from_on=out, back_on=out + timedelta(days=draw(st.integers(1, 400))))
    return Bounds(
        rules=tuple(_bound(name, frequency) for name in dict.fromkeys(regimes)),
        clock=Clock(start=FIRST, anchor=draw(st.none() | days)),
        policy=draw(policies),
        season=season_of(season, Frost()) if season and "D" not in frequency else None,
        pauses=(rest,) if pauses and draw(st.booleans()) else (),
    )


@given(every_bounds(), histories)
def test_a_window_opens_before_it_is_due_and_is_due_before_it_ends(bounds, history):
    window = open_window(bounds, history)
    assert window.due <= window.latest
    assert window.earliest is None or window.earliest <= window.latest


@given(every_bounds(), histories)
def test_deriving_again_gives_the_same(bounds, history):
    before = open_window(bounds, history)
    recurrence._window.cache_clear()
    windows._opened.cache_clear()
    assert open_window(bounds, list(history)) == before


@given(every_bounds(pauses=False), histories)
def test_what_follows_leaves_no_gap_longer_than_the_rules_and_overlaps_nowhere(bounds, history):
    on = max([FIRST, *history])
    found = following(bounds, history, on, on + timedelta(days=365 * 4), most=40)
    for one, then in pairwise(found):
        worked = max(one.due, on)
        assert then.due > one.due
        assert then.earliest is None or then.clash or then.earliest > one.due
        if bounds.season is None and bounds.rule.slot is None:
            assert then.latest <= bounds.rule.greatest.after(worked)


@given(every_bounds(pauses=False), histories, days)
def test_another_performance_never_brings_the_next_one_nearer(bounds, history, day):
    if history and day <= history[-1]:
        return
    credited = performed(bounds, [*history, day])
    if credited and credited[-1] == day and bounds.season is None:
        assert open_window(bounds, [*history, day]).due > day


@given(st.lists(st.tuples(frequencies, histories), min_size=1, max_size=3))
def test_regimes_together_never_end_later_than_any_of_them(asked):
    clock = Clock(start=FIRST)
    each = [
        (str(place), open_window(Bounds(rules=(_bound("nfpa25", text),), clock=clock), history))
        for place, (text, history) in enumerate(asked)
    ]
    both = intersect(each)
    assert both.latest == min(window.latest for _, window in each)
    if not both.clash and both.earliest is not None:
        assert all(w.earliest is None or w.earliest <= both.earliest for _, w in each)


VALVE = Item("V", "dry_pipe_valve", "B", {})
OTHER = Item("V2", "dry_pipe_valve", "B", {})
SITE = Site("B", 2020, {}, (VALVE, OTHER))
WORK = [one for one in catalogue().for_kind("dry_pipe_valve") if one.frequency is not None]


@given(
    st.sampled_from(WORK),
    st.sampled_from([VALVE, OTHER]),
    days,
    st.booleans(),
    st.booleans(),
    st.booleans(),
)
def test_absorbing_loses_no_requirement(activity, item, day, failed, recorded, chain):
    there = [
        OpenOccurrence(
            item=one,
            activity=owed,
            window=open_window(
                Bounds(
                    rules=(
                        Bound(
                            name="nfpa25",
                            rule=catalogue().window_rule("nfpa25", 2020, owed.frequency),
                        ),
                    ),
                    clock=Clock(start=FIRST),
                ),
                [day - timedelta(days=400)],
            ),
        )
        for one in (VALVE, OTHER)
        for owed in WORK
    ]
    act = Performed(item=item, activity=activity, on=day, failed=failed, recorded=recorded)
    found = closes(act, there, catalogue=catalogue(), site=SITE, chain=chain)
    assert all(one.occurrence.item == item for one in found)
    assert all(one.occurrence in there for one in found)
    assert len({id(one.occurrence) for one in found}) == len(found)
    if failed or not recorded:
        assert found == []
    for one in found:
        longer = activity.frequency.nominal_days >= one.occurrence.activity.frequency.nominal_days
        assert one.own or longer
