"""Whose day it is: the contractor's on pages and in the interface, a building's at the building.

Each moment lies where the day in UTC is another one than at the contractor's.
"""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from contractors.doors import Door
from contractors.models import Contractor, Licence
from inspections.models import Finding
from tests.contractors.test_exports import asked

pytestmark = pytest.mark.django_db

DAY = date(2026, 11, 25)
# Ten in the evening in New York: the 26th has begun in UTC.
EVENING = datetime(2026, 11, 26, 3, tzinfo=UTC)
# One at night there: the 26th has begun there too.
NIGHT = datetime(2026, 11, 26, 6, tzinfo=UTC)


@pytest.fixture
def evening():
    with time_machine.travel(EVENING, tick=False) as traveller:
        yield traveller


@pytest.fixture
def office(ours, api):
    return api(ours.office)


def late(client):
    return client.get("/api/v1/findings/", {"overdue": True}).data["count"]


@pytest.fixture
def answered_today(ours):
    """A finding whose answer is owed by the end of the contractor's day."""
    with ours.scope():
        Finding.objects.create(
            building=ours.building,
            subject_kind="system",
            subject_id=ours.wet.pk,
            grade="critical",
            text="Drain valve passes water",
            found_at=EVENING - timedelta(days=30),
            found_on=DAY - timedelta(days=30),
            respond_by=DAY,
        )


def test_a_response_is_late_when_the_contractors_day_is_over(evening, answered_today, office):
    assert late(office) == 0
    evening.move_to(NIGHT)
    assert late(office) == 1


def test_a_file_written_later_is_of_the_day_of_whoever_asked(evening, answered_today, ours):
    door = Door(ours.manager.user, member=ours.manager)
    counts = []
    for moment in (EVENING, NIGHT):
        evening.move_to(moment)
        export = asked(ours, door, "findings", late="on")
        with ours.scope():
            counts.append((export.rows, export.file.name))
    assert counts == [(0, "findings-2026-11-25.csv"), (1, "findings-2026-11-26.csv")]


def test_a_licence_is_counted_by_the_contractors_day(evening, ours, office):
    with ours.scope():
        Licence.objects.update(valid_until=DAY)
    left = {row["days_left"] for row in office.get("/api/v1/licences/").data["results"]}
    assert left == {0}


def test_a_member_comes_in_until_the_end_of_their_last_day(evening, ours, office, as_member):
    ours.office.ended_on = DAY
    ours.office.save(update_fields=["ended_on"])
    assert office.get("/api/v1/findings/").status_code == 200
    assert as_member(ours.office).get("/findings/").status_code == 200
    evening.move_to(NIGHT)
    assert office.get("/api/v1/findings/").status_code == 403
    assert as_member(ours.office).get("/findings/").status_code == 302


def test_east_of_greenwich_the_contractors_day_begins_before_the_one_in_utc(ours, api):
    manager = api(ours.manager)
    Contractor.objects.filter(pk=ours.contractor.pk).update(time_zone="Pacific/Auckland")
    body = {"grade": "critical", "days": 10, "valid_from": str(DAY + timedelta(days=366 * 5 + 1))}
    with time_machine.travel(datetime(2026, 11, 25, 20, tzinfo=UTC), tick=False):
        assert (
            manager.get("/api/v1/licences/").data["results"][0]["days_left"]
            == (date(2029, 12, 31) - date(2026, 11, 26)).days
        )
        assert manager.post("/api/v1/response-times/", body).status_code == 201


@pytest.mark.parametrize(
    ("zone", "day"), [("America/New_York", "2026-11-25"), ("Pacific/Auckland", "2026-11-26")]
)
def test_one_building_is_asked_on_its_own_day(evening, ours, office, zone, day):
    with ours.scope():
        ours.building.time_zone = zone
        ours.building.save(update_fields=["time_zone"])
    asked = {"building": str(ours.building.pk)}
    (stands,) = office.get("/api/v1/standings/", asked).data["results"]
    assert str(stands["on"]) == day
    owed = office.get(f"/api/v1/buildings/{ours.building.pk}/programme/")
    assert owed.data["on"] == day


def test_moments_are_told_in_utc_whatever_the_day(evening, ours, office):
    subject = {"kind": "system", "id": str(ours.wet.pk)}
    body = {"building": str(ours.building.pk), "subject": subject, "class": "critical"}
    made = office.post("/api/v1/findings/", {**body, "text": "Drain valve passes water"}).data
    assert (made["found_at"], made["found_on"]) == ("2026-11-26T03:00:00Z", "2026-11-25")
