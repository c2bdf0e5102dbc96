"""Pages of impairments: once however often pressed, what stands first, who may do what."""

import re
from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from contractors.models import new_id
from inspections import findings, record
from inspections.models import Event, Impairment, Visit

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def started(scene, hours=1.0, **more):
    with scene.scope():
        usual = {"extent": "Offices without water", "nature": "planned"}
        return findings.start_impairment(
            scene.building,
            subject=("system", scene.wet.pk),
            by=scene.manager,
            started_at=NOW - timedelta(hours=hours),
            **(usual | more),
        )


def text(answer):
    return re.sub(r"\s+", " ", answer.content.decode())


def test_pressing_twice_starts_one_clock_and_records_one_notice(ours, as_manager):
    path = f"/buildings/{ours.building.pk}/impairments/new/"
    typed = {
        "once": "k1",
        "subject": f"system:{ours.wet.pk}",
        "nature": "planned",
        "extent": "Offices",
        "started_at": "2026-11-25T09:30",
    }
    first, again = (as_manager.post(path, typed) for _ in range(2))
    assert (first.status_code, first.url) == (again.status_code, again.url)
    with ours.scope():
        made = Impairment.objects.get()
    assert made.started_at == datetime(2026, 11, 25, 14, 30, tzinfo=UTC)
    notice = {
        "once": "k2",
        "told": "owner",
        "name": "Kim Porter",
        "how": "phone",
        "at": "2026-11-25T09:45",
    }
    for _ in range(2):
        assert as_manager.post(f"{first.url}notice/", notice).status_code == 302
    with ours.scope():
        assert made.steps.count() == 1
    page = text(as_manager.get(first.url))
    assert "since 25 November, 09:30" in page
    assert "25 November, 09:45" in page


def test_what_is_wrong_is_named_and_nothing_starts(ours, as_manager):
    path = f"/buildings/{ours.building.pk}/impairments/new/"
    right = {"subject": f"system:{ours.wet.pk}", "nature": "planned", "extent": "Kept words"}
    for change, said in (
        ({"nature": "sudden"}, "sudden is not one of the available choices"),
        ({"started_at": "2126-01-01T09:00"}, "A moment up to now."),
        ({"unknown_start": "on", "started_at": "2026-11-25T09:00"}, "the start is unknown"),
        ({"subject": f"system:{new_id()}"}, "is not one of the available choices"),
    ):
        answer = as_manager.post(path, right | change)
        assert answer.status_code == 422, change
        assert said in text(answer)
        assert "Kept words" in text(answer)
    with ours.scope():
        assert not Impairment.objects.exists()


def test_the_list_shows_running_clocks_longest_first_in_the_buildings_time(ours, as_manager):
    started(ours, hours=2, extent="Short one")
    started(ours, hours=20, extent="Long one", nature="emergency")
    page = text(as_manager.get("/impairments/"))
    assert "2 systems are out of service." in page
    assert page.index("Long one") < page.index("Short one")
    assert "since 25 November, 08:00" in page
    assert "Impaired, emergency" in page


def test_interim_measures_are_owed_from_the_hours_of_the_jurisdiction(ours, as_manager):
    with ours.scope():
        ours.jurisdiction.impairment_hours = 4
        ours.jurisdiction.save(update_fields=["impairment_hours"])
    brief, long = started(ours, hours=1), started(ours, hours=5)
    with ours.scope():
        Impairment.objects.filter(pk=brief.pk).update(system=ours.preaction)
    before = text(as_manager.get(f"/impairments/{brief.pk}/"))
    assert "From 4 hours in 24 on, interim measures are owed" in before
    after = text(as_manager.get(f"/impairments/{long.pk}/"))
    assert "More than 4 hours in 24: interim measures are owed now." in after
    for page in (before, after):
        assert "the authority having jurisdiction decide" in page


def test_it_is_not_ended_on_what_another_system_passed(ours, as_manager):
    made = started(ours)
    with ours.scope():
        visit = Visit.objects.create(building=ours.building)
        payload = {
            "subject": {"kind": "device", "id": str(ours.devices["flow"].pk)},
            "activity": "waterflow-pressure-switch-test",
            "answer": "pass",
        }
        passed = record.visit_entry(visit, "item.set", payload, by=ours.technician)
        record.append([passed], via="page", by=ours.technician)
    path = f"/impairments/{made.pk}/end/"
    answer = as_manager.post(path, {"proven": "yes", "proofs": [passed["id"]]})
    assert answer.status_code == 422
    with ours.scope():
        assert Impairment.objects.get().ended_at is None


def test_who_may_do_what(ours, as_member, as_owner):
    made = started(ours)
    base = f"/impairments/{made.pk}/"
    allowed = {
        ours.manager: {"": 200, "notice/": 200, "watch/": 200, "end/": 200},
        ours.office: {"": 200, "notice/": 200, "watch/": 200, "end/": 200},
        ours.technician: {"": 200, "notice/": 200, "watch/": 200, "end/": 403},
        ours.trainer: {"": 200, "notice/": 403, "watch/": 403, "end/": 403},
    }
    for member, pages in allowed.items():
        browser = as_member(member)
        seen = {tail: browser.get(base + tail).status_code for tail in pages}
        assert seen == pages, member
    assert as_owner.get(base).status_code == 403
    assert as_owner.get("/impairments/").status_code == 403


def test_what_is_anothers_is_answered_like_what_is_not_there(ours, theirs, as_manager):
    made = started(theirs)
    for tail in ("", "notice/", "watch/", "end/"):
        pair = [as_manager.get(f"/impairments/{key}/{tail}") for key in (made.pk, new_id())]
        assert [one.status_code for one in pair] == [404, 404]
        bodies = {re.sub(r'"x-csrftoken": "[^"]*"', "", text(one)) for one in pair}
        assert len(bodies) == 1
        assert as_manager.post(f"/impairments/{made.pk}/{tail}", {}).status_code in (404, 405)
    assert "Offices without water" not in text(as_manager.get("/impairments/"))
    with theirs.scope():
        assert Event.objects.count() == 1


@pytest.mark.parametrize("count", [1, 9])
def test_the_list_asks_as_often_for_many_as_for_few(
    ours, as_manager, django_assert_max_num_queries, count
):
    for place in range(count):
        started(ours, hours=place + 1)
    with django_assert_max_num_queries(9):
        as_manager.get("/impairments/")
