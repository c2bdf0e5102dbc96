"""What is due at a building, why, and how the building stands on any day."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from buildings import inventory
from buildings.models import Device, Engagement
from contractors.models import OutboxMessage
from inspections import findings, planned
from scheduling import due, standing
from scheduling.models import Occurrence, PublishedBuilding, Standing, StandingInterval
from tests.scheduling.recording import done

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(NOW, tick=False):
        yield


def occurrence(ours, subject, activity):
    due.derive(ours.building, NOW)
    return Occurrence.objects.get(subject_id=subject.pk, activity=activity)


def test_a_waterflow_switch_is_due_twice_a_year_from_its_last_test(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], "waterflow-vane-test", date(2026, 9, 10))
        found = occurrence(ours, ours.devices["wet_flow"], "waterflow-vane-test")
        assert found.last_done_on == date(2026, 9, 10)
        assert found.earliest_on == date(2027, 1, 10)
        assert found.latest_on <= date(2027, 5, 10)
        assert found.known
        assert "2026-09-10" in found.reason["window"]
        assert found.reason["source"]


def test_a_failed_test_leaves_its_occurrence_open(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], "waterflow-vane-test", date(2026, 1, 10))
        done(ours, ours.devices["wet_flow"], "waterflow-vane-test", date(2026, 9, 10), "fail")
        found = occurrence(ours, ours.devices["wet_flow"], "waterflow-vane-test")
        assert found.last_done_on == date(2026, 1, 10)
        assert found.latest_on < date(2026, 11, 25)


def test_a_row_of_the_same_regime_said_again_does_not_bind_more_often(ours):
    with ours.scope():
        assembly = Device(
            building=ours.building,
            system=ours.wet,
            code="BF-1",
            name="Double check assembly",
            kind="backflow_assembly",
            attributes={"type": "DC", "fire_line": True},
        )
        inventory.add([assembly], by=None)
        valves = [
            Device(
                building=ours.building,
                system=ours.wet,
                parent=assembly,
                code=f"BF-{n}",
                name=f"Valve {n}",
                kind="control_valve",
                attributes={"type": "osy_gate", "supervised": True, "secured_by": "lock"},
            )
            for n in (2, 3)
        ]
        inventory.add(valves, by=None)
        done(ours, valves[0], "control-valve-supervised-quarterly", date(2026, 9, 10))
        found = occurrence(ours, valves[0], "control-valve-supervised-quarterly")
        assert found.latest_on > date(2026, 12, 1)
        assert "weekly" not in found.reason["window"]


def test_deriving_again_changes_nothing(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], "waterflow-vane-test", date(2026, 9, 10))
        due.derive(ours.building, NOW)
        before = list(Occurrence.objects.order_by("pk").values())
        intervals = list(StandingInterval.objects.order_by("pk").values())
        due.derive(ours.building, NOW)
        assert list(Occurrence.objects.order_by("pk").values()) == before
        assert list(StandingInterval.objects.order_by("pk").values()) == intervals


def test_a_building_taken_over_lately_is_not_known_yet(ours):
    with ours.scope():
        ours.building.taken_over_on = date(2026, 11, 20)
        ours.building.save(update_fields=["taken_over_on"])
        due.derive(ours.building, NOW)
        stands = standing.standing(ours.building, date(2026, 11, 25))
        assert stands.word == Standing.NOT_KNOWN
        assert stands.scope["edition"] == 2020


def test_without_evidence_for_a_whole_window_it_is_overdue(ours):
    with ours.scope():
        due.derive(ours.building, NOW)
        assert standing.standing(ours.building, date(2026, 11, 25)).word == Standing.OVERDUE
        assert standing.standing(ours.building, date(2023, 11, 25)).word == Standing.NOT_KNOWN


def test_an_impairment_stands_above_everything_until_it_is_proven_over(ours):
    with ours.scope():
        findings.add(
            ours.building,
            subject=("riser", ours.wet_riser.pk),
            grade="impairment",
            text="Riser shut",
            by=ours.technician,
        )
        due.derive(ours.building, NOW + timedelta(hours=1))
        stands = standing.standing(ours.building, date(2026, 11, 25))
        assert stands.word == Standing.IMPAIRED
        assert stands.reasons[0]["text"] == "Riser shut"


def test_a_day_is_as_bad_as_its_worst_hour(ours):
    with ours.scope():
        found = findings.add(
            ours.building,
            subject=("riser", ours.wet_riser.pk),
            grade="impairment",
            text="Riser shut",
            by=ours.manager,
        )
        with time_machine.travel(NOW + timedelta(hours=2), tick=False):
            impairment = found.impairments.get()
            findings.end_impairment(impairment, proven=True, by=ours.manager)
            due.derive(ours.building)
            assert standing.standing(ours.building, date(2026, 11, 25)).word == Standing.IMPAIRED
        with time_machine.travel(NOW + timedelta(days=1), tick=False):
            due.derive(ours.building)
            assert standing.standing(ours.building, date(2026, 11, 26)).word != Standing.IMPAIRED


def test_what_was_known_then_can_still_be_asked(ours):
    with ours.scope():
        due.derive(ours.building, NOW)
        known_then = NOW + timedelta(minutes=1)
        with time_machine.travel(NOW + timedelta(hours=3), tick=False):
            findings.start_impairment(
                ours.building,
                subject=("system", ours.wet.pk),
                extent="Shut since yesterday",
                nature="emergency",
                started_at=NOW - timedelta(days=1),
                by=ours.manager,
            )
            due.derive(ours.building)
        yesterday = date(2026, 11, 24)
        assert standing.standing(ours.building, yesterday).word == Standing.IMPAIRED
        then = standing.standing(ours.building, yesterday, known_at=known_then)
        assert then.word == Standing.OVERDUE


def test_after_the_engagement_it_is_not_with_us(ours):
    with ours.scope():
        Engagement.objects.update(until_on=date(2026, 10, 31))
        due.derive(ours.building, NOW)
        assert standing.standing(ours.building, date(2026, 11, 25)).word == Standing.NOT_WITH_US
        assert standing.standing(ours.building, date(2026, 10, 31)).word != Standing.NOT_WITH_US


def test_what_the_owner_does_never_counts_against_our_word(ours):
    with ours.scope():
        due.derive(ours.building, NOW)
        weekly = Occurrence.objects.filter(frequency__in=("P7D", "P1M"))
        assert weekly.exists()
        assert not weekly.filter(by_owner=False).exists()
        reasons = standing.standing(ours.building, date(2026, 11, 25)).reasons
        named = {reason.get("activity") for reason in reasons}
        assert not named & set(weekly.values_list("activity", flat=True))


def test_like_items_that_fall_due_together_are_one_reason(ours):
    with ours.scope():
        valve = {"kind": "control_valve", "system": ours.wet, "riser": ours.wet_riser}
        more = [
            Device(
                building=ours.building,
                code=f"V-{number}",
                name=f"Valve {number}",
                attributes={"type": "butterfly", "normally": "open", "supervised": True},
                **valve,
            )
            for number in range(1, 13)
        ]
        inventory.add(more, by=None, tell=False)
        due.derive(ours.building, NOW)
        looked = Occurrence.objects.filter(
            activity="control-valve-supervised-quarterly", by_owner=False
        )
        named = set(looked.values_list("subject_id", flat=True))
        assert len(named) >= len(more)
        told = standing.standing(ours.building, NOW.date()).reasons
        about = [
            reason
            for reason in told
            if reason.get("activity") == "control-valve-supervised-quarterly"
        ]
        assert sum(reason["count"] for reason in about) == len(named)
        assert len(about) == 1
        assert about[0]["subject"] in map(str, named)
        assert len({reason.get("activity") for reason in told}) > 1


def test_a_suspended_building_owes_nothing(ours):
    with ours.scope():
        ours.building.suspended_from = date(2026, 11, 1)
        ours.building.suspension_reason = "Vacant, by leave of the authority"
        ours.building.save(update_fields=["suspended_from", "suspension_reason"])
        assert due.derive(ours.building, NOW) == 0


def test_the_owner_is_told_and_nobody_else(ours, theirs):
    with ours.scope():
        due.derive(ours.building, NOW)
        published = PublishedBuilding.objects.get()
        assert (published.owner_id, published.word) == (ours.owner.pk, Standing.OVERDUE)


def test_a_visit_moved_by_hand_is_told_to_the_owner_with_its_new_day(ours):
    def told():
        asked = OutboxMessage.objects.filter(kind="building.changed").order_by("made_at", "pk")
        due.follow(asked.last())
        return [one["on"] for one in PublishedBuilding.objects.get().facts["next"]]

    with ours.scope():
        visit = planned.make(ours.building, by=ours.manager, planned_on=date(2026, 12, 3))
        assert told() == ["2026-12-03"]
        planned.change(visit, {"planned_on": date(2026, 12, 10)}, by=ours.manager)
        assert told() == ["2026-12-10"]
        known = OutboxMessage.objects.count()
        planned.change(visit, {"planned_minutes": 45}, by=ours.manager)
        assert OutboxMessage.objects.count() == known


def test_deriving_asks_the_database_a_steady_number_of_times(ours, django_assert_max_num_queries):
    with ours.scope():
        due.derive(ours.building, NOW)
        with django_assert_max_num_queries(55):
            due.derive(ours.building, NOW)
