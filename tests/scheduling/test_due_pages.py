"""The page of what falls due, and visits made of it."""

import re
from datetime import date, timedelta
from html import unescape
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.db.models import Min
from django.test.utils import CaptureQueriesContext

from contractors.models import Licence, new_id
from inspections import planned
from inspections.models import Visit
from scheduling import bundle, due, due_views, load, week_loads
from scheduling.forms import DueFilters
from scheduling.models import Occurrence
from tests.scheduling.planning import NOW, TODAY, add_buildings, count_anew

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def derived(ours):
    with ours.scope():
        due.derive(ours.building, NOW)
    return ours


def test_weeks_districts_and_the_list_with_its_reasons(derived, as_manager):
    page = as_manager.get("/due/").content.decode()
    assert "Riverside" in page
    assert "23 Nov" in page
    assert derived.building.name in page
    assert "own estimates" in page
    assert "NFPA 25" in page


def test_before_anything_is_derived_the_page_teaches(ours, as_manager):
    page = as_manager.get("/due/").content.decode()
    assert "Nothing falls due here" in page


@pytest.mark.parametrize(
    "query",
    [
        "week=overdue",
        "week=2026-11-24",
        "who=owner",
        "kind=test&frequency=P1Y",
        "district=Nowhere",
        "week=soon",
        "week=9999-12-31",
        "building=none",
    ],
)
def test_every_narrowing_and_every_nonsense_is_answered(derived, as_manager, query):
    assert as_manager.get(f"/due/?{query}").status_code == 200


def test_what_work_needs_is_offered_in_words(derived):
    with derived.scope():
        offered = dict(DueFilters().fields["qualification"].choices)
    assert offered["none"] == "no licence"
    assert offered["competent_person_uk"] == "competent person (United Kingdom)"
    assert not [words for words in offered.values() if "_" in str(words)]


def test_ticked_rows_become_a_visit(derived, as_manager):
    with derived.scope():
        row = Occurrence.objects.filter(by_owner=False).order_by("latest_on").first()
        count = Occurrence.objects.filter(activity=row.activity, by_owner=False).count()
    pick = f"{derived.building.pk}:{row.activity}"
    answer = as_manager.post("/due/visits/", {"pick": [pick], "query": "", "then": "plan"})
    assert (answer.status_code, answer["Location"]) == (302, "/plans/")
    with derived.scope():
        visit = Visit.objects.get()
        assert visit.lines.count() == count
        assert {line.activity for line in visit.lines.all()} == {row.activity}
    assert "in a visit" in as_manager.get("/due/").content.decode()


def picks_of(scene, count):
    with scene.scope():
        rows = Occurrence.objects.filter(by_owner=False).order_by("latest_on", "activity")
        found = list(dict.fromkeys(rows.values_list("activity", flat=True)))[:count]
    return [f"{scene.building.pk}:{activity}" for activity in found]


def test_ticked_rows_are_given_to_a_technician_at_once(derived, as_manager):
    (pick,) = picks_of(derived, 1)
    body = {
        "pick": [pick],
        "technician": derived.people["technician"].pk,
        "planned_on": "2026-12-01",
    }
    assert as_manager.post("/due/visits/", body).status_code == 302
    with derived.scope():
        visit = Visit.objects.get()
        assert (visit.technician, visit.planned_on) == (
            derived.people["technician"],
            date(2026, 12, 1),
        )


def test_ticked_rows_join_the_planned_visit_of_their_building(derived, as_manager):
    first, second = picks_of(derived, 2)
    refused = as_manager.post("/due/visits/", {"pick": [first], "then": "add"})
    assert refused.status_code == 409
    assert f"No visit to {derived.building.name} is planned" in refused.content.decode()
    as_manager.post("/due/visits/", {"pick": [first]})
    body = {"pick": [second], "then": "add", "planned_on": "2026-12-01"}
    assert "keeps its people and day" in as_manager.post("/due/visits/", body).content.decode()
    with derived.scope():
        before = Visit.objects.get().planned_minutes
    answer = as_manager.post(
        "/due/visits/", {"pick": [second], "then": "add"}, HTTP_HX_REQUEST="true"
    )
    assert (answer.status_code, answer["HX-Redirect"]) == (204, "/due/?")
    with derived.scope():
        visit = Visit.objects.get()
        activities = set(visit.lines.values_list("activity", flat=True))
        assert activities == {pick.partition(":")[2] for pick in (first, second)}
        assert visit.planned_minutes > before
        assert set(Occurrence.objects.filter(visit=visit).values_list("activity", flat=True)) == (
            activities
        )


def test_work_beyond_the_licence_of_a_planned_visits_people_is_refused_whole(derived, as_manager):
    with derived.scope():
        rows = Occurrence.objects.filter(by_owner=False).order_by("latest_on", "activity")
        free = rows.filter(qualification="inspector").first()
        ends = Licence.objects.order_by("valid_until").last().valid_until
        visit = planned.make(derived.building, by=derived.manager, planned_on=ends)
        Visit.objects.filter(pk=visit.pk).update(
            technician=derived.people["technician"], planned_on=ends + timedelta(days=1)
        )
    pick = f"{derived.building.pk}:{free.activity}"
    answer = as_manager.post("/due/visits/", {"pick": [pick], "then": "add"})
    assert answer.status_code == 409
    assert "ended on" in answer.content.decode()
    with derived.scope():
        assert not visit.lines.exists()
        assert not Occurrence.objects.filter(visit=visit).exists()


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [("planned_on", "2026-11-01", "today or a later day"), ("technician", "nobody", "nobody")],
)
def test_a_wrong_day_or_person_is_named_and_nothing_is_made(
    derived, as_manager, field, value, said
):
    answer = as_manager.post("/due/visits/", {"pick": picks_of(derived, 1), field: value})
    assert answer.status_code == 400
    assert said in answer.content.decode()
    with derived.scope():
        assert not Visit.objects.exists()


def test_the_list_is_narrowed_to_a_kind_of_system(derived, as_manager):
    page = _names(as_manager.get("/due/?system_kind=preaction").content.decode())
    assert derived.building.name in page
    page = _names(as_manager.get("/due/?system_kind=deluge").content.decode())
    assert "Nothing falls due here" in page


def test_nothing_ticked_is_refused_in_words(derived, as_manager):
    for picks in ([], ["nonsense"], [f"{uuid4()}:main-drain-test"]):
        answer = as_manager.post("/due/visits/", {"pick": picks, "query": ""})
        assert answer.status_code == 400
        assert "Pick at least one activity" in answer.content.decode()


def test_what_another_contractor_owes_is_neither_listed_nor_picked(derived, theirs, as_member):
    stranger = as_member(theirs.manager)
    assert derived.building.name not in _names(stranger.get("/due/").content.decode())
    with derived.scope():
        row = Occurrence.objects.filter(by_owner=False).first()
    pick = f"{derived.building.pk}:{row.activity}"
    answer = stranger.post("/due/visits/", {"pick": [pick], "query": ""})
    assert answer.status_code == 400
    with derived.scope():
        assert not Visit.objects.exists()


def _names(page):
    return page.partition('id="list"')[2]


def test_the_list_can_be_taken_home_as_csv(derived, as_manager):
    answer = as_manager.get("/due/export.csv?week=overdue")
    assert answer["Content-Type"].startswith("text/csv")
    lines = answer.content.decode("utf-8-sig").splitlines()
    with derived.scope():
        late = Occurrence.objects.filter(by_owner=False, latest_on__lt=NOW.date()).count()
    assert len(lines) == late + 1
    assert lines[0].startswith('"building"')


def test_only_the_desk_comes_in(as_technician, as_owner, client):
    assert as_technician.get("/due/").status_code == 403
    assert as_owner.get("/due/").status_code == 403
    assert as_technician.post("/due/visits/", {}).status_code == 403
    assert client.get("/due/").status_code == 302


def test_the_page_asks_the_database_a_steady_number_of_times(
    derived, as_manager, django_assert_max_num_queries
):
    as_manager.get("/due/")
    with django_assert_max_num_queries(20):
        as_manager.get("/due/")


# --- many buildings --------------------------------------------------------------------------


@pytest.fixture
def town(derived):
    """Four buildings more with copies of the derived rows, most of them equally urgent."""
    with derived.scope():
        for number, building in enumerate(add_buildings(derived)):
            copy_rows(derived.building, building, timedelta(days=number // 3))
    return derived


def copy_rows(first, building, later):
    rows = list(Occurrence.objects.filter(building=first))
    for row in rows:
        row.pk, row.building = new_id(), building
        row.latest_on += later
        row.subject_id, row.system, row.visit = uuid4(), None, None
    Occurrence.objects.bulk_create(rows)
    count_anew()


def places_of(page):
    return re.findall(r'data-whole="([0-9a-f-]{36})"', page)


def link(page, rel):
    found = re.search(rf'<a rel="{rel}" href="([^"#]*)#list"', page)
    return "/due/" + unescape(found[1]) if found else None


def test_pages_show_every_building_once_forwards_and_back(town, as_manager, monkeypatch):
    monkeypatch.setattr(due_views, "BUILDINGS_ON_A_PAGE", 2)
    with town.scope():
        first = Occurrence.objects.filter(by_owner=False)
        first = first.order_by().values_list("building").annotate(first=Min("latest_on"))
        wanted = [str(pk) for pk, _day in first.order_by("first", "building")]
        days = [day for _pk, day in first]
        assert len(set(days)) < len(days) == 5
    for query in ("", "?kind=inspection"):
        page = as_manager.get(f"/due/{query}").content.decode()
        assert link(page, "prev") is None
        pages = [places_of(page)]
        while after := link(page, "next"):
            assert query.strip("?") in after
            page = as_manager.get(after).content.decode()
            pages.append(places_of(page))
        assert [pk for shown in pages for pk in shown] == wanted
        back = [pages[-1]]
        while before := link(page, "prev"):
            page = as_manager.get(before).content.decode()
            back.append(places_of(page))
        assert back[::-1] == pages


def test_a_spot_that_nothing_is_beyond_begins_the_list_anew(town, as_manager, monkeypatch):
    monkeypatch.setattr(due_views, "BUILDINGS_ON_A_PAGE", 2)
    first = places_of(as_manager.get("/due/").content.decode())
    nowhere = (f"after=2099-01-01.{uuid4()}", f"before=1999-01-01.{uuid4()}", "after=soon")
    for spot in (*nowhere, "before=."):
        assert places_of(as_manager.get(f"/due/?{spot}").content.decode()) == first


def test_the_work_of_a_week_is_what_one_visit_to_do_it_takes(derived):
    with derived.scope():
        counts = load.counted(load.Asked(), TODAY)
        mondays = set(counts.rows["monday"].tolist())
        assert mondays
        for monday in mondays:
            week = counts.where(counts.rows["monday"] == monday)
            start = week_loads.day_of(monday)
            due_then = Occurrence.objects.filter(by_owner=False, due_on__gte=start)
            due_then = list(due_then.filter(due_on__lt=start + timedelta(days=7)))
            assert len(due_then) == week.count
            assert bundle.minutes_of(due_then) == pytest.approx(week.minutes, abs=0.2)


def test_a_building_gives_its_rows_when_it_is_opened_narrowed_as_the_list_is(town, as_manager):
    with town.scope():
        row = Occurrence.objects.exclude(building=town.building).filter(by_owner=False).first()
    address = f"/due/at/{row.building_id}/"
    rows = as_manager.get(address).content.decode()
    assert f'value="{row.building_id}:{row.activity}"' in rows
    assert "<html" not in rows
    assert 'name="pick"' not in as_manager.get(f"{address}?who=owner").content.decode()


@pytest.mark.parametrize(
    ("query", "queries"),
    [
        *(("", 18), ("district=Riverside", 18), ("week=overdue", 18), ("kind=test", 18)),
        *(("system_kind=wet", 18), ("qualification=inspector", 18), ("frequency=P1Y", 18)),
        *(("state=free", 19), ("state=in_visit", 19)),
    ],
)
def test_many_buildings_ask_the_database_no_more_than_one(derived, as_manager, query, queries):
    with derived.scope():
        ids = Occurrence.objects.filter(by_owner=False).values_list("pk", flat=True)
        bundle.make_visits(list(ids.order_by("latest_on")[:20]), today=TODAY, by=derived.manager)
    as_manager.get(f"/due/?{query}")
    assert queries_of(as_manager, query) <= queries
    one = queries_of(as_manager, query)
    with derived.scope():
        for building in add_buildings(derived):
            copy_rows(derived.building, building, timedelta(0))
    assert queries_of(as_manager, query) == one


def queries_of(client, query):
    with CaptureQueriesContext(connection) as asked:
        assert client.get(f"/due/?{query}").status_code == 200
    return len(asked)
