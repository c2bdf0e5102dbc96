"""Leave to rest, being out of service, regimes beside the standard, and settings of due days."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from buildings.models import Agreement, Suspension
from contractors.refusal import FieldRefused
from inspections import findings
from scheduling import bundle, due, programme, standing, terms
from scheduling.models import Occurrence, Standing
from tests.scheduling.recording import done

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
SWITCH = "waterflow-vane-test"


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False):
        yield


def line(ours, subject, activity=SWITCH, **asked):
    found = programme.programme(ours.building, **asked)
    return next(x for x in found.lines if (x.subject.id, x.activity) == (subject.pk, activity))


def suspend(ours, subject, **told):
    given = {
        "from_on": date(2026, 6, 1),
        "authority": "the fire marshal",
        "reason": "Wing closed for works",
        "by": ours.manager,
    }
    return terms.suspend(subject, **given | told)


def test_a_system_at_rest_owes_nothing_and_its_devices_rest_with_it(ours):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        done(ours, switch, SWITCH, date(2026, 3, 10))
        suspend(ours, ours.wet)
        found = line(ours, switch)
        assert (found.status, found.plannable) == ("suspended", False)
        assert "the fire marshal" in found.why.suspended
        assert "Wing closed for works" in found.why.words[0]
        due.derive(ours.building, NOW)
        assert not Occurrence.objects.filter(subject_id=switch.pk).exists()
        assert Occurrence.objects.filter(system=ours.preaction).exists()


def test_what_fell_due_at_rest_is_owed_on_the_day_of_return_and_says_so(ours):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        done(ours, switch, SWITCH, date(2026, 3, 10))
        rest = suspend(ours, ours.wet)
        terms.resume(rest, back_on=date(2026, 11, 20), by=ours.manager)
        found = line(ours, switch)
        assert (found.due, found.latest) == (date(2026, 11, 20), date(2026, 11, 20))
        assert found.status == "overdue"
        assert "Out of service from 2026-06-01 to 2026-11-20" in found.why.words[0]


def test_what_fell_due_before_the_rest_stays_overdue_since_then(ours):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        done(ours, switch, SWITCH, date(2025, 3, 10))
        rest = suspend(ours, ours.wet)
        terms.resume(rest, back_on=date(2026, 11, 20), by=ours.manager)
        assert line(ours, switch).latest < date(2026, 6, 1)


def test_the_standing_of_the_past_stays_when_a_building_is_suspended(ours):
    with ours.scope():
        due.derive(ours.building, NOW)
        before = standing.standing(ours.building, date(2026, 5, 1)).word
        assert before == Standing.OVERDUE
        suspend(ours, ours.building)
        assert due.derive(ours.building, NOW + timedelta(minutes=1)) == 0
        assert standing.standing(ours.building, date(2026, 5, 1)).word == before
        at_rest = standing.standing(ours.building, TODAY)
        assert at_rest.word == Standing.IN_ORDER
        assert "the fire marshal" in at_rest.reasons[0]["suspended"]


def test_a_rest_written_in_error_never_held_but_was_known_then(ours):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        rest = suspend(ours, ours.wet)
        with time_machine.travel(NOW + timedelta(hours=2), tick=False):
            terms.withdraw(rest, by=ours.manager)
            assert line(ours, switch).status != "suspended"
            then = line(ours, switch, on=TODAY, known_at=NOW + timedelta(hours=1))
            assert then.status == "suspended"
        assert Suspension.objects.count() == 2


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"authority": " "}, "authority"),
        ({"reason": ""}, "reason"),
        ({"back_on": date(2026, 6, 1)}, "back_on"),
    ],
)
def test_leave_needs_who_gave_it_why_and_an_end_after_its_beginning(ours, told, field):
    with ours.scope(), pytest.raises(FieldRefused) as refused:
        suspend(ours, ours.wet, **told)
    assert refused.value.facts["field"] == field


def test_at_an_impaired_system_work_stays_due_and_is_not_planned(ours):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        done(ours, switch, SWITCH, date(2026, 3, 10))
        findings.start_impairment(
            ours.building,
            subject=("system", ours.wet.pk),
            extent="Riser valve frozen shut",
            nature="emergency",
            started_at=NOW - timedelta(days=1),
            by=ours.manager,
        )
        found = line(ours, switch)
        assert found.status == "overdue"
        assert not found.plannable
        assert "Riser valve frozen shut" in found.why.words[0]
        due.derive(ours.building, NOW)
        row = Occurrence.objects.get(subject_id=switch.pk, activity=SWITCH)
        assert row.reason["impaired"] == "Riser valve frozen shut"
        assert not Occurrence.objects.filter(bundle.owed(TODAY), pk=row.pk).exists()


def test_a_hospitals_narrower_window_holds_beside_the_standards(ours):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        done(ours, switch, SWITCH, date(2026, 9, 10))
        before = line(ours, switch)
        terms.ask_for(
            ours.building,
            "joint_commission",
            valid_from=date(2026, 1, 1),
            authority="the hospital's accreditor",
            by=ours.manager,
        )
        found = line(ours, switch)
        assert (before.earliest, found.earliest) == (date(2027, 1, 10), date(2027, 2, 18))
        assert found.latest == date(2027, 3, 30)
        assert [one.name for one in found.why.regimes] == ["nfpa25", "the hospital's accreditor"]
        assert "the hospital's accreditor" in found.why.words[0]


def test_where_regimes_leave_no_day_in_common_the_earliest_latest_day_rules(ours):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        done(ours, switch, SWITCH, date(2026, 8, 10))
        terms.ask_for(ours.building, "as_1851", valid_from=date(2026, 1, 1), by=ours.manager)
        found = line(ours, switch)
        standard, other = date(2026, 12, 10), found.latest
        assert other < standard
        assert found.why.clash == (
            f"as_1851 wants it by {other}; nfpa25 would not count it before {standard}"
        )
        assert found.why.clash in found.why.words[0]
        due.derive(ours.building, NOW)
        row = Occurrence.objects.get(subject_id=switch.pk, activity=SWITCH)
        assert (row.latest_on, row.reason["clash"]) == (other, found.why.clash)


def test_a_regime_without_windows_is_refused_by_name(ours):
    with ours.scope(), pytest.raises(FieldRefused) as refused:
        terms.ask_for(ours.building, "no_such", valid_from=TODAY, by=ours.manager)
    assert refused.value.facts["field"] == "regime"


def test_due_days_follow_the_setting_of_the_agreement_before_the_contractors(ours):
    with ours.scope():
        agreement = Agreement.objects.order_by("valid_from").last()
        Agreement.objects.filter(pk=agreement.pk).update(anchor_month=5)
        switch = ours.devices["wet_flow"]
        done(ours, switch, SWITCH, date(2026, 9, 10))
        by, begins = ours.manager, date(2026, 1, 1)
        mixed = line(ours, switch)
        terms.time_by(valid_from=begins, anchoring="last performed", by=by)
        last = line(ours, switch)
        terms.time_by(valid_from=begins, anchoring="fixed", agreement=agreement, by=by)
        fixed = line(ours, switch)
        assert last.due == date(2027, 3, 10)
        assert mixed.due == fixed.due == date(2027, 5, 1)


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"anchoring": "whenever"}, "anchoring"),
        ({"week_starts": 7}, "week_starts"),
        ({"frost_from": "11-31", "frost_until": "03-31"}, "frost_from"),
        ({"frost_from": "11-15"}, "frost_until"),
    ],
)
def test_a_setting_that_is_none_is_refused_by_name(ours, told, field):
    with ours.scope(), pytest.raises(FieldRefused) as refused:
        terms.time_by(valid_from=TODAY, by=ours.manager, **told)
    assert refused.value.facts["field"] == field
