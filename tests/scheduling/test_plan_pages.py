"""The pages of plans: made, looked at, moved, published, planned again."""

import re
from datetime import date
from uuid import uuid4

import pytest
import time_machine

from contractors.models import Notice
from inspections.models import Visit
from scheduling import due, plans
from scheduling.models import Plan
from tests.scheduling.planning import (
    FIRST,
    LAST,
    NOW,
    add_buildings,
    add_technician,
    add_visit,
    run_search,
    searched,
)

pytestmark = pytest.mark.django_db
FORM = {"from_on": str(FIRST), "to_on": str(LAST), "seconds": "1"}


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def ready(ours):
    with ours.scope():
        add_technician(ours)
        for building in add_buildings(ours):
            add_visit(building)
    return searched(ours)


@pytest.fixture
def stop(ours, ready):
    with ours.scope():
        return ready.stops.select_related("visit__building", "technician").first()


def text(answer):
    return answer.content.decode()


def test_a_plan_is_made_from_what_falls_due_and_shows_its_progress(ours, as_manager):
    with ours.scope():
        due.derive(ours.building, NOW)
    assert "owed within two weeks are in no visit yet" in text(as_manager.get("/plans/"))
    answer = as_manager.post("/plans/", {**FORM, "bundle_first": "on"})
    assert answer.status_code == 302
    page = text(as_manager.get(answer["Location"]))
    assert "Routes are being searched" in page
    assert 'hx-trigger="every 1s"' in page
    with ours.scope():
        plan = Plan.objects.get()
        assert Visit.objects.exists()
    run_search(plan)
    assert as_manager.get(f"/plans/{plan.pk}/progress/")["HX-Refresh"] == "true"
    assert "Ready to publish" in text(as_manager.get(answer["Location"]))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"from_on": "2026-11-01"}, "today or a later day is needed."),
        ({"to_on": "2026-11-20"}, "at most 55 days later"),
        ({"seconds": "9999"}, "300"),
        ({"from_on": "soon"}, "From"),
    ],
)
def test_a_plan_that_cannot_be_keeps_what_was_typed(as_manager, changes, said):
    answer = as_manager.post("/plans/", {**FORM, **changes})
    assert answer.status_code == 422
    assert said in text(answer)


def test_without_a_visit_the_page_says_what_to_do_first(as_manager):
    answer = as_manager.post("/plans/", FORM)
    assert answer.status_code == 409
    assert "Make visits of what falls due first." in text(answer)


def test_a_search_is_called_off_from_its_page(ours, as_manager):
    with ours.scope():
        add_visit(ours.building)
        plan = plans.make(FIRST, LAST, seconds=1, by=ours.manager, today=date(2026, 11, 25))
    assert as_manager.post(f"/plans/{plan.pk}/cancel/").status_code == 302
    assert "the old plan is kept" in text(as_manager.get(f"/plans/{plan.pk}/"))


def test_windows_show_every_visit_with_its_planned_day(ours, as_manager, ready):
    page = text(as_manager.get(f"/plans/{ready.pk}/"))
    for number in range(2, 6):
        assert f"Mill Row {number}" in page
    assert "Riverside" in page
    assert page.count('class="c-bar"') == 4
    assert "4 visits are placed." in page


def test_a_day_shows_time_lines_list_and_map(ours, as_manager, ready, stop):
    address = f"/plans/{ready.pk}/{stop.on}/"
    page = text(as_manager.get(address))
    assert stop.visit.building.name in page
    assert stop.technician.name in page
    shapes = as_manager.get(f"{address}map.json").json()
    assert shapes["type"] == "FeatureCollection"
    kinds = {feature["geometry"]["type"] for feature in shapes["features"]}
    assert kinds == {"Point", "LineString"}
    assert as_manager.get(f"/plans/{ready.pk}/2027-01-01/").status_code == 404
    assert as_manager.get(f"/plans/{ready.pk}/2026-13-40/").status_code == 404


def moving(ready, stop, **changes):
    on = LAST if stop.on != LAST else FIRST
    return {
        "visit": stop.visit_id,
        "technician": stop.technician_id,
        "on": on,
        "position": "",
        "start": "",
        "revision": ready.revision,
        **changes,
    }


def test_a_move_is_shown_before_it_is_made(ours, as_manager, ready, stop):
    wanted = moving(ready, stop)
    shown = text(as_manager.get(f"/plans/{ready.pk}/move/", wanted))
    assert "Breaks nothing" in shown
    assert "Move it there" in shown
    with ours.scope():
        assert ready.stops.get(visit=stop.visit).on == stop.on
    answer = as_manager.post(f"/plans/{ready.pk}/move/", wanted)
    assert answer.status_code == 302
    with ours.scope():
        assert ready.stops.get(visit=stop.visit).on == wanted["on"]
    assert "moved by hand" in text(as_manager.get(f"/plans/{ready.pk}/"))


def test_a_move_that_breaks_something_says_what(ours, as_manager, ready, stop):
    with ours.scope():
        stop.visit.building.hours = {"5": ["07:00-08:00"]}
        stop.visit.building.save(update_fields=["hours"])
    shown = text(as_manager.get(f"/plans/{ready.pk}/move/", moving(ready, stop)))
    assert "This breaks something" in shown
    assert "outside the hours of the building" in shown
    assert "all the same" in shown


def test_a_move_that_cannot_be_names_the_field(as_manager, ready, stop):
    for changes, said in (
        ({"on": "2026-11-28"}, "A day of the plan on which"),
        ({"position": "99"}, "1 to"),
        ({"technician": uuid4()}, "Technician"),
        ({"start": "later"}, "Start"),
    ):
        answer = as_manager.get(f"/plans/{ready.pk}/move/", moving(ready, stop, **changes))
        assert answer.status_code == 422
        assert said in text(answer)


def test_an_appointment_is_kept_and_let_go(ours, as_manager, ready, stop):
    address = f"/plans/{ready.pk}/visits/{stop.visit_id}/"
    as_manager.post(address, {"keep": "yes"})
    with ours.scope():
        assert Visit.objects.get(pk=stop.visit_id).locked
    as_manager.post(address, {"keep": "no"})
    with ours.scope():
        assert not Visit.objects.get(pk=stop.visit_id).locked


def test_publishing_lists_who_is_told_and_then_tells_them_once(ours, as_manager, ready):
    address = f"/plans/{ready.pk}/publish/"
    page = text(as_manager.get(address))
    assert "desk2@row.example" in page
    assert "Sam Technician" in page or "Robin Second" in page
    revision = re.search(r'name="revision" value="(\d+)"', page)[1]
    for _again in range(2):
        assert as_manager.post(address, {"revision": revision}).status_code == 302
    with ours.scope():
        ready.refresh_from_db()
        assert ready.state == Plan.State.PUBLISHED
        assert Visit.objects.filter(planned_on__isnull=False).count() == 4
        to_desk = Notice.objects.filter(recipient="desk2@row.example")
        assert to_desk.count() == 1
    assert "There is nothing to publish" in text(as_manager.get(address))


def test_a_published_plan_is_copied_to_be_changed_and_planned_again(ours, as_manager, ready, stop):
    assert as_manager.post(f"/plans/{ready.pk}/copy/").status_code == 409
    with ours.scope():
        plans.publish(ready, by=ours.manager, now=NOW)
    copied = as_manager.post(f"/plans/{ready.pk}/copy/")
    assert "Ready to publish" in text(as_manager.get(copied["Location"]))
    wrong = as_manager.post(
        f"/plans/{ready.pk}/again/",
        {"technician": stop.technician_id, "from_on": "2026-11-27", "to_on": "2026-11-01"},
    )
    assert wrong.status_code == 422
    away = {"technician": stop.technician_id, "from_on": stop.on, "to_on": ""}
    answer = as_manager.post(f"/plans/{ready.pk}/again/", away)
    with ours.scope():
        plan = Plan.objects.get(pk=answer["Location"].strip("/").rpartition("/")[2])
    run_search(plan)
    page = text(as_manager.get(answer["Location"]))
    assert "its technician is away" in page
    assert stop.visit.building.name in page


def without_token(answer):
    return re.sub(r'"x-csrftoken": "\w+"', "", text(answer))


def test_a_strangers_plan_is_as_if_it_did_not_exist(ours, theirs, as_member, ready, stop):
    stranger = as_member(theirs.manager)
    for path in ("", "progress/", f"{stop.on}/", f"{stop.on}/map.json", "publish/"):
        mine, nothing = (stranger.get(f"/plans/{one}/{path}") for one in (ready.pk, uuid4()))
        assert mine.status_code == nothing.status_code == 404
        assert without_token(mine) == without_token(nothing)
    assert stranger.get(f"/plans/{ready.pk}/move/", {"visit": stop.visit_id}).status_code == 404
    for path in (
        "cancel/",
        "copy/",
        "again/",
        "publish/",
        "choices/0/",
        f"visits/{stop.visit_id}/",
    ):
        assert stranger.post(f"/plans/{ready.pk}/{path}").status_code == 404
    with theirs.scope():
        other = plans.begin(FIRST, LAST, seconds=1, by=theirs.manager)
    assert stranger.post(f"/plans/{other.pk}/visits/{stop.visit_id}/").status_code == 404
    assert "Mill Row" not in text(stranger.get("/plans/"))


def test_only_the_desk_comes_in(as_technician, as_owner, ready):
    for client in (as_technician, as_owner):
        for path in ("/plans/", f"/plans/{ready.pk}/", f"/plans/{ready.pk}/publish/"):
            assert client.get(path).status_code == 403
        assert client.post("/plans/", FORM).status_code == 403
        assert client.post(f"/plans/{ready.pk}/publish/").status_code == 403


def test_a_plans_pages_ask_the_database_a_steady_number_of_times(
    as_manager, ready, stop, django_assert_max_num_queries
):
    for path in (f"/plans/{ready.pk}/", f"/plans/{ready.pk}/{stop.on}/", "/plans/"):
        as_manager.get(path)
        with django_assert_max_num_queries(19):
            as_manager.get(path)


def test_a_buildings_page_shows_standing_programme_and_what_is_owed(ours, as_manager):
    with ours.scope():
        due.derive(ours.building, NOW)
    page = text(as_manager.get(f"/buildings/{ours.building.pk}/"))
    for words in ("Overdue", "Programme", "Quarterly", "Not told yet"):
        assert words in page
    assert "Overdue" in text(as_manager.get("/buildings/?standing=overdue"))
    assert ours.building.name not in text(as_manager.get("/buildings/?standing=in_order"))
