"""By when a finding is answered, and that a day once given stays."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from hypothesis import given
from hypothesis import strategies as st

from contractors.models import AuditEntry
from contractors.refusal import FieldRefused
from inspections import findings
from scheduling import due, responses
from scheduling.models import FollowUp, ResponseTime
from scheduling.responses import counted
from tests.scheduling.recording import found

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
LAW = {"basis": "law", "source": "Sample County Code 12-4"}


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def owed(finding):
    return FollowUp.objects.get(finding=finding, kind="respond")


def test_without_a_rule_the_customary_time_counts_and_says_that_it_is_custom(ours):
    with ours.scope():
        by_class = {
            grade: responses.Times(ours.jurisdiction.pk).owed(grade, "", TODAY)
            for grade in ("impairment", "critical", "noncritical")
        }
        # Defaults of the catalogue's classes: common practice, no source.
        assert {g: (one.by - TODAY).days for g, one in by_class.items()} == {
            "impairment": 0,
            "critical": 30,
            "noncritical": 90,
        }
        assert all(one.custom and "no source" in one.why for one in by_class.values())
        assert responses.Times(None).owed("observation", "", TODAY) is None


def test_the_stricter_of_the_authoritys_and_our_own_rule_counts(ours):
    with ours.scope():
        common = {"grade": "critical", "valid_from": TODAY, "by": ours.manager}
        responses.set_time(days=20, **common)
        assert owed(found(ours)).due_on == date(2026, 12, 15)
        responses.set_time(days=10, jurisdiction=ours.jurisdiction, **LAW, **common)
        row = owed(found(ours))
        assert row.due_on == date(2026, 12, 5)
        assert "Sample County Code 12-4" in row.basis
        assert "law" in row.basis
        responses.set_time(days=5, **common)
        assert owed(found(ours)).due_on == date(2026, 11, 30)


def test_a_rule_longer_than_custom_counts_where_it_was_set(ours):
    with ours.scope():
        place = {"jurisdiction": ours.jurisdiction, "grade": "critical"}
        responses.set_time(days=60, valid_from=TODAY, by=ours.manager, **place, **LAW)
        assert owed(found(ours)).due_on == date(2027, 1, 24)


def test_a_rule_of_tomorrow_does_not_count_today_and_an_empty_one_takes_away(ours):
    with ours.scope():
        common = {"grade": "critical", "by": ours.manager}
        responses.set_time(days=3, valid_from=date(2026, 11, 26), **common)
        assert owed(found(ours)).due_on == date(2026, 12, 25)
        responses.set_time(days=4, valid_from=TODAY, **common)
        assert owed(found(ours)).due_on == date(2026, 11, 29)
        responses.set_time(days=None, valid_from=TODAY, **common)
        assert owed(found(ours)).due_on == date(2026, 12, 25)


def test_a_day_once_given_stays_when_a_rule_is_changed(ours, clock):
    with ours.scope():
        finding = found(ours)
        responses.set_time(grade="critical", days=2, valid_from=TODAY, by=ours.manager)
        due.derive(ours.building)
        assert owed(finding).due_on == date(2026, 12, 25)
        clock.move_to(datetime(2026, 12, 1, 15, tzinfo=UTC))
        due.derive(ours.building)
        assert owed(finding).due_on == date(2026, 12, 25)


def test_a_new_class_gives_a_new_day_from_the_day_it_was_given(ours, clock):
    with ours.scope():
        finding = found(ours, "noncritical")
        assert owed(finding).due_on == date(2027, 2, 23)
        clock.move_to(datetime(2027, 1, 10, 15, tzinfo=UTC))
        findings.reclass(finding, grade="critical", reason="worse now", by=ours.manager)
        due.derive(ours.building)
        row = owed(finding)
        assert (row.due_on, row.grade) == (date(2027, 2, 9), "critical")
        told = FollowUp.objects.get(finding=finding, kind="tell_owner")
        assert told.state == "open"


def test_a_later_decision_re_dates_and_a_later_rule_does_not(ours):
    with ours.scope():
        finding = found(ours)
        until = date(2027, 3, 1)
        findings.decide(finding, decision="defer", on=TODAY, until=until, reason="budget")
        due.derive(ours.building)
        responses.set_time(grade="critical", days=2, valid_from=TODAY, by=ours.manager)
        due.derive(ours.building)
        assert owed(finding).due_on == until


def test_working_days_pass_over_week_ends_and_the_authoritys_holidays(ours):
    with ours.scope():
        responses.add_holiday(
            ours.jurisdiction, date(2026, 11, 26), "Thanksgiving", by=ours.manager
        )
        responses.set_time(
            grade="critical",
            days=5,
            counts="working",
            valid_from=TODAY,
            jurisdiction=ours.jurisdiction,
            by=ours.manager,
            **LAW,
        )
        # Wednesday; Thursday is the holiday: Friday, then Monday to Thursday.
        assert owed(found(ours)).due_on == date(2026, 12, 3)


@given(
    begin=st.dates(date(2020, 1, 1), date(2030, 1, 1)),
    days=st.integers(0, 60),
    offs=st.sets(st.integers(0, 90), max_size=8),
)
def test_so_many_working_days_lie_between_and_the_last_is_one(begin, days, offs):
    holidays = {date.fromordinal(begin.toordinal() + n) for n in offs}
    last = counted(begin, days, working=True, holidays=holidays)
    between = [date.fromordinal(n) for n in range(begin.toordinal() + 1, last.toordinal() + 1)]
    works = [day for day in between if day.weekday() < 5 and day not in holidays]
    assert last.weekday() < 5
    assert last not in holidays
    begun_at_rest = begin.weekday() >= 5 or begin in holidays
    assert len(works) == (days or (1 if begun_at_rest else 0))


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("days", {"days": -1}),
        ("days", {"days": 731}),
        ("grade", {"grade": "observation"}),
        ("grade", {"grade": "grave"}),
        ("counts", {"counts": "moons"}),
        ("basis", {"basis": "hearsay"}),
        ("source", {"basis": "law", "source": " "}),
        ("valid_from", {"valid_from": date(1989, 12, 31)}),
        ("valid_from", {"valid_from": date(2036, 1, 1)}),
    ],
)
def test_a_nonsense_rule_is_refused_by_name_and_nothing_is_set(ours, field, values):
    rule = {"grade": "critical", "days": 10, "valid_from": TODAY, "by": ours.manager}
    with ours.scope():
        with pytest.raises(FieldRefused) as refused:
            responses.set_time(**(rule | values))
        assert refused.value.facts["field"] == field
        assert not ResponseTime.objects.exists()


def test_who_set_a_rule_stands_in_the_audit(ours):
    with ours.scope():
        row = responses.set_time(grade="critical", days=9, valid_from=TODAY, by=ours.manager)
        entry = AuditEntry.objects.get(subject_id=row.pk)
        assert (entry.action, entry.member) == ("response_time.set", ours.manager)
        assert entry.facts == {"grade": "critical", "days": 9, "from": "2026-11-25"}
