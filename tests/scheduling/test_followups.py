"""What open findings call for, and how they end."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from contractors.models import Notice
from inspections import findings, record
from inspections.models import Event, Finding, Impairment, Visit
from scheduling import due, followups
from scheduling.models import FollowUp

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def found(ours, grade="critical", activity="waterflow-vane-test"):
    finding = findings.add(
        ours.building,
        subject=("device", ours.devices["wet_flow"].pk),
        grade=grade,
        text="Paddle sticks",
        by=ours.technician,
        activity=activity,
    )
    due.derive(ours.building)
    return finding


def test_a_critical_deficiency_is_told_and_owes_a_response_in_a_month(ours, clock):
    with ours.scope():
        finding = found(ours)
        followups.tick(NOW)
        owed = FollowUp.objects.get(finding=finding, kind="respond")
        assert owed.due_on == date(2026, 12, 25)
        told = set(Notice.objects.filter(kind="finding.opened").values_list("recipient", flat=True))
        assert told == {ours.access.user.email, ours.building.contact_email}
        assert Finding.objects.get().owner_told_at == NOW


def test_two_ticks_tell_once(ours, clock):
    with ours.scope():
        found(ours)
        followups.tick(NOW)
        count = Notice.objects.count()
        followups.tick(NOW)
        assert Notice.objects.count() == count


def test_an_observation_owes_nothing_but_the_telling(ours, clock):
    with ours.scope():
        finding = found(ours, grade="observation", activity="")
        kinds = FollowUp.objects.filter(finding=finding).values_list("kind", flat=True)
        assert list(kinds) == ["tell_owner"]


def test_reminders_climb_the_ladder_when_nothing_happens(ours, clock):
    with ours.scope():
        finding = found(ours)
        seen = []
        for days in (0, 8, 23, 31, 38, 52):
            clock.move_to(NOW + timedelta(days=days))
            followups.tick(NOW + timedelta(days=days))
            row = FollowUp.objects.get(finding=finding, kind="respond")
            seen.append((row.reminders, row.escalated))
        assert seen == [(0, 0), (0, 0), (1, 1), (2, 2), (3, 3), (4, 4)]
        late = Notice.objects.filter(kind="finding.reminder", recipient=ours.access.user.email)
        assert late.count() == 3


@pytest.mark.parametrize(
    ("decision", "until", "state", "day"),
    [
        ("approve", None, "open", date(2026, 12, 25)),
        ("defer", date(2027, 3, 1), "deferred", date(2027, 3, 1)),
        ("decline", None, "declined", date(2026, 12, 25)),
    ],
)
def test_an_owners_decision_moves_the_follow_up_and_never_the_finding(
    ours, clock, decision, until, state, day
):
    with ours.scope():
        finding = found(ours)
        findings.decide(
            finding, decision=decision, on=date(2026, 11, 25), until=until, reason="budget"
        )
        due.derive(ours.building)
        row = FollowUp.objects.get(finding=finding, kind="respond")
        assert (row.state, row.due_on) == (state, day)
        assert Finding.objects.get().state == "open"


def test_the_re_test_owed_closes_the_finding_and_its_follow_ups(ours, clock):
    with ours.scope():
        finding = found(ours)
        clock.move_to(NOW + timedelta(days=3))
        visit = Visit.objects.create(building=ours.building)
        payload = {
            "subject": {"kind": "device", "id": str(ours.devices["wet_flow"].pk)},
            "activity": "waterflow-vane-test",
            "answer": "pass",
        }
        entry = record.visit_entry(visit, "item.set", payload, by=ours.technician)
        record.append([entry], via="page", by=ours.technician)
        due.derive(ours.building)
        finding.refresh_from_db()
        assert (finding.state, finding.closed_on) == ("closed", date(2026, 11, 28))
        assert not FollowUp.objects.exclude(state="done").exists()


def test_a_word_does_not_close_a_deficiency(ours, clock):
    with ours.scope():
        finding = found(ours)
        with pytest.raises(findings.NeedsEvidence):
            findings.close_observation(finding, text="the plumber says so", by=ours.manager)


def test_an_impairment_is_reminded_of_by_the_hour_until_proven(ours, clock):
    with ours.scope():
        finding = found(ours, grade="impairment", activity="")
        impairment = Impairment.objects.get()
        for hours in (0, 1, 5, 9):
            followups.tick(NOW + timedelta(hours=hours))
        told = Notice.objects.filter(kind="impairment.running", urgent=True)
        assert told.filter(recipient=ours.manager.user.email).count() == 3
        assert told.filter(recipient=ours.access.user.email).count() == 1
        clock.move_to(NOW + timedelta(hours=10))
        findings.end_impairment(impairment, proven=True, by=ours.manager)
        due.derive(ours.building)
        assert not FollowUp.objects.filter(impairment=impairment).exclude(state="done").exists()
        assert finding.pk


def test_restored_without_proof_leaves_a_finding_open(ours, clock):
    with ours.scope():
        found(ours, grade="impairment", activity="")
        impairment = Impairment.objects.get()
        with pytest.raises(findings.NeedsLicence):
            findings.end_impairment(impairment, proven=False, reason="no gauge", by=ours.office)
        findings.end_impairment(impairment, proven=False, reason="no gauge", by=ours.manager)
        left = Finding.objects.get(text__startswith="Restored, proof missing")
        assert (left.grade, left.state) == ("critical", "open")


def shut_by_hand(ours):
    """Begin an attended shutdown at the wet system."""
    visit = Visit.objects.create(building=ours.building)
    outage_id = "019375a0-0000-7000-8000-000000000001"
    entry = record.entry(
        "outage.start",
        {
            "outage": outage_id,
            "subject": {"kind": "system", "id": str(ours.wet.pk)},
            "extent": "Wet system drained for a repair",
            "attended": True,
            "person": "Sam",
        },
        stream="impairment",
        stream_id=outage_id,
        visit=visit.pk,
        by=ours.technician,
    )
    record.append([entry], via="page", by=ours.technician)


def test_an_attended_shutdown_that_lasts_becomes_an_impairment(ours, clock):
    with ours.scope():
        shut_by_hand(ours)
        followups.tick(NOW + timedelta(minutes=50))
        assert not Impairment.objects.exists()
        followups.tick(NOW + timedelta(minutes=70))
        followups.tick(NOW + timedelta(minutes=80))
        impairment = Impairment.objects.get()
        assert impairment.started_at == NOW
        assert Event.objects.filter(kind="impairment.start").count() == 1


@pytest.mark.parametrize(("minutes", "before", "after"), [(15, 15, 16), (0, 0, 1), (240, 239, 241)])
def test_how_long_a_shutdown_may_be_attended_is_the_authoritys(ours, clock, minutes, before, after):
    with ours.scope():
        ours.jurisdiction.attended_minutes = minutes
        ours.jurisdiction.save(update_fields=["attended_minutes"])
        shut_by_hand(ours)
        followups.tick(NOW + timedelta(minutes=before))
        assert not Impairment.objects.exists()
        followups.tick(NOW + timedelta(minutes=after))
        assert Impairment.objects.get().started_at == NOW


def test_without_an_authority_an_hour_is_the_most(ours, clock):
    with ours.scope():
        type(ours.building).objects.filter(pk=ours.building.pk).update(jurisdiction=None)
        shut_by_hand(ours)
        followups.tick(NOW + timedelta(minutes=60))
        assert not Impairment.objects.exists()
        followups.tick(NOW + timedelta(minutes=61))
        assert Impairment.objects.exists()
