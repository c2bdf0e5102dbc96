"""Who is told after how long: each step once, as data that people change."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from hypothesis import given
from hypothesis import strategies as st

from contractors.models import Membership, Notice
from contractors.refusal import FieldRefused
from inspections import findings
from inspections.models import Impairment
from scheduling import due, escalation, followups, ladders
from scheduling.ladders import Step, customary, next_turn, reached
from scheduling.models import FollowUp, Ladder
from tests.scheduling.recording import found

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def told(kind="finding.reminder"):
    rows = Notice.objects.filter(kind=kind).values_list("recipient", flat=True)
    return sorted(one.partition("@")[0] for one in rows)


def after(clock, **length):
    moment = NOW + timedelta(**length)
    clock.move_to(moment)
    followups.tick(moment)


steps_of_any_kind = st.lists(
    st.builds(Step, st.integers(-30, 60), st.integers(0, 20), st.just(("manager",))),
    min_size=1,
    max_size=6,
    unique_by=lambda step: step.mark,
)


@given(steps=steps_of_any_kind, days=st.lists(st.integers(-60, 120), max_size=12))
def test_looked_at_ever_so_often_each_turn_is_done_once_and_none_is_early(steps, days):
    sent, done = {}, []
    for passed in sorted(days):
        for step, turn in reached(steps, passed, sent):
            assert step.after + turn * step.every <= passed
            done.append((step.mark, turn))
            sent[step.mark] = turn
        assert not reached(steps, passed, sent)
        following = next_turn(steps, passed)
        assert following is None or following > passed
    assert len(done) == len(set(done))


def test_the_customary_ladders_say_so_and_leave_the_authority_to_a_person():
    for steps in customary().values():
        assert steps == tuple(sorted(steps))
        for step in steps:
            assert "authority" not in step.tell or "manager" in step.tell
    assert set(customary()) == {"impairment", "critical", "noncritical"}
    rows = ladders.FILE.read_text().splitlines()[1:]
    assert all("common practice, no source" in row for row in rows)


def test_each_rung_of_a_critical_deficiency_is_told_in_its_turn(ours, clock):
    Membership.objects.filter(pk=ours.office.pk).update(is_principal=True)
    with ours.scope():
        finding = found(ours)
        after(clock, days=23)
        assert told() == ["manager"]
        after(clock, days=30)
        assert told() == ["desk", "manager", "manager", "owner"]
        Notice.objects.all().delete()
        after(clock, days=37)
        assert told() == ["desk", "manager", "office", "owner"]
        assert not FollowUp.objects.filter(kind="authority").exists()
        after(clock, days=51)
        asked = FollowUp.objects.get(finding=finding, kind="authority")
        assert (asked.state, asked.due_on) == ("open", date(2027, 1, 15))
        assert "Sample County" in asked.basis


def test_a_scheduler_that_slept_for_weeks_does_not_send_what_it_missed(ours, clock):
    with ours.scope():
        found(ours)
        after(clock, days=90)
        assert told() == ["desk", "manager", "owner"]
        after(clock, days=90, minutes=5)
        assert len(told()) == 3


def test_the_service_tells_an_authority_nothing_by_itself(ours, clock):
    with ours.scope():
        found(ours, "impairment")
        after(clock, hours=5)
        impairment = Impairment.objects.get()
        asked = FollowUp.objects.get(impairment=impairment, kind="authority")
        assert asked.state == "open"
        known = {"desk", "manager", "owner"}
        assert set(told("impairment.running")) <= known
        findings.notice(
            impairment, told="authority", name="Fire marshal", how="phone", at=NOW, by=ours.manager
        )
        due.derive(ours.building)
        asked.refresh_from_db()
        assert asked.state == "done"


def test_an_authority_told_before_is_not_asked_for_again(ours, clock):
    with ours.scope():
        found(ours, "impairment")
        impairment = Impairment.objects.get()
        findings.notice(
            impairment, told="authority", name="Fire marshal", how="phone", at=NOW, by=ours.manager
        )
        after(clock, hours=5)
        assert not FollowUp.objects.filter(kind="authority").exists()


def test_what_is_left_to_repair_climbs_once_the_system_is_back_in_service(ours, clock):
    with ours.scope():
        found(ours, "impairment")
        after(clock, hours=2)
        assert told() == []
        findings.end_impairment(Impairment.objects.get(), proven=True, by=ours.manager, via="page")
        due.derive(ours.building)
        after(clock, days=2)
        assert told() == ["desk", "manager", "owner"]


def test_only_a_person_ends_what_the_authority_is_owed(ours, clock):
    with ours.scope():
        finding = found(ours)
        after(clock, days=60)
        asked = FollowUp.objects.get(finding=finding, kind="authority")
        with pytest.raises(FieldRefused):
            escalation.settle(asked, how="", by=ours.office)
        escalation.settle(asked, how="Fire marshal by telephone", by=ours.office)
        due.derive(ours.building)
        asked.refresh_from_db()
        assert (asked.state, asked.done_how) == ("done", "Fire marshal by telephone")
        respond = FollowUp.objects.get(finding=finding, kind="respond")
        with pytest.raises(escalation.NotYours):
            escalation.settle(respond, how="it is fine", by=ours.office)


def test_an_owner_who_approved_is_left_alone_and_we_are_not(ours, clock):
    with ours.scope():
        finding = found(ours)
        findings.decide(finding, decision="approve", on=TODAY)
        due.derive(ours.building)
        after(clock, days=31)
        assert told() == ["manager"]


def test_impairments_break_through_the_night_and_deficiencies_wait(ours, clock):
    night = datetime(2026, 11, 26, 4, tzinfo=UTC)
    clock.move_to(night)
    with ours.scope():
        found(ours, "critical")
        found(ours, "impairment")
        followups.tick(night)
        waits = Notice.objects.filter(kind="finding.opened", urgent=False)
        morning = datetime(2026, 11, 26, 12, tzinfo=UTC)
        assert set(waits.values_list("not_before", flat=True)) == {morning}
        urgent = Notice.objects.filter(urgent=True)
        kinds = {"finding.opened", "impairment.running"}
        assert set(urgent.values_list("kind", flat=True)) == kinds
        assert set(urgent.values_list("not_before", flat=True)) == {None}


def test_a_ladder_that_was_set_is_climbed_from_where_one_stands(ours, clock):
    with ours.scope():
        found(ours)
        after(clock, days=31)
        before = len(told())
        steps = [
            {"after": 0, "every": 7, "tell": ["manager", "owner"]},
            {"after": 1, "every": 0, "tell": ["technician", "principal"]},
        ]
        ladders.set_ladder(
            grade="critical", steps=steps, valid_from=date(2026, 12, 26), by=ours.manager
        )
        escalation.look_again("critical")
        after(clock, days=31, minutes=1)
        # The first step is done already; of the second the principal is left: the manager.
        assert len(told()) == before + 1


def test_a_ladder_of_a_later_day_is_climbed_from_that_day(ours, clock):
    with ours.scope():
        found(ours)
        steps = [{"after": -29, "every": 0, "tell": ["manager"]}]
        later = date(2026, 11, 27)
        ladders.set_ladder(grade="critical", steps=steps, valid_from=later, by=ours.manager)
        after(clock, minutes=1)
        after(clock, days=1)
        assert told() == []
        after(clock, days=2)
        assert told() == ["manager"]


ONE = {"after": 0, "every": 0, "tell": ["manager"]}


@pytest.mark.parametrize(
    ("field", "grade", "steps"),
    [
        ("grade", "observation", [ONE]),
        ("steps", "critical", []),
        ("steps", "critical", [ONE] * 13),
        ("steps", "critical", [ONE, ONE]),
        ("steps.0", "critical", ["manager"]),
        ("steps.1.after", "critical", [ONE, ONE | {"after": "soon"}]),
        ("steps.0.after", "critical", [ONE | {"after": 731}]),
        ("steps.0.after", "impairment", [ONE | {"after": -1}]),
        ("steps.0.every", "critical", [ONE | {"every": -1}]),
        ("steps.0.every", "critical", [ONE | {"every": True}]),
        ("steps.0.tell", "critical", [ONE | {"tell": []}]),
        ("steps.0.tell", "critical", [ONE | {"tell": ["mayor"]}]),
        ("steps", "impairment", [ONE | {"after": 5}]),
        ("steps", "impairment", [ONE | {"tell": ["owner"]}]),
    ],
)
def test_a_ladder_that_makes_no_sense_is_refused_by_name(ours, field, grade, steps):
    with ours.scope():
        with pytest.raises(FieldRefused) as refused:
            ladders.set_ladder(grade=grade, steps=steps, valid_from=TODAY, by=ours.manager)
        assert refused.value.facts["field"] == field
        assert not Ladder.objects.exists()
