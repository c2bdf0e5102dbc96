"""What may be answered "as last time" for many at once: the server says so, whatever is sent."""

from datetime import date

import pytest

from inspections import rules
from inspections.catalogue_files import catalogue
from inspections.closing import may_be_bulk, taken_readings
from inspections.models import Quarantined, Result
from inspections.own_work import OwnWork
from tests.inspections import tablets

pytestmark = pytest.mark.django_db
ONE_BY_ONE = ("control_valve", "gauge", "fdc")


def inspection(component):
    """Return the first inspection of a kind of item."""
    return next(
        one.id
        for one in catalogue().activities.values()
        if (one.component, one.kind) == (component, "inspection")
    )


def a_test_with_readings():
    return next(
        one.id
        for one in catalogue().activities.values()
        if one.kind == "test" and taken_readings(one)
    )


def together(tablet, ours, visit, activity, word, **more):
    payload = {"subject": tablets.subject(ours), "activity": activity, "answer": word, "bulk": True}
    return tablet.entry(visit.pk, "item.set", payload | more)


def refused(ours, tablet, visit, activity):
    """Say whether both good answers are refused in bulk, and kept aside."""
    entries = [
        together(tablet, ours, visit, activity, word) for word in ("seen_in_order", "not_fitted")
    ]
    results = tablet.push(*entries)
    with ours.scope():
        kept = set(map(str, Quarantined.objects.values_list("event_id", flat=True)))
        assert not Result.objects.filter(visit=visit).exists()
    return all(
        one["status"] == "rejected" and "payload.bulk" in one["reason"] and one["id"] in kept
        for one in results
    )


@pytest.mark.parametrize("component", ONE_BY_ONE)
def test_valve_positions_gauges_and_connections_are_answered_one_by_one(
    ours, tablet, visit, component
):
    assert refused(ours, tablet, visit, inspection(component))


def test_a_test_with_readings_is_answered_alone(ours, tablet, visit):
    assert refused(ours, tablet, visit, a_test_with_readings())


def test_a_test_of_our_own_is_answered_alone(ours, tablet, visit):
    work = OwnWork(
        code="own-cylinder-pressure",
        task="Read the pressure of the nitrogen cylinders",
        kind="test",
        subjects=["riser"],
        frequency="P1M",
        applies='system.kind == "wet"',
        readings={"cylinder_pressure": "pressure"},
        criterion='cylinder_pressure >= q(500,"psi")',
        caution="A cylinder that falls can kill: chain it before the cap comes off.",
        instruments=["calibrated gauge"],
        minutes=5,
    )
    with ours.scope():
        rules.add_own(work, source="agreement", by=ours.manager, from_on=date(2026, 11, 25))
    assert refused(ours, tablet, visit, work.code)


def test_what_there_never_was_is_not_answered_together(ours, tablet, visit):
    assert refused(ours, tablet, visit, "no-such-activity")


def test_what_only_is_looked_at_may_be_answered_together(ours, tablet, visit):
    activity = next(one.id for one in catalogue().activities.values() if may_be_bulk(one))
    assert tablet.statuses(together(tablet, ours, visit, activity, "seen_in_order")) == ["applied"]
    with ours.scope():
        assert Result.objects.get(visit=visit).in_bulk


def test_what_nobody_got_to_may_be_said_of_all_that_is_left(ours, tablet, visit):
    left = together(
        tablet, ours, visit, inspection("control_valve"), "could_not", reason="no time today"
    )
    assert tablet.statuses(left) == ["applied"]


def test_the_interface_refuses_it_too(ours, api, visit):
    payload = {
        "subject": tablets.subject(ours),
        "activity": inspection("gauge"),
        "answer": "not_fitted",
        "bulk": True,
    }
    given = [{"kind": "item.set", "payload": payload}]
    answer = api(ours.technician).post(f"/api/v1/visits/{visit.pk}/entries/", given, format="json")
    assert answer.status_code == 400, answer.data
    assert "payload.bulk" in str(answer.data)
