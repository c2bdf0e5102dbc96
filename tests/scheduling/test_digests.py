"""Gathered mail: one a person and day, with what is new, due and overdue, and none with nothing."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
import time_machine

from contractors import notices, outbox
from contractors.models import Notice, OutboxMessage
from inspections import findings
from inspections.models import Checkpoint
from scheduling import digests, due, followups
from scheduling.models import FollowUp, Occurrence

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def calm(ours):
    """Nothing is due and nothing is overdue at our building."""
    with ours.scope():
        due.derive(ours.building)
        Occurrence.objects.all().delete()
    return ours


def found(ours, grade="critical", text="Paddle sticks"):
    row = findings.add(
        ours.building,
        subject=("device", ours.devices["wet_flow"].pk),
        grade=grade,
        text=text,
        by=ours.technician,
    )
    followups.derive(ours.building, NOW)
    return row


def written(ours, now):
    """Tick, do the jobs asked for, and return the gathered mails of that day."""
    with ours.scope():
        digests.tick(now)
    for job in OutboxMessage.objects.filter(kind="digest.write", state="waiting"):
        assert outbox.run(job.pk)
    with ours.scope():
        return list(Notice.objects.filter(kind="digest").order_by("made_at"))


def test_whoever_chose_each_message_gets_no_gathered_mail(calm):
    with calm.scope():
        found(calm)
    assert written(calm, NOW) == []
    assert not OutboxMessage.objects.filter(kind="digest.write").exists()


def test_with_nothing_to_say_no_mail_is_written(calm):
    notices.choose(calm.manager, "daily")
    assert written(calm, NOW) == []
    assert OutboxMessage.objects.get(kind="digest.write").state == "done"


def test_a_gathered_mail_has_what_is_new_due_and_overdue_once_a_day(calm, clock):
    for door in (calm.manager, calm.access):
        notices.choose(door, "daily")
    with calm.scope():
        found(calm, text="Old: seat leaks")
        FollowUp.objects.filter(kind="respond").update(due_on=date(2026, 11, 20))
        found(calm, text="New: paddle sticks")
        FollowUp.objects.filter(finding__text__startswith="New", kind="respond").update(
            due_on=date(2026, 11, 30)
        )
        followups.tick(NOW)
    mails = written(calm, NOW)
    assert {one.recipient for one in mails} == {calm.manager.user.email, calm.access.user.email}
    theirs = next(one for one in mails if one.recipient == calm.access.user.email)
    new, ahead, late = theirs.body.split("\n\n")[:3]
    assert new.splitlines()[0] == "New"
    assert "Critical deficiency at Old Mill Offices" in new
    assert ahead.splitlines()[0] == "Due in the next seven days"
    assert "New: paddle sticks" in ahead
    assert late.splitlines()[0] == "Past its day"
    assert "Old: seat leaks" in late
    with calm.scope():
        gathered = Notice.objects.filter(recipient=calm.access.user.email, state="gathered")
        assert set(gathered.values_list("told_in", flat=True)) == {theirs.pk}
    assert len(written(calm, NOW + timedelta(minutes=1))) == 2


def test_what_was_told_as_new_is_not_new_the_next_day(calm, clock):
    notices.choose(calm.access, "daily")
    with calm.scope():
        found(calm)
        FollowUp.objects.filter(kind="respond").update(due_on=date(2027, 6, 1))
        followups.tick(NOW)
    assert len(written(calm, NOW)) == 1
    clock.shift(timedelta(days=1))
    assert len(written(calm, NOW + timedelta(days=1))) == 1


def test_it_goes_at_the_readers_hour_and_weekly_on_monday(calm, clock):
    notices.choose(calm.access, "weekly")
    with calm.scope():
        found(calm)
        followups.tick(NOW)
    # 30 November is a Monday; seven in the morning at the building is noon UTC.
    for moment, count in (
        (datetime(2026, 11, 29, 15, tzinfo=UTC), 0),
        (datetime(2026, 11, 30, 11, 59, tzinfo=UTC), 0),
        (datetime(2026, 11, 30, 12, tzinfo=UTC), 1),
        (datetime(2026, 12, 1, 12, tzinfo=UTC), 1),
    ):
        clock.move_to(moment)
        assert len(written(calm, moment)) == count


def test_required_work_past_its_latest_day_is_counted_by_building(ours):
    notices.choose(ours.manager, "daily")
    with ours.scope():
        due.derive(ours.building)
        late = Occurrence.objects.filter(latest_on__lt=date(2026, 11, 25), by_owner=False)
        late = late.filter(known=True).count()
        assert late
    mail = written(ours, NOW)[0]
    assert f"Old Mill Offices: {late} required activities are past" in mail.body


def test_a_technician_reads_of_their_own_findings_only(calm):
    notices.choose(calm.technician, "daily")
    with calm.scope():
        found(calm)
        FollowUp.objects.filter(kind="respond").update(due_on=date(2026, 11, 20))
    assert written(calm, NOW) == []


def test_an_owner_reads_of_their_own_buildings_only(calm, theirs):
    notices.choose(theirs.access, "daily")
    with theirs.scope():
        due.derive(theirs.building)
    with calm.scope():
        found(calm, text="Ours alone")
        FollowUp.objects.filter(kind="respond").update(due_on=date(2026, 11, 20))
    assert written(calm, NOW) == []
    bodies = [one.body for one in written(theirs, NOW)]
    assert not any("Ours alone" in body for body in bodies)


def test_the_check_sum_of_the_record_goes_along(calm):
    notices.choose(calm.access, "daily")
    with calm.scope():
        found(calm)
        followups.tick(NOW)
        Checkpoint.objects.create(
            day=date(2026, 11, 24), streams=1, root="a" * 64, chained="b" * 64, made_at=NOW
        )
    assert "b" * 64 in written(calm, NOW)[0].body


def test_the_hour_follows_the_contractors_setting(calm):
    with calm.scope():
        notices.set_hours(
            quiet_from=time(20),
            quiet_until=time(7),
            digest_at=time(16),
            owner_mail="daily",
            by=calm.manager,
        )
        found(calm)
        followups.tick(NOW)
    assert written(calm, NOW) == []
    assert len(written(calm, NOW + timedelta(hours=6))) == 1
