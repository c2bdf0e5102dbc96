"""What is due, standings, questions, follow-ups and plans through the API."""

from datetime import datetime
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from contractors.models import Notice
from inspections import findings
from inspections.models import Visit
from scheduling import due, load, plans
from scheduling.models import FollowUp, Occurrence, Plan, Question, StandingInterval
from tests.scheduling.planning import (
    FIRST,
    LAST,
    NOW,
    add_buildings,
    add_visit,
    run_search,
    searched,
)

pytestmark = pytest.mark.django_db
PLANNED = {"from_on": str(FIRST), "to_on": str(LAST), "seconds": 1}


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def derived(ours):
    with ours.scope():
        findings.add(
            ours.building,
            subject=("device", ours.devices["valve"].pk),
            grade="critical",
            text="Packing leaks",
            by=ours.technician,
        )
        due.derive(ours.building, NOW)
    return ours


@pytest.fixture
def manager(ours, api):
    return api(ours.manager)


@pytest.fixture
def ready(ours):
    with ours.scope():
        for building in add_buildings(ours, 2):
            add_visit(building)
    return searched(ours)


def test_occurrences_are_listed_narrowed_and_explained(derived, manager):
    found = manager.get("/api/v1/occurrences/?by_owner=false&overdue=true&page_size=500").json()
    with derived.scope():
        late = Occurrence.objects.filter(by_owner=False, latest_on__lt=NOW.date()).count()
    assert len(found["results"]) == late > 0
    assert found["next"] is None
    detail = manager.get(f"/api/v1/occurrences/{found['results'][0]['id']}/").json()
    assert detail["reason"]["window"]
    assert detail["task"]
    for week in ("2026-11-25", "9999-12-31"):
        answer = manager.get(f"/api/v1/occurrences/?week={week}&owed=true")
        assert answer.status_code == 200
    wrong = manager.get("/api/v1/occurrences/?week=soon")
    assert (wrong.status_code, wrong["Content-Type"]) == (400, "application/problem+json")


NARROWED = (
    *("system_kind=preaction", "kind=test", "qualification=inspector&kind=inspection"),
    *("frequency=P1Y&by_owner=false&overdue=true", "frequency=often", "system_kind=deluge"),
)


@pytest.mark.parametrize("query", NARROWED)
def test_work_that_is_hardly_anywhere_is_found_as_all_other(derived, manager, monkeypatch, query):
    with derived.scope():
        add_buildings(derived)
        due.derive_all(NOW)
    address = f"/api/v1/occurrences/?{query}&page_size=500"
    answers, queries = [], []
    for few in (0, 500):
        monkeypatch.setattr(load, "FEW", few)
        with CaptureQueriesContext(connection) as asked:
            answers.append(manager.get(address).json()["results"])
        queries.append(len(asked))
    assert answers[0] == answers[1]
    assert bool(answers[0]) == (query not in NARROWED[-2:])
    assert max(queries) <= 9


def test_visits_are_made_once_for_one_key(derived, manager):
    with derived.scope():
        ids = Occurrence.objects.filter(by_owner=False).values_list("pk", flat=True)[:3]
        body = {"occurrences": [str(i) for i in ids]}
    without = manager.post("/api/v1/occurrences/make-visits/", body)
    assert without.json()["code"] == "idempotency_key_missing"
    key = {"HTTP_IDEMPOTENCY_KEY": "one"}
    first = manager.post("/api/v1/occurrences/make-visits/", body, **key)
    again = manager.post("/api/v1/occurrences/make-visits/", body, **key)
    assert (first.status_code, again.json()) == (201, first.json())
    with derived.scope():
        assert Visit.objects.count() == len(first.json()["visits"])
    taken = manager.post("/api/v1/occurrences/make-visits/", body, HTTP_IDEMPOTENCY_KEY="two")
    assert taken.json()["code"] == "already_in_visit"


def test_work_is_put_into_a_planned_visit_by_its_id(derived, manager):
    with derived.scope():
        rows = Occurrence.objects.filter(by_owner=False, subject_kind="device")
        first, second = (str(pk) for pk in rows.values_list("pk", flat=True)[:2])
    url = "/api/v1/occurrences/make-visits/"

    def send(key, **body):
        return manager.post(url, body, HTTP_IDEMPOTENCY_KEY=key)

    (made,) = send("a", occurrences=[first], planned_on="2026-12-01").json()["visits"]
    assert send("b", occurrences=[second], into=made).json()["visits"] == [made]
    with derived.scope():
        assert Visit.objects.get().lines.count() == 2
    assert send("c", occurrences=[second], into="planned").json()["code"] == "already_in_visit"
    assert send("d", occurrences=[second], into=str(uuid4())).status_code == 404
    assert "planned visit" in send("e", occurrences=[second], into="van").json()["detail"]


def test_occurrences_are_narrowed_by_kinds(derived, manager):
    def listed(query):
        return manager.get(f"/api/v1/occurrences/?page_size=500&{query}").json()["results"]

    assert 0 < len(listed("kind=test&system_kind=preaction")) < len(listed(""))
    assert listed("system_kind=deluge") == []
    assert manager.get("/api/v1/occurrences/?kind=look").status_code == 400


def test_occurrences_are_read_on_and_back_without_a_gap(derived, manager):
    def read(address):
        with CaptureQueriesContext(connection) as queries:
            found = manager.get(address).json()
        asked.append(len(queries))
        assert not any("COUNT(" in one["sql"] for one in queries.captured_queries)
        return found

    for order in ("", "-due_on", "activity", "minutes,-latest_on"):
        asked = []
        start = f"/api/v1/occurrences/?ordering={order}"
        whole = [row["id"] for row in read(f"{start}&page_size=500")["results"]]
        stretches = [read(f"{start}&page_size=7")]
        while stretches[-1]["next"]:
            stretches.append(read(stretches[-1]["next"]))
        assert [row["id"] for one in stretches for row in one["results"]] == whole
        back = stretches[-1]
        for one in stretches[-2::-1]:
            back = read(back["previous"])
            assert back["results"] == one["results"]
        assert back["previous"] is None
        assert len(stretches) > 2
        assert len(set(asked)) == 1


def test_a_stretch_behind_no_row_is_refused(manager):
    for spot in ("x", "WyJ4Il0", "bnVsbA"):
        wrong = manager.get(f"/api/v1/occurrences/?after={spot}")
        assert (wrong.status_code, wrong.json()["code"]) == (400, "field_refused")


def test_standings_today_and_as_known_earlier(derived, manager):
    (now,) = manager.get("/api/v1/standings/").json()["results"]
    assert (now["word"], now["name"]) == ("overdue", derived.building.name)
    with derived.scope():
        stood = StandingInterval.objects.filter(known_to=None)
        other = stood.exclude(word="overdue").latest("from_at")
        assert stood.filter(from_at__gt=other.to_at).exists()
    assert datetime.fromisoformat(now["since"]) == other.to_at
    then = manager.get("/api/v1/standings/?on=2023-11-25").json()["results"][0]
    assert then["word"] == "not_known_yet"
    unknown = manager.get("/api/v1/standings/?known_at=2026-01-01T00:00:00Z").json()["results"][0]
    assert unknown["word"] == "not_with_us"
    for query in ("on=soon", "known_at=then", "building=none"):
        assert manager.get(f"/api/v1/standings/?{query}").status_code == 400


def test_questions_and_follow_ups_are_listed(derived, manager):
    with derived.scope():
        asked, owed = Question.objects.count(), FollowUp.objects.exclude(state="done").count()
    assert manager.get("/api/v1/questions/").json()["count"] == asked > 0
    assert manager.get("/api/v1/follow-ups/?is_open=true").json()["count"] == owed > 0


def test_a_plan_from_its_search_to_its_publication(ours, manager):
    with ours.scope():
        visits = [add_visit(building) for building in add_buildings(ours, 2)]
    made = manager.post("/api/v1/plans/", PLANNED)
    assert (made.status_code, made.json()["state"]) == (201, "draft")
    assert made.json()["job"]["state"] == "waiting"
    address = f"/api/v1/plans/{made.json()['id']}/"
    with ours.scope():
        plan = Plan.objects.get()
    run_search(plan)
    found = manager.get(address).json()
    assert (found["state"], found["progress"], found["job"]["state"]) == ("ready", 100, "done")
    assert {stop["visit"] for stop in found["stops"]} == {str(v.pk) for v in visits}
    assert manager.get(f"{address}told/").json()
    publish = f"{address}publish/"
    assert manager.post(publish, {}).json()["code"] == "idempotency_key_missing"
    first = manager.post(publish, {"revision": 0}, HTTP_IDEMPOTENCY_KEY="p")
    again = manager.post(publish, {"revision": 0}, HTTP_IDEMPOTENCY_KEY="p")
    assert (first.status_code, again.json()) == (200, first.json())
    assert again["Idempotent-Replayed"] == "true"
    with ours.scope():
        told = Notice.objects.count()
        assert all(FIRST <= visit.planned_on <= LAST for visit in Visit.objects.all())
    other = manager.post(publish, {}, HTTP_IDEMPOTENCY_KEY="q")
    assert other.json()["published_at"] == first.json()["published_at"]
    with ours.scope():
        assert Notice.objects.count() == told


def test_a_move_is_tried_first_and_then_made(ours, manager, ready):
    with ours.scope():
        stop = ready.stops.first()
    body = {
        "visit": str(stop.visit_id),
        "technician": str(stop.technician_id),
        "on": str(LAST if stop.on != LAST else FIRST),
        "revision": 0,
    }
    address = f"/api/v1/plans/{ready.pk}/move/"
    tried = manager.post(address, {**body, "dry_run": True}).json()
    assert (tried["moved"], tried["revision"], tried["breaks"]) == (False, 0, [])
    assert manager.post(address, body).json()["revision"] == 1
    assert manager.post(address, body).json()["code"] == "changed_meanwhile"
    off = manager.post(address, {**body, "on": "2026-11-28"})
    assert (off.status_code, off.json()["facts"]["field"]) == (400, "on")
    nobody = manager.post(address, {**body, "technician": str(uuid4())})
    assert nobody.json()["facts"]["field"] == "technician"


def test_a_search_is_called_off(ours, manager):
    with ours.scope():
        add_visit(ours.building)
    made = manager.post("/api/v1/plans/", PLANNED).json()
    off = manager.post(f"/api/v1/plans/{made['id']}/cancel/")
    assert (off.status_code, off.json()["state"]) == (200, "failed")
    assert manager.post(f"/api/v1/plans/{made['id']}/cancel/").json()["code"] == "plan_not_ready"


def test_a_published_plan_is_planned_again_with_somebody_away(ours, manager, ready):
    with ours.scope():
        plans.publish(ready, by=ours.manager, now=NOW)
        who = ours.people["technician"]
    address = f"/api/v1/plans/{ready.pk}/again/"
    half = manager.post(address, {"technician": str(who.pk)})
    assert half.status_code == 400
    made = manager.post(address, {"technician": str(who.pk), "away": [str(FIRST)], "seconds": 1})
    assert made.status_code == 201
    with ours.scope():
        who.refresh_from_db()
        assert who.absences == [str(FIRST)]


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "from_on"),
        ({**PLANNED, "to_on": "2026-11-01"}, "to_on"),
        ({**PLANNED, "seconds": 0}, "seconds"),
        ({**PLANNED, "from_on": "soon"}, "from_on"),
    ],
)
def test_a_plan_that_cannot_be_names_the_field(manager, body, field):
    answer = manager.post("/api/v1/plans/", body)
    assert answer.status_code == 400
    assert field in {error["field"] for error in answer.json()["errors"]}


def test_a_strangers_objects_are_as_if_they_did_not_exist(ours, theirs, api, derived, ready):
    with ours.scope():
        rows = {
            "occurrences": Occurrence.objects.first().pk,
            "questions": Question.objects.first().pk,
            "follow-ups": FollowUp.objects.first().pk,
            "plans": ready.pk,
            "stops": ready.stops.first().pk,
        }
    stranger = api(theirs.manager)
    for noun, pk in rows.items():
        mine, nothing = (stranger.get(f"/api/v1/{noun}/{one}/") for one in (pk, uuid4()))
        assert (mine.status_code, mine.json()) == (404, nothing.json())
        assert stranger.get(f"/api/v1/{noun}/").json()["results"] == []
    for act in ("cancel", "move", "again", "publish"):
        answers = [
            stranger.post(f"/api/v1/plans/{one}/{act}/", {}, HTTP_IDEMPOTENCY_KEY=f"{act}{one}")
            for one in (ready.pk, uuid4())
        ]
        assert [a.status_code for a in answers] == [404, 404]
        assert answers[0].json() == answers[1].json()
    body = {"occurrences": [str(rows["occurrences"])]}
    made = stranger.post("/api/v1/occurrences/make-visits/", body, HTTP_IDEMPOTENCY_KEY="k")
    assert made.status_code == 404
    assert stranger.get(f"/api/v1/standings/?building={ours.building.pk}").status_code == 404


def test_only_the_desk_writes_and_owners_have_no_door_here(ours, api, derived):
    technician, owner = api(ours.technician), api(ours.access)
    assert technician.get("/api/v1/occurrences/").status_code == 200
    assert technician.post("/api/v1/plans/", PLANNED).status_code == 403
    assert technician.get("/api/v1/plans/").status_code == 403
    assert owner.get("/api/v1/occurrences/").status_code == 403


@pytest.mark.parametrize("noun", ["occurrences", "standings", "questions", "follow-ups", "stops"])
def test_lists_cost_the_same_however_long_they_are(
    derived, manager, ready, noun, django_assert_max_num_queries
):
    manager.get(f"/api/v1/{noun}/")
    with django_assert_max_num_queries(12):
        manager.get(f"/api/v1/{noun}/?page_size=500")
