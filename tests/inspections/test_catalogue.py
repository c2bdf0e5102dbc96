"""What the catalogue says: which rows hold for an item, by whose limits, with which cautions."""

import csv
import json
import re
from datetime import date
from itertools import product
from pathlib import Path

import pytest

from inspections import applies
from inspections.applies import How, Judge, owed, questions, scheduled
from inspections.catalogue import judge
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Act
from inspections.conditions.facts import Fact
from inspections.intervals import Span
from inspections.sites import Item, Site

TABLES = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue" / "itm"
EDITIONS = (2008, 2011, 2014, 2017, 2020, 2023, 2026)
DAY = date(2026, 7, 1)


def test_every_row_of_the_table_of_activities_is_there_with_its_values():
    with (TABLES / "activities.csv").open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text))
    assert len(rows) == len(catalogue().activities)
    for row in rows:
        activity = catalogue().activity(row["id"])
        frequency = None if row["frequency"] == "EVENT" else Span.parse(row["frequency"])
        assert activity.frequency == frequency
        assert activity.first_after == (
            Span.parse(row["first_after"]) if row["first_after"] else None
        )
        assert activity.edition_from == (int(row["edition_from"]) if row["edition_from"] else None)
        assert activity.edition_to == (int(row["edition_to"]) if row["edition_to"] else None)
        assert (activity.regime, activity.source) == (row["regime"], row["source"])
        assert activity.confidence in ("read", "memory")


def test_changed_tables_come_with_a_new_version():
    stated = json.loads((TABLES / "version.json").read_text(encoding="utf-8"))
    assert stated["tables_sha256"] == catalogue().digest, (
        f"the tables changed: give version.json a new version and {catalogue().digest}"
    )
    assert catalogue().version.startswith(stated["version"] + "+")


def test_a_limit_is_that_of_its_edition():
    assert catalogue().limit("slow_trip_factor", 2017).value == 1.5
    assert catalogue().limit("slow_trip_factor", 2023).value == 1.25
    assert catalogue().limit("air_loss_week", 2020) is None
    assert catalogue().limit("slow_trip_factor", None) is None
    assert catalogue().limit("uk_gong_time", None).value == 30


@pytest.mark.parametrize(("lost_psi", "word"), [(3.0, True), (3.1, False), (None, None)])
def test_a_criterion_judges_readings_by_the_limit_of_the_edition(lost_psi, word):
    psi = 6894.757293168361
    facts = {
        name: Fact(name, value)
        for name, value in {"duration": 7200.0, "start_pressure": 40 * psi}.items()
    }
    if lost_psi is not None:
        facts["end_pressure"] = Fact("end_pressure", (40 - lost_psi) * psi)
    for name in ("air_leak_loss", "air_leak_duration", "air_leak_start"):
        facts[f"limit.{name}"] = catalogue().limit_fact(name, 2017)
    found = judge(catalogue().activity("dry-air-leakage-40psi").criterion, facts)
    assert found.value is word
    assert found.asks == (("end_pressure",) if word is None else ())


def test_set_up_counts_once_for_each_place_and_a_family_once_for_each_item():
    look = catalogue().activity("sprinkler-visual")
    clearance = catalogue().activity("sprinkler-clearance")
    partial = catalogue().activity("dry-trip-partial")
    full = catalogue().activity("dry-trip-full")
    assert (look.group, look.minutes_fixed, look.item_unit) == ("floor_walk", 10, "quantity")
    one = [Act(look, "G1", "hall", 1000)]
    assert catalogue().minutes(one) == pytest.approx(10 + 40)
    assert catalogue().minutes([*one, Act(clearance, "G1", "hall", 1000)]) == pytest.approx(60)
    assert catalogue().minutes([*one, Act(look, "G2", "annex", 100)]) == pytest.approx(64)
    trips = [Act(partial, "DV1", "valve room"), Act(full, "DV1", "valve room")]
    alone = max(catalogue().minutes([trip]) for trip in trips)
    assert catalogue().minutes(trips) == pytest.approx(alone)
    assert catalogue().minutes([]) == 0


def test_an_act_that_shuts_water_off_brings_its_cautions():
    closing = catalogue().cautions_for(catalogue().activity("dry-trip-full"))
    hazards = [one.hazard for one in closing]
    assert closing[0].scope == "group"
    assert {"loss of protection", "not quite restored", "missed real alarm"} <= set(hazards)
    looking = catalogue().cautions_for(catalogue().activity("gauge-wet-quarterly"))
    assert "loss of protection" not in {one.hazard for one in looking}


def test_every_activity_that_flows_or_shuts_water_has_a_caution():
    for activity in catalogue().activities.values():
        if activity.shuts_system or activity.water_flow != "none":
            assert catalogue().cautions_for(activity), activity.id


def test_findings_are_answered_sooner_the_worse_they_are():
    days = {"impairment": {0}, "critical": {30}, "noncritical": {90}}
    for one in catalogue().deficiencies.values():
        assert one.response_days in days[one.finding_class], one.id
    leaks = catalogue().deficiencies_for(component="sprinkler", activity_id="sprinkler-visual")
    assert "d-spr-leak-running" in {one.id for one in leaks}


def test_a_replaced_gauge_owes_its_reading_and_a_reopened_valve_its_proof():
    assert [t.activity_id for t in catalogue().tests_after("gauge", "replaced")] == [
        "gauge-calibrate-replace"
    ]
    proofs = catalogue().tests_after("control_valve", "closed and reopened")
    assert {proof.activity_id for proof in proofs} >= {
        "main-drain-after-valve",
        "control-valve-status-test",
    }


BUILDING = {
    "country": "US",
    "state": "OR",
    "base_standard": "nfpa25",
    "frost": True,
    "water_in_unheated_spaces": True,
}


def holding(edition, *items, **building):
    site = Site("B", edition, {**BUILDING, **building}, tuple(items))
    return {
        (verdict.item.id, verdict.ruling.activity.id)
        for verdict in Judge(catalogue(), DAY).verdicts(site)
        if verdict.ruling.applies
    }


@pytest.mark.parametrize("edition", EDITIONS)
def test_each_control_valve_has_exactly_one_look(edition):
    looks = {
        role.activity_id for role in catalogue().family("valve_look") if role.role == "exclusive"
    }
    for secured, supervised in product(("lock", "seal", "none"), (True, False)):
        valve = Item("V", "control_valve", "B", {"secured_by": secured, "supervised": supervised})
        found = {name for _, name in holding(edition, valve)} & looks
        assert len(found) == 1, (secured, supervised)


@pytest.mark.parametrize("edition", EDITIONS)
@pytest.mark.parametrize("kind", ["dry", "preaction"])
@pytest.mark.parametrize("supervised", [True, False])
def test_each_riser_that_holds_air_has_exactly_one_look_at_its_gauges(edition, kind, supervised):
    looks = {r.activity_id for r in catalogue().family("air_gauges") if r.role == "exclusive"}
    system = Item("S", "system", "B", {"kind": kind, "air_supervised": supervised})
    found = holding(edition, system, Item("R", "riser", "S", {}))
    assert len({name for _, name in found} & looks) == 1


@pytest.mark.parametrize("edition", EDITIONS)
def test_each_sprinkler_group_has_one_row_by_age(edition):
    rows = {r.activity_id for r in catalogue().family("sprinkler_age")}
    wet = Item("S", "system", "B", {"kind": "wet"})
    for response, dry, kind, year in product(
        ("standard", "fast"), (True, False), ("spray", "esfr"), (1955, 2000)
    ):
        if kind == "esfr" and (response == "standard" or dry):
            continue
        group = Item(
            "G",
            "sprinkler_group",
            "S",
            {"response": response, "dry_type": dry, "type": kind, "manufacture_year": year},
        )
        found = {name for _, name in holding(edition, wet, group)} & rows
        younger = found - {"sprinkler-test-75y"}
        is_old = DAY.year - year < 75
        assert len(younger) == (1 if is_old or response == "fast" or dry else 0)


def test_a_judge_that_may_keep_little_rules_the_same(monkeypatch):
    alone = list(Judge(catalogue(), DAY).verdicts(dry_system()))
    monkeypatch.setattr(applies, "MOST_KEPT", 1)
    judge = Judge(catalogue(), DAY)
    assert list(judge.verdicts(dry_system())) == alone
    assert len(judge._rulings) == 1


def dry_system(*more):
    return Site(
        "B",
        2017,
        BUILDING,
        (
            Item("S", "system", "B", {"kind": "dry", "protects_freezer": False}),
            Item("R", "riser", "S", {"valve_kind": "dry"}),
            Item("V", "dry_pipe_valve", "R", {"uses_priming_water": False}),
            *more,
        ),
    )


def become(site):
    return {(one.item.id, one.activity.id): one for one in owed(Judge(catalogue(), DAY), site)}


def test_a_part_is_done_with_its_test_and_has_no_due_date_of_its_own():
    one = become(dry_system())[("V", "dry-valve-internal")]
    assert one.how is How.PART
    assert ("V", "dry-trip-partial") in one.within
    assert catalogue().activities["dry-trip-partial"].task in one.reason


def test_reasons_are_said_in_words_without_the_names_of_attributes():
    reasons = {one.reason for one in become(dry_system()).values()}
    raw = re.compile(r"\b[a-z]+_[a-z_]+\b|\b(item|system|building)\.[a-z]")
    assert [reason for reason in reasons if raw.search(reason)] == []
    assert any("System, kind: dry" in reason for reason in reasons)


def test_a_part_whose_test_is_undecided_keeps_its_own_frequency():
    site = dry_system()
    unknown = Site(
        "B", 2017, BUILDING, (Item("S", "system", "B", {"kind": "dry"}), *site.items[1:])
    )
    found = become(unknown)
    assert found[("V", "dry-trip-full")].how is How.ASK
    assert found[("V", "dry-trip-full")].ruling.asks == ("system.protects_freezer",)
    assert found[("V", "dry-valve-internal")].how in (How.CALENDAR, How.PART)


def test_a_restated_row_is_dropped_only_where_the_named_row_holds_near_by():
    alone = become(dry_system())[("V", "dry-low-air-alarm")]
    assert alone.how is How.CALENDAR
    near = Item("D", "supervisory_device", "R", {"measures": "low_air"})
    assert become(dry_system(near))[("V", "dry-low-air-alarm")].how is How.RESTATED
    other = Item("D", "supervisory_device", "R", {"measures": "room_temperature"})
    assert become(dry_system(other))[("V", "dry-low-air-alarm")].how is How.CALENDAR
    elsewhere = (
        Item("S2", "system", "B", {"kind": "dry"}),
        Item("R2", "riser", "S2", {}),
        Item("D", "supervisory_device", "R2", {"measures": "low_air"}),
    )
    assert become(dry_system(*elsewhere))[("V", "dry-low-air-alarm")].how is How.CALENDAR


def test_an_assembly_keeps_its_weekly_look_until_both_valves_are_entered():
    lead = Item("L", "lead_in", "B", {})
    assembly = Item("A", "backflow_assembly", "L", {"type": "DC"})
    valves = [
        Item(f"C{n}", "control_valve", "A", {"secured_by": "lock", "supervised": True})
        for n in (1, 2)
    ]
    for count, how in ((0, How.CALENDAR), (1, How.CALENDAR), (2, How.RESTATED)):
        site = Site("B", 2017, BUILDING, (lead, assembly, *valves[:count]))
        assert become(site)[("A", "bf-valves-weekly")].how is how


def test_either_method_of_the_leakage_test_is_scheduled_once():
    found = become(dry_system())
    assert found[("S", "dry-air-leakage-40psi")].how is How.CALENDAR
    assert found[("S", "dry-air-leakage-4h")].how is How.ALTERNATIVE


def test_a_default_that_hides_an_activity_is_named():
    group = Item("G", "sprinkler_group", "S", {})
    hidden = become(dry_system(group))[("G", "sprinkler-cooking-replace")]
    assert hidden.how is How.OFF
    assert [fact.name for fact in hidden.ruling.hidden_by] == ["item.over_cooking"]
    assert "assumed no" in hidden.reason


def test_what_the_calendar_schedules_has_a_frequency_and_a_reason():
    found = scheduled(Judge(catalogue(), DAY), dry_system())
    assert found
    for one in found:
        assert one.activity.frequency is not None
        assert one.reason
    assert "gauge-dry-monthly" not in {one.activity.id for one in found}


def test_every_activity_reaches_some_item_or_belongs_to_an_exemption():
    for activity in catalogue().activities.values():
        for kind in activity.subjects:
            assert activity in catalogue().for_kind(kind)


@pytest.mark.parametrize(
    ("items", "reason"),
    [
        ((Item("A", "riser", "X", {}),), "its parent 'X' is not there"),
        ((Item("A", "riser", "A", {}),), "hangs on itself"),
        ((Item("A", "riser", "C", {}), Item("C", "riser", "A", {})), "hangs on itself"),
        ((Item("A", "riser", "B", {}), Item("A", "riser", "B", {})), "is there twice"),
        ((Item("B", "riser", "B", {}),), "is there twice"),
    ],
)
def test_a_tree_that_does_not_hang_together_is_refused(items, reason):
    with pytest.raises(ValueError, match=reason):
        Site("B", 2017, {}, items)


def test_age_is_counted_from_the_year_on_the_sprinkler_or_the_date_on_the_dial():
    gauge = catalogue().activity("gauge-calibrate-replace")
    assert gauge.first_after is None
    assert gauge.first_age == gauge.frequency == Span(months=60)
    assert gauge.counted_from({"dated": "2019-05-02"}) == date(2019, 5, 2)
    assert gauge.counted_from({}) is None
    sample = catalogue().activity("sprinkler-test-standard-50y")
    assert sample.first_age == Span(months=600)
    assert sample.counted_from({"manufacture_year": 1976}) == date(1976, 1, 1)
    assert catalogue().activity("sprinkler-visual").first_age is None


def test_questions_name_what_carries_the_attribute_and_come_by_how_much_they_decide():
    site = Site(
        "B",
        2014,
        {name: value for name, value in BUILDING.items() if name != "frost"},
        (
            Item("S", "system", "B", {"kind": "dry"}),
            Item("R", "riser", "S", {}),
            Item("V", "dry_pipe_valve", "R", {}),
            Item("G", "sprinkler_group", "S", {"type": "spray", "response": "fast"}),
        ),
    )
    asked = questions(Judge(catalogue(), DAY), site)
    found = {(one.item.id, one.attribute): one for one in asked}
    assert ("S", "air_supervised") in found
    assert ("R", "gauge-dry-weekly") in found["S", "air_supervised"].decides
    assert ("G", "dry_type") in found
    assert [len(one.decides) for one in asked] == sorted(
        (len(one.decides) for one in asked), reverse=True
    )
    told = {**site.items[0].attributes, "air_supervised": True}
    items = (Item("S", "system", "B", told), *site.items[1:])
    again = questions(Judge(catalogue(), DAY), Site("B", 2014, site.attributes, items))
    assert "air_supervised" not in {one.attribute for one in again}


def test_an_edition_nobody_knows_is_asked_of_the_building():
    site = Site("B", None, BUILDING, (Item("S", "system", "B", {"kind": "wet"}),))
    first = questions(Judge(catalogue(), DAY), site)[0]
    assert (first.item.id, first.attribute) == ("B", "edition")


def test_a_rule_without_a_condition_is_meant_for_every_item_of_its_kind():
    with (TABLES / "activity_rules.csv").open(encoding="utf-8", newline="") as text:
        for row in csv.DictReader(text):
            assert (row["applies"] != "True") or row["meant_for_all"] == "yes", row["id"]


def test_an_attribute_that_a_rule_reads_has_a_default_or_a_question():
    for activity in catalogue().activities.values():
        for name in activity.gate.names | activity.applies.names:
            scope, dot, attribute = name.partition(".")
            if not dot or scope == "limit":
                continue
            for kind in activity.subjects if scope == "item" else (scope,):
                found = catalogue().kinds[kind].attributes.get(attribute)
                if found is not None and found.default is None:
                    assert found.question, name
