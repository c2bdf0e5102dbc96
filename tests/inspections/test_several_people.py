"""Several people on one visit, several days, part of the systems: each keeps what it did."""

from datetime import datetime, timedelta

import pytest
from django.utils import timezone

from contractors.models import Licence, Person
from inspections import findings, pack, planned, projections, record, report
from inspections.models import Finding, Result, Visit
from tests.inspections import tablets
from tests.inspections.tablets import Tablet

pytestmark = pytest.mark.django_db


@pytest.fixture
def second(ours, api, visit):
    """The tablet of the manager, who is on the visit as the second technician."""
    with ours.scope():
        Person.objects.filter(pk=ours.people["manager"].pk).update(is_technician=True)
        visit.second = ours.people["manager"]
        visit.save()
    return Tablet(api(ours.manager), ours.manager)


def test_an_apprentice_records_and_the_licensed_one_signs(ours, tablet, second, visit):
    with ours.scope():
        Licence.objects.filter(person=ours.people["technician"]).delete()
    work = tablets.worked(tablet, ours, visit.pk)
    tablet.push(*work)
    refused = tablet.push(tablets.signed(tablet, visit.pk, work)[0])[0]
    assert refused["status"] == "rejected"
    assert "Sam Manager, who holds a licence" in refused["reason"]
    signatures = tablets.signed(second, visit.pk, work)
    handed = second.hand_in(visit.pk, [*work, *signatures])
    assert second.statuses(*signatures, handed) == ["applied"] * 3
    with ours.scope():
        (day,) = report.facts(Visit.objects.get(pk=visit.pk), 1, "code")["days"]
        assert {one["name"]: one["entries"] for one in day["people"]} == {
            "Sam Technician": 4,
            "Sam Manager": 2,
        }


def test_without_a_licensed_person_on_it_a_signature_is_taken_and_flagged(ours, tablet, visit):
    with ours.scope():
        Licence.objects.filter(person=ours.people["technician"]).delete()
    work = tablets.worked(tablet, ours, visit.pk)
    assert tablet.statuses(*work, *tablets.signed(tablet, visit.pk, work)) == ["applied"] * 6


def test_two_answers_stand_with_the_worse_one_until_a_person_settles_it(
    ours, tablet, second, visit
):
    good = tablets.answer(tablet, ours, visit.pk, "pass")
    bad = tablets.answer(second, ours, visit.pk, "fail")
    assert tablet.statuses(good) + second.statuses(bad) == ["applied", "conflict"]
    with ours.scope():
        row = Result.objects.get(visit=visit)
        assert (row.answer, row.disputed) == ("fail", True)
        told = pack.pack_of(Visit.objects.get(pk=visit.pk))
        assert [one["name"] for one in told["people"]] == ["Sam Manager", "Sam Technician"]
    settled = tablets.answer(tablet, ours, visit.pk, "pass", seen=[good["id"], bad["id"]])
    settled["payload"]["reason"] = "The drain was throttled the first time"
    assert tablet.statuses(settled) == ["applied"]
    with ours.scope():
        row.refresh_from_db()
        assert (row.answer, row.disputed) == ("pass", False)


def test_a_visit_is_handed_over_half_way_and_both_tablets_hold_it(ours, tablet, api, visit):
    with ours.scope():
        Person.objects.filter(pk=ours.people["manager"].pk).update(is_technician=True)
    to = {"to": str(ours.people["manager"].pk), "name": "Sam Manager", "text": "Riser 1 is open"}
    other = Tablet(api(ours.manager), ours.manager)
    assert other.client.get("/api/v1/sync/pull/", {"tablet": other.id}).data["visits"] == []
    opened = tablets.opened(tablet, visit.pk)
    handed = tablet.entry(visit.pk, "visit.hand_over", to)
    assert tablet.statuses(opened, handed) == ["applied"] * 2
    for one in (tablet, other):
        held = one.client.get("/api/v1/sync/pull/", {"tablet": one.id}).data["visits"]
        assert [each["visit"]["id"] for each in held] == [str(visit.pk)]
        assert "visit.hand_over" in [event["kind"] for event in held[0]["events"]]
    with ours.scope():
        visit.refresh_from_db()
        assert visit.technician == ours.people["manager"]
        assert visit.second == ours.people["technician"]


def test_a_visit_is_handed_over_to_a_technician_only(ours, tablet, visit):
    office = str(ours.people["office"].pk)
    to = tablet.entry(visit.pk, "visit.hand_over", {"to": office, "name": "Sam", "text": "x"})
    assert tablet.push(to)[0]["status"] == "rejected"


def test_a_visit_goes_on_another_day_and_the_report_tells_day_by_day(ours, visit):
    first = timezone.now() - timedelta(days=1)
    with ours.scope():
        for at, contact in ((first, "the caretaker"), (timezone.now(), "the porter")):
            arrival = {"at": at.isoformat(), "contact": contact}
            entry = record.visit_entry(visit, "visit.open", arrival, by=ours.technician)
            record.append([entry], via="page", by=ours.technician, happened_at=at)
        visit.refresh_from_db()
        seen = projections.picture(visit.pk)
        assert len(seen.arrivals) == 2
        assert visit.opened_at == datetime.fromisoformat(seen.arrivals[0].payload["at"])
        days = report.facts(visit, 1, "code")["days"]
        assert [len(one["arrived"]) for one in days] == [1, 1]


def test_what_is_left_for_another_day_stays_named_with_its_reason(ours, tablet, visit):
    left = tablets.answer(tablet, ours, visit.pk, "could_not")
    left["payload"] |= {"reason": "Only the east wing today", "bulk": True}
    assert tablet.statuses(left) == ["applied"]
    with ours.scope():
        told = report.facts(Visit.objects.get(pk=visit.pk), 1, "code")["not_done"]
        assert [one["reason"] for one in told] == ["Only the east wing today"]


def test_the_same_finding_again_is_counted_on_the_first(ours, theirs, tablet, visit):
    with ours.scope():
        first = findings.add(
            ours.building,
            subject=("system", ours.wet.pk),
            grade="noncritical",
            text="Painted sprinklers",
            count=14,
            by=ours.technician,
        )
    with theirs.scope():
        foreign = findings.add(
            theirs.building,
            subject=("system", theirs.wet.pk),
            grade="noncritical",
            text="Elsewhere",
            by=theirs.technician,
        )

    def again(to, count):
        link = str(visit.pk)[:-1] + str(count)
        payload = {"finding": link, "to": str(to.pk), "reason": "Still the same", "count": count}
        more = {"stream": "finding", "stream_id": link}
        return tablet.entry(visit.pk, "finding.link", payload, **more)

    assert tablet.statuses(again(first, 9), again(foreign, 1)) == ["applied", "rejected"]
    assert tablet.statuses(again(first, 5)) == ["applied"]
    with ours.scope():
        (only,) = Finding.objects.all()
        assert (only.seen_again, only.count, only.state) == (2, 5, "open")


def test_handing_over_to_the_same_person_changes_nothing(ours, visit):
    with ours.scope():
        to = ours.people["technician"].pk
        assert planned.hand_over(visit, to, by=ours.technician).second is None


def test_the_office_settles_what_two_people_answered_differently(
    ours, tablet, second, as_office, as_technician, visit
):
    good = tablets.answer(tablet, ours, visit.pk, "pass")
    bad = tablets.answer(second, ours, visit.pk, "fail")
    tablet.push(good)
    second.push(bad)
    page = as_office.get(f"/visits/{visit.pk}/").content.decode()
    assert "The worse one counts until a person decides" in page
    address = f"/visits/{visit.pk}/settle/{bad['id']}/"
    assert address in page
    assert as_technician.get(address).status_code == 403
    silent = as_office.post(address, {"choice": good["id"]})
    assert silent.status_code == 422
    stray = as_office.post(address, {"choice": str(visit.pk), "reason": "x"})
    assert stray.status_code == 422
    given = {"choice": good["id"], "reason": "The drain was throttled the first time"}
    assert as_office.post(address, given).status_code == 302
    with ours.scope():
        row = Result.objects.get(visit=visit)
        assert (row.answer, row.disputed, row.reason) == ("pass", False, given["reason"])
    assert as_office.get(address).status_code == 404
