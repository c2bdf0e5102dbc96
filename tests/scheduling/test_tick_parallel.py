"""Two schedulers by mistake: the same tick at the same moment, each with its own connection."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.core import mail

from contractors import notices, outbox
from contractors.models import Membership, Notice, OutboxMessage
from inspections import findings
from inspections.models import Event, Impairment
from scheduling import due, tasks
from scheduling.models import FollowUp
from tests import scene
from tests.parallel import at_once

pytestmark = [pytest.mark.usefixtures("committed_database")]
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


@pytest.fixture
def ours(committed_database):
    with time_machine.travel(NOW, tick=False):
        made = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
        notices.choose(made.office, "daily")
        with made.scope():
            for number in range(6):
                findings.add(
                    made.building,
                    subject=("device", made.devices["wet_flow"].pk),
                    grade="impairment" if number == 0 else "critical",
                    text=f"Paddle sticks, {number}",
                    by=made.technician,
                )
            due.derive(made.building, NOW)
    return made


def test_two_ticks_at_once_tell_everybody_once(ours, settings):
    late = NOW + timedelta(days=31)
    with time_machine.travel(late, tick=False):
        at_once(*[tasks.tick] * 4)
        with ours.scope():
            keys = list(Notice.objects.values_list("key", flat=True))
            asked = FollowUp.objects.filter(kind="authority").count()
            jobs = OutboxMessage.objects.filter(kind="notice.send", contractor=ours.contractor)
            waiting = Notice.objects.filter(state="waiting").count()
            assert jobs.count() == waiting
        # Six findings, each told to the owner's person and the contact; then the ladder: five
        # deficiencies a day past theirs to manager, owner and contact, the impairment likewise.
        opened = [key for key in keys if ":told:" in key]
        assert len(opened) == 6 * 2
        assert len([key for key in keys if key.startswith("impairment:")]) == 3
        reminded = [key for key in keys if ":0:owner+manager.0:" in key]
        assert len(reminded) == 5 * 3
        assert len(keys) == len(set(keys))
        assert asked == 1
        digests = OutboxMessage.objects.filter(kind="digest.write")
        assert digests.count() == 1


def test_one_job_run_by_four_workers_at_once_sends_one_mail(ours, settings):
    settings.HAS_MAIL_SERVER = True
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    mail.outbox = []
    with time_machine.travel(NOW, tick=False):
        at_once(tasks.tick, tasks.tick)
        jobs = list(OutboxMessage.objects.filter(kind="notice.send").values_list("pk", flat=True))
        assert len(jobs) > 8
        for job in jobs[:6]:
            done = at_once(*[lambda job=job: outbox.run(job)] * 4)
            assert sorted(done) == [False, False, False, True]
        ids = [one.extra_headers["Message-ID"] for one in mail.outbox]
        assert len(ids) == 6
        assert len(set(ids)) == 6


def test_two_derivations_at_once_make_each_follow_up_once(ours):
    with time_machine.travel(NOW, tick=False), ours.scope():
        FollowUp.objects.all().delete()

    def derive():
        with ours.scope():
            due.derive(ours.building, NOW)

    with time_machine.travel(NOW, tick=False):
        at_once(derive, derive)
        with ours.scope():
            kinds = list(FollowUp.objects.values_list("kind", flat=True))
            assert sorted(kinds) == ["proof", *["respond"] * 6, *["tell_owner"] * 6]
            assert Event.objects.filter(kind="impairment.start").count() == 1
            assert Impairment.objects.count() == 1
            assert Membership.objects.filter(mail="daily").count() == 1
