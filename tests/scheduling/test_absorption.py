from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.catalogue_files import catalogue
from inspections.sites import Item, Site
from scheduling.absorption import OpenOccurrence, Performed, closes
from scheduling.recurrence import Window

DAY = date(2026, 7, 1)
SYSTEM = Item("S", "system", "B", {"kind": "dry"})
RISER = Item("R", "riser", "S", {})
VALVE = Item("V", "dry_pipe_valve", "R", {})
OTHER = Item("V2", "dry_pipe_valve", "R2", {})
FASTER = Item("Q", "quick_opening_device", "V", {})
CONTROL = Item("C", "control_valve", "R", {})
SWITCH = Item("T", "supervisory_switch", "C", {})
LEAD = Item("L", "lead_in", "B", {})
PUMP = Item("P", "fire_pump", "B", {"drive": "diesel"})
STANDPIPE = Item("SP", "standpipe", "B", {})
HOSE_VALVES = tuple(Item(f"H{n}", "hose_valve", "SP", {}) for n in (1, 2))
SITE = Site(
    "B",
    2017,
    {},
    (
        *(SYSTEM, RISER, VALVE, FASTER, CONTROL, SWITCH, LEAD, PUMP, STANDPIPE, *HOSE_VALVES),
        *(Item("S2", "system", "B", {"kind": "dry"}), Item("R2", "riser", "S2", {}), OTHER),
    ),
)


def still_open(item, activity_id, earliest=date(2026, 4, 1), latest=date(2026, 10, 1)):
    window = Window(earliest=earliest, due=DAY, latest=latest, reason="for the test")
    return OpenOccurrence(item=item, activity=catalogue().activity(activity_id), window=window)


def done(item, activity_id, *remarks, **values):
    return Performed(
        item=item,
        activity=catalogue().activity(activity_id),
        on=DAY,
        remarks=frozenset(remarks),
        **values,
    )


def closed(performed, *occurrences, chain=False):
    found = closes(performed, occurrences, catalogue=catalogue(), site=SITE, chain=chain)
    return [(one.occurrence.item.id, one.occurrence.activity.id) for one in found]


def test_a_result_closes_its_own_occurrence_even_when_late():
    own = still_open(VALVE, "dry-trip-full", latest=date(2026, 6, 1))
    assert closed(done(VALVE, "dry-trip-full"), own) == [("V", "dry-trip-full")]
    (closing,) = closes(done(VALVE, "dry-trip-full"), [own], catalogue=catalogue(), site=SITE)
    assert closing.own


def test_a_result_before_the_earliest_day_closes_nothing():
    assert (
        closed(done(VALVE, "dry-trip-full"), still_open(VALVE, "dry-trip-full", date(2026, 8, 1)))
        == []
    )


@pytest.mark.parametrize("fault", [{"failed": True}, {"recorded": False}])
def test_a_failed_or_unrecorded_result_never_absorbs(fault):
    occurrences = [still_open(VALVE, "dry-trip-full"), still_open(VALVE, "dry-trip-partial")]
    assert closed(done(VALVE, "dry-trip-full", **fault), *occurrences, chain=True) == []


def test_a_full_trip_takes_the_place_of_that_years_partial_trip_on_the_same_valve():
    full = done(VALVE, "dry-trip-full")
    later = still_open(VALVE, "dry-trip-partial", date(2026, 8, 1), date(2026, 12, 31))
    assert closed(full, later) == [("V", "dry-trip-partial")]
    next_year = OpenOccurrence(
        item=VALVE,
        activity=catalogue().activity("dry-trip-partial"),
        window=Window(
            earliest=date(2027, 4, 1), due=date(2027, 7, 1), latest=date(2027, 10, 1), reason=""
        ),
    )
    assert closed(full, next_year) == []
    assert closed(full, still_open(OTHER, "dry-trip-partial")) == []


def test_a_partial_trip_does_not_take_the_place_of_a_full_one():
    partial = done(VALVE, "dry-trip-partial")
    assert closed(partial, still_open(VALVE, "dry-trip-full"), chain=True) == []


def test_the_look_inside_is_closed_only_where_the_cover_was_opened():
    look = still_open(VALVE, "dry-valve-internal")
    assert closed(done(VALVE, "dry-trip-full"), look) == []
    opened = done(VALVE, "dry-trip-full", "cover_opened")
    assert closed(opened, look) == [("V", "dry-valve-internal")]


def test_a_low_air_signal_is_not_closed_by_a_trip():
    trip = done(VALVE, "dry-trip-full", "cover_opened", "quick_opening_operated")
    assert closed(trip, still_open(VALVE, "dry-low-air-alarm")) == []
    assert closed(trip, still_open(FASTER, "dry-qod-test")) == [("Q", "dry-qod-test")]


def test_the_yearly_main_drain_is_that_quarters_and_not_the_one_after_a_closing():
    drain = done(LEAD, "main-drain-annual")
    assert closed(drain, still_open(LEAD, "main-drain-quarterly-backflow")) == [
        ("L", "main-drain-quarterly-backflow")
    ]
    assert closed(drain, still_open(CONTROL, "main-drain-after-valve"), chain=True) == []


def test_a_pump_flow_test_is_the_weeks_run_when_it_started_and_ran_as_one():
    run = still_open(PUMP, "fp-churn-diesel")
    assert closed(done(PUMP, "fp-annual-flow"), run) == []
    assert closed(done(PUMP, "fp-annual-flow", "automatic_start"), run) == []
    whole = done(PUMP, "fp-annual-flow", "automatic_start", "full_run_time")
    assert closed(whole, run) == [("P", "fp-churn-diesel")]
    assert closed(whole, still_open(PUMP, "fp-diesel-fuel")) == []


def test_a_turned_valve_was_seen_and_its_signal_counts_when_recorded():
    turned = done(CONTROL, "control-valve-exercise")
    look = still_open(CONTROL, "control-valve-locked-monthly")
    signal = still_open(SWITCH, "valve-supervisory-test")
    assert closed(turned, look, signal) == [("C", "control-valve-locked-monthly")]
    heard = done(CONTROL, "control-valve-exercise", "signal_recorded")
    assert closed(heard, signal) == [("T", "valve-supervisory-test")]


def test_a_backflow_performance_test_is_no_forward_flow_test():
    assembly = Item("A", "backflow_assembly", "L", {})
    site = Site("B", 2017, {}, (LEAD, assembly))
    found = closes(
        done(assembly, "bf-backflow-test"),
        [still_open(assembly, "bf-forward-flow")],
        catalogue=catalogue(),
        site=site,
        chain=True,
    )
    assert found == []


def test_an_absorbed_occurrence_needs_its_own_window_to_hold_the_day():
    drain = done(LEAD, "main-drain-annual")
    past = still_open(LEAD, "main-drain-quarterly-backflow", latest=date(2026, 6, 1))
    assert closed(drain, past) == []


def test_the_chain_closes_shorter_work_of_the_family_only_where_law_or_contract_says_so():
    trip = done(VALVE, "dry-trip-full")
    shorter = still_open(VALVE, "dry-trip-freezer-partial")
    assert closed(trip, shorter) == []
    assert closed(trip, shorter, chain=True) == [("V", "dry-trip-freezer-partial")]
    assert closed(trip, still_open(VALVE, "dry-priming-level"), chain=True) == []
    elsewhere = still_open(OTHER, "dry-trip-freezer-partial")
    assert closed(trip, elsewhere, chain=True) == []


@given(
    st.sampled_from(sorted(catalogue().activities)),
    st.sampled_from(sorted(catalogue().activities)),
    st.booleans(),
)
def test_less_demanding_work_never_closes_more_demanding_work(performed, owed, chain):
    activity, other = catalogue().activity(performed), catalogue().activity(owed)
    item = Item("I", activity.subjects[0], "B", {})
    if activity.id == other.id or item.kind not in other.subjects:
        return
    found = closes(
        done(item, performed),
        [still_open(item, owed)],
        catalogue=catalogue(),
        site=Site("B", 2017, {}, (item,)),
        chain=chain,
    )
    if found and activity.frequency and other.frequency:
        assert other.frequency.nominal_days <= activity.frequency.nominal_days
