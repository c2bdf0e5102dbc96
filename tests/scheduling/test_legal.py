"""Overdue tests as findings where an authority's rules say so, and access refused again and again.

Classes of Florida: Rules 69A-46 as given in a trade summary of 2016.
"""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from buildings.models import Jurisdiction
from contractors.refusal import FieldRefused
from inspections import findings, visits
from inspections.models import Finding, Visit
from scheduling import due, escalation, followups, legal
from scheduling.models import FollowUp, Occurrence, OverdueClass, StandingInterval

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def overdue(ours, activity, frequency, latest=date(2026, 10, 1), subject="wet_sprinklers"):
    row = Occurrence.objects.first()
    row.pk = None
    row._state.adding = True
    row.id = type(ours.building)().pk
    row.subject_kind, row.subject_id = "device", ours.devices[subject].pk
    row.activity, row.frequency, row.by_owner, row.known = activity, frequency, False, True
    row.due_on = row.latest_on = latest
    row.save()
    return row


@pytest.fixture
def late(ours):
    """One overdue sampling, one overdue five-year test, one overdue five-year inspection."""
    with ours.scope():
        due.derive(ours.building)
        Finding.objects.all().delete()
        Occurrence.objects.filter(latest_on__lt=TODAY).update(latest_on=TODAY)
        Occurrence.objects.filter(subject_id=ours.devices["wet_sprinklers"].pk).delete()
        Occurrence.objects.filter(subject_id=ours.devices["wet_gauge"].pk).delete()
        overdue(ours, "sprinkler-test-standard-50y", "P10Y")
        overdue(ours, "sprinkler-visual-concealed-accessible", "P5Y")
        five = next(
            a
            for a in legal.catalogue().activities.values()
            if a.kind == "test" and a.component == "gauge" and a.regime == "nfpa25"
        )
        overdue(ours, five.id, "P5Y", subject="wet_gauge")
    return ours


def proposed():
    rows = Finding.objects.filter(deficiency="overdue-test").order_by("grade")
    return [(row.grade, row.state) for row in rows]


def test_where_nobody_says_so_an_overdue_test_is_no_finding(late):
    with late.scope():
        followups.derive(late.building, NOW)
        assert proposed() == []


def test_in_florida_missed_samples_are_critical_and_missed_five_year_tests_noncritical(late):
    with late.scope():
        Jurisdiction.objects.filter(pk=late.jurisdiction.pk).update(country="US", region="FL")
        late.building.jurisdiction.refresh_from_db()
        followups.derive(late.building, NOW)
        assert proposed() == [("critical", "proposed"), ("noncritical", "proposed")]
        texts = Finding.objects.values_list("text", flat=True)
        assert all("Test overdue since 2026-10-01" in text for text in texts)
        followups.derive(late.building, NOW)
        assert len(proposed()) == 2
        assert not StandingInterval.objects.filter(word="finding_open").exists()
        assert not FollowUp.objects.exists()


def test_done_meanwhile_the_proposal_is_dropped_and_a_dropped_one_stays_away(late):
    with late.scope():
        Jurisdiction.objects.filter(pk=late.jurisdiction.pk).update(region="FL")
        late.building.jurisdiction.refresh_from_db()
        followups.derive(late.building, NOW)
        critical = Finding.objects.get(grade="critical")
        findings.settle_proposed(critical, accept=False, reason="replaced", by=late.manager)
        Occurrence.objects.filter(frequency="P5Y").update(latest_on=date(2031, 1, 1))
        followups.derive(late.building, NOW)
        assert proposed() == [("critical", "dropped"), ("noncritical", "dropped")]


def test_an_authoritys_own_rule_counts_from_its_day_and_can_be_taken_away(late):
    law = {
        "jurisdiction": late.jurisdiction,
        "what": "P5Y",
        "by": late.manager,
        "basis": "law",
        "source": "Sample County Code 12-9",
    }
    with late.scope():
        legal.set_overdue_class(grade="critical", valid_from=date(2026, 11, 26), **law)
        followups.derive(late.building, NOW)
        assert proposed() == []
        legal.set_overdue_class(grade="critical", valid_from=TODAY, **law)
        followups.derive(late.building, NOW)
        assert proposed() == [("critical", "proposed")]
        legal.set_overdue_class(grade="", valid_from=TODAY, **law)
        followups.derive(late.building, NOW)
        assert proposed() == [("critical", "dropped")]


def test_an_accepted_one_is_a_finding_like_any_other(late):
    with late.scope():
        Jurisdiction.objects.filter(pk=late.jurisdiction.pk).update(region="FL")
        late.building.jurisdiction.refresh_from_db()
        followups.derive(late.building, NOW)
        critical = Finding.objects.get(grade="critical")
        findings.settle_proposed(critical, accept=True, reason="", by=late.manager)
        followups.derive(late.building, NOW)
        kinds = set(FollowUp.objects.filter(finding=critical).values_list("kind", flat=True))
        assert kinds == {"tell_owner", "respond"}


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("what", {"what": "P7D"}),
        ("grade", {"grade": "impairment"}),
        ("basis", {"basis": "practice"}),
        ("source", {"source": ""}),
    ],
)
def test_a_class_that_no_law_gives_is_refused(ours, field, values):
    rule = {
        "jurisdiction": ours.jurisdiction,
        "what": "P5Y",
        "grade": "critical",
        "valid_from": TODAY,
        "basis": "law",
        "source": "Code 1",
        "by": ours.manager,
    }
    with ours.scope():
        with pytest.raises(FieldRefused) as refused:
            legal.set_overdue_class(**(rule | values))
        assert refused.value.facts["field"] == field
        assert not OverdueClass.objects.exists()


def refused_once(ours):
    visit = Visit.objects.create(building=ours.building, planned_on=TODAY)
    visits.cancel(visit, reason="no_access", text="Gate locked", by=ours.manager)


def evidence():
    return FollowUp.objects.filter(kind="no_access", done_on=None).first()


def test_three_attempts_refused_in_a_row_are_evidence(ours, clock):
    with ours.scope():
        for number in range(3):
            clock.move_to(NOW + timedelta(days=number))
            assert evidence() is None
            refused_once(ours)
            followups.derive(ours.building, NOW + timedelta(days=number))
        row = evidence()
        assert "3 attempts refused" in row.basis
        assert "2026-11-25, 2026-11-26, 2026-11-27" in row.basis
        refused_once(ours)
        followups.derive(ours.building, NOW + timedelta(days=2))
        assert "4 attempts refused" in evidence().basis
        assert FollowUp.objects.filter(kind="no_access").count() == 1


def test_other_reasons_do_not_count_and_a_settled_one_comes_back_on_the_next_refusal(ours, clock):
    with ours.scope():
        for _turn in range(3):
            visit = Visit.objects.create(building=ours.building, planned_on=TODAY)
            visits.cancel(visit, reason="weather", text="Ice", by=ours.technician)
        followups.derive(ours.building, NOW)
        assert evidence() is None
        for _turn in range(3):
            refused_once(ours)
        followups.derive(ours.building, NOW)
        escalation.settle(evidence(), how="Fire marshal by telephone", by=ours.office)
        followups.derive(ours.building, NOW)
        assert evidence() is None
        clock.shift(timedelta(days=1))
        refused_once(ours)
        followups.derive(ours.building, NOW + timedelta(days=1))
        assert "4 attempts" in evidence().basis


def test_somebody_who_got_in_ends_the_count(ours, clock):
    with ours.scope():
        for _turn in range(3):
            refused_once(ours)
        followups.derive(ours.building, NOW)
        assert evidence() is not None
        later = NOW + timedelta(hours=1)
        Visit.objects.create(building=ours.building, state="handed_in", handed_in_at=later)
        followups.derive(ours.building, later)
        assert evidence() is None
