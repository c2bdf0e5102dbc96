"""Messages: quiet hours, what each person chose, refusals, and the same Message-ID on a retry."""

import smtplib
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend

from contractors import notices, outbox
from contractors.models import AuditEntry, Contractor, Notice, OutboxMessage
from contractors.refusal import FieldRefused

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
NEW_YORK, CHATHAM = ZoneInfo("America/New_York"), ZoneInfo("Pacific/Chatham")
EVENING, MORNING = time(20), time(7)


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


class Server(EmailBackend):
    """A mail server that refuses as a test tells it, and keeps what it takes."""

    refusals: list = []

    def send_messages(self, messages):
        if self.refusals:
            raise self.refusals.pop(0)
        return super().send_messages(messages)


@pytest.fixture
def server(settings):
    settings.HAS_MAIL_SERVER = True
    settings.EMAIL_BACKEND = f"{__name__}.Server"
    Server.refusals = []
    mail.outbox = []
    return Server


def sent(key="k", to="desk@mill.example", **more):
    return notices.send(key, kind="test", to=to, subject="Subject", body="Body", **more)


def job_of(notice):
    return OutboxMessage.objects.get(kind="notice.send", key=str(notice.pk))


def utc(text):
    return datetime.fromisoformat(f"{text}+00:00")


@pytest.mark.parametrize(
    ("now", "zone", "later"),
    [
        ("2026-11-25T15:00", NEW_YORK, "2026-11-25T15:00"),
        ("2026-11-26T01:00", NEW_YORK, "2026-11-26T12:00"),
        ("2026-11-26T11:59", NEW_YORK, "2026-11-26T12:00"),
        ("2026-11-26T12:00", NEW_YORK, "2026-11-26T12:00"),
        ("2026-11-25T15:00", CHATHAM, "2026-11-25T17:15"),
        # The night of 8 March is an hour shorter, that of 1 November an hour longer.
        ("2026-03-08T02:00", NEW_YORK, "2026-03-08T11:00"),
        ("2026-11-01T01:00", NEW_YORK, "2026-11-01T12:00"),
    ],
)
def test_quiet_hours_end_in_the_morning_of_the_readers_place(now, zone, later):
    assert notices.quiet_end(utc(now), zone, EVENING, MORNING) == utc(later)


def test_an_end_that_the_clock_skips_moves_past_the_gap():
    now = datetime(2026, 3, 8, 6, tzinfo=UTC)
    assert notices.quiet_end(now, NEW_YORK, EVENING, time(2, 30)) == datetime(
        2026, 3, 8, 7, 30, tzinfo=UTC
    )


def test_quiet_hours_within_a_day_and_none_at_all():
    noon = datetime(2026, 11, 25, 17, 30, tzinfo=UTC)
    assert notices.quiet_end(noon, NEW_YORK, time(12), time(13)) == noon + timedelta(minutes=30)
    assert notices.quiet_end(noon, NEW_YORK, time(12), time(12)) == noon


def test_an_ordinary_message_waits_till_morning_and_an_impairment_does_not(ours, clock):
    clock.move_to(datetime(2026, 11, 26, 3, tzinfo=UTC))
    with ours.scope():
        ordinary, urgent = sent("a"), sent("b", urgent=True)
        assert ordinary.not_before == datetime(2026, 11, 26, 12, tzinfo=UTC)
        assert job_of(ordinary).not_before == ordinary.not_before
        assert urgent.not_before is None
        assert job_of(urgent).not_before == datetime(2026, 11, 26, 3, tzinfo=UTC)


@pytest.mark.parametrize(
    ("choice", "state"),
    [("each", "waiting"), ("daily", "gathered"), ("weekly", "gathered"), ("none", "unwanted")],
)
def test_ordinary_mail_comes_as_chosen_and_impairments_whatever_is_chosen(
    ours, clock, choice, state
):
    notices.choose(ours.manager, choice)
    email = ours.manager.user.email
    with ours.scope():
        assert sent("a", to=email).state == state
        assert sent("b", to=email, urgent=True).state == "waiting"
        late = sent("c", to=email, gather=False).state
        assert late == ("unwanted" if choice == "none" else "waiting")


def test_an_owner_who_chose_nothing_gets_mail_as_the_contractor_set_it(ours, clock):
    email = ours.access.user.email
    with ours.scope():
        assert sent("a", to=email).state == "waiting"
        hours = {"quiet_from": EVENING, "quiet_until": MORNING, "digest_at": MORNING}
        notices.set_hours(**hours, owner_mail="weekly", by=ours.manager)
        assert sent("b", to=email).state == "gathered"
        notices.choose(ours.access, "each")
        assert sent("c", to=email).state == "waiting"


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("quiet_until", {"quiet_until": time(11)}),
        ("digest_at", {"digest_at": time(6, 59)}),
        ("owner_mail", {"owner_mail": "none"}),
        ("owner_mail", {"owner_mail": "hourly"}),
    ],
)
def test_hours_that_make_no_sense_are_refused_by_name(ours, field, values):
    given = {
        "quiet_from": EVENING,
        "quiet_until": MORNING,
        "digest_at": time(8),
        "owner_mail": "each",
    }
    with ours.scope(), pytest.raises(FieldRefused) as refused:
        notices.set_hours(**(given | values), by=ours.manager)
    assert refused.value.facts["field"] == field
    assert Contractor.objects.get(pk=ours.contractor.pk).owner_mail == "each"


def test_nobody_chooses_a_rhythm_that_is_none(ours):
    with pytest.raises(FieldRefused):
        notices.choose(ours.manager, "")
    with pytest.raises(FieldRefused):
        notices.choose(ours.access, "sometimes")


def test_a_mail_tried_again_has_the_same_message_id(ours, clock, server):
    with ours.scope():
        notice = sent()
    server.refusals = [smtplib.SMTPServerDisconnected("gone")]
    job = OutboxMessage.objects.get(kind="notice.send")
    assert outbox.run(job.pk) is False
    clock.shift(timedelta(minutes=2))
    assert outbox.run(job.pk) is True
    with ours.scope():
        notice.refresh_from_db()
        assert notice.state == "sent"
        # The worker died after the mail and before the mark: it goes again, and is seen as one.
        Notice.objects.filter(pk=notice.pk).update(state="waiting")
        outbox.add("notice.send", str(notice.pk), again=True, notice=notice.pk)
    assert outbox.run(job.pk) is True
    ids = [one.extra_headers["Message-ID"] for one in mail.outbox]
    assert ids == [notice.message_id] * 2
    assert ids[0].startswith("<")
    assert ids[0].endswith(">")


def test_two_contractors_have_different_message_ids_for_one_key(ours, theirs):
    with ours.scope():
        first = sent().message_id
    with theirs.scope():
        assert sent().message_id != first


def test_a_refusal_for_good_is_not_tried_again(ours, clock, server):
    with ours.scope():
        notice = sent(urgent=True)
    refused = {"desk@mill.example": (550, b"no such mailbox")}
    server.refusals = [smtplib.SMTPRecipientsRefused(refused)]
    assert outbox.run(OutboxMessage.objects.get().pk) is True
    with ours.scope():
        notice.refresh_from_db()
        assert (notice.state, notice.error) == ("failed", "550 no such mailbox")
        assert list(notices.undelivered(NOW)) == [notice]


def test_a_mail_server_that_stays_away_fails_after_the_last_try(ours, clock, server):
    with ours.scope():
        notice = sent()
    job = OutboxMessage.objects.get()
    server.refusals = [ConnectionRefusedError("down")] * 3
    done = []
    for _turn in range(3):
        done.append(outbox.run(job.pk))
        clock.shift(timedelta(hours=1))
    assert done == [False, False, True]
    with ours.scope():
        notice.refresh_from_db()
        assert notice.state == "failed"
        assert "ConnectionRefusedError" in notice.error


def test_a_message_about_an_impairment_that_does_not_leave_is_shown(ours, clock):
    with ours.scope():
        urgent = sent("a", urgent=True)
        sent("b")
        assert not notices.undelivered(NOW + timedelta(minutes=10))
        assert list(notices.undelivered(NOW + timedelta(minutes=11))) == [urgent]


def test_a_message_that_came_back_is_shown_until_a_person_passes_it_on(ours, clock):
    with ours.scope():
        notice = sent(urgent=True)
        Notice.objects.update(state="sent")
        notices.came_back(notice, why="mailbox full", by=ours.office)
        assert list(notices.undelivered(NOW)) == [notice]
        with pytest.raises(notices.AlreadySettled):
            notices.came_back(notice, why="again", by=ours.office)
        with pytest.raises(FieldRefused):
            notices.passed_on(notice, how=" ", by=ours.office)
        notices.passed_on(notice, how="Kim Porter, by telephone", by=ours.office)
        assert not notices.undelivered(NOW)
        with pytest.raises(notices.AlreadySettled):
            notices.passed_on(notice, how="again", by=ours.office)
        told = AuditEntry.objects.order_by("id").values_list("action", "member")
        assert list(told) == [
            ("notice.bounced", ours.office.pk),
            ("notice.passed_on", ours.office.pk),
        ]


def test_line_breaks_never_reach_the_head_of_a_mail(ours, clock):
    with ours.scope():
        notice = notices.send("k", kind="t", to="a@b.example", subject="A\r\nBcc: x", body="b")
        assert notice.subject == "A Bcc: x"
