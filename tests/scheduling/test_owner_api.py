"""The owner's part of the API: standing, items, decisions and reports of their own alone."""

import hashlib
import json
from datetime import UTC, date, datetime

import pytest
import time_machine

from contractors import outbox
from contractors.models import OutboxMessage, new_id
from inspections import findings
from inspections.models import Finding
from scheduling import due
from scheduling.models import OwnerAct, PublishedBuilding, PublishedItem, PublishedReport
from tests.inspections.test_record import close, visit  # noqa: F401, a fixture

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
NAMES = ("buildings", "items", "reports")


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def owner(ours, api):
    return api(ours.access)


def leaking(scene, grade="critical", text="Packing leaks at the stem"):
    with scene.scope():
        made = findings.add(
            scene.building,
            subject=("device", scene.devices["valve"].pk),
            grade=grade,
            text=text,
            by=scene.technician,
        )
        due.derive(scene.building)
    return made


@pytest.fixture
def finding(ours):
    return leaking(ours)


def run_jobs(*kinds):
    for kind in kinds:
        for message in OutboxMessage.objects.filter(kind=kind, state="waiting"):
            assert outbox.run(message.pk)


def sealed(scene, row):
    with scene.scope():
        close(scene, row)
    run_jobs("report.make", "building.recorded")


def test_the_owner_sees_each_building_with_its_standing_and_reasons(ours, owner, finding):
    (row,) = owner.get("/api/v1/owner/buildings/").data["results"]
    assert (row["id"], row["name"]) == (str(ours.building.pk), ours.building.name)
    assert (row["word"], row["worst"], row["open_count"]) == ("overdue", "critical", 1)
    assert row["looked_after_by"] == ours.contractor.name
    detail = owner.get(f"/api/v1/owner/buildings/{row['id']}/").data
    assert detail["reasons"]
    assert {name: detail[name] for name in row} == row
    assert [(i["class"], i["text"]) for i in detail["items"]] == [
        ("critical", "Packing leaks at the stem")
    ]
    assert ours.wet.name in [s["name"] for s in detail["systems"]]
    assert detail["next"]


def test_a_past_day_can_be_asked_for_and_one_to_come_cannot(ours, owner, finding):
    one = f"/api/v1/owner/buildings/{ours.building.pk}/"
    for address in ("/api/v1/owner/buildings/", one):
        past = owner.get(address, {"on": "2023-11-25"}).data
        row = past["results"][0] if "results" in past else past
        assert (row["on"], row["word"], row["open_count"]) == ("2023-11-25", "not_known_yet", 0)
        for wrong in ("yesterday", "2026-11-27"):
            answer = owner.get(address, {"on": wrong})
            (error,) = answer.data["errors"]
            assert answer.status_code == 400
            assert (error["field"], error["value"]) == ("on", wrong)
            assert error["message"]


def test_buildings_are_narrowed_by_their_standing(ours, owner, finding):
    asked = {"word": "overdue"}
    assert owner.get("/api/v1/owner/buildings/", asked).data["count"] == 1
    assert owner.get("/api/v1/owner/buildings/", {"word": "in_order"}).data["count"] == 0
    wrong = owner.get("/api/v1/owner/buildings/", {"word": "splendid"})
    assert (wrong.status_code, wrong.data["errors"][0]["value"]) == (400, "splendid")


def test_items_are_narrowed_and_ordered(ours, owner, finding):
    leaking(ours, "observation", "Paint flakes")
    leaking(ours, "impairment", "Valve stays shut")
    asked = {
        "critical": {"class": "critical"},
        "impairments": {"kind": "impairment"},
        "to decide": {"to_decide": True},
        "not to decide": {"to_decide": False},
        "open": {"open": True},
        "ended": {"open": False},
        "here": {"building": str(ours.building.pk)},
        "elsewhere": {"building": str(new_id())},
    }
    counts = {
        name: owner.get("/api/v1/owner/items/", query).data["count"]
        for name, query in asked.items()
    }
    assert counts == {
        "critical": 1,
        "impairments": 1,
        "to decide": 1,
        "not to decide": 3,
        "open": 4,
        "ended": 0,
        "here": 4,
        "elsewhere": 0,
    }
    listed = owner.get("/api/v1/owner/items/", {"ordering": "since"}).data["results"]
    assert [i["since"] for i in listed] == sorted(i["since"] for i in listed)


@pytest.mark.parametrize(
    ("asked", "field"),
    [({"class": "grave"}, "class"), ({"kind": "rumour"}, "kind"), ({"building": "7"}, "building")],
)
def test_a_wrong_filter_of_items_is_named(ours, owner, asked, field):
    answer = owner.get("/api/v1/owner/items/", asked)
    assert (answer.status_code, answer.data["errors"][0]["field"]) == (400, field)


def test_a_decision_goes_into_the_record_as_the_owners(ours, owner, finding):
    address = f"/api/v1/owner/items/{finding.pk}/"
    body = {"decision": "defer", "until": "2027-03-01", "reason": "next year's budget"}
    made = owner.post(f"{address}decide/", body)
    assert (made.status_code, made.data["until"]) == (201, "2027-03-01"), made.data
    assert made.data["taken_at"] is None
    assert owner.get("/api/v1/owner/items/", {"to_decide": True}).data["count"] == 0
    run_jobs("owner.act", "building.recorded")
    with ours.scope():
        decided = Finding.objects.get()
        assert (decided.state, decided.decision) == ("open", "defer")
        assert decided.decision_until == date(2027, 3, 1)
    seen = owner.get(address).data
    assert seen["facts"]["decision"]["reason"] == "next year's budget"
    (decision,) = seen["decisions"]
    assert (decision["decided_by"], decision["refused"]) == ("owner", "")
    assert decision["taken_at"] == "2026-11-25T15:00:00Z"


@pytest.mark.parametrize(
    ("body", "field", "accepted"),
    [
        ({}, "decision", "required"),
        ({"decision": "perhaps"}, "decision", "perhaps"),
        ({"decision": "defer", "reason": "later"}, "until", "A day after today."),
        ({"decision": "defer", "until": "2026-11-25", "reason": "x"}, "until", "A day after today"),
        ({"decision": "defer", "until": "soon", "reason": "x"}, "until", "YYYY-MM-DD"),
        ({"decision": "decline", "reason": " "}, "reason", "Say in a few words why"),
        ({"decision": "decline", "reason": "x" * 401}, "reason", "400"),
    ],
)
def test_a_decision_that_lacks_something_is_refused_by_field(
    ours, owner, finding, body, field, accepted
):
    answer = owner.post(f"/api/v1/owner/items/{finding.pk}/decide/", body)
    (error,) = answer.data["errors"]
    assert (answer.status_code, error["field"]) == (400, field)
    assert accepted in error["message"]
    with ours.scope():
        assert not OwnerAct.objects.exists()


def test_an_access_that_only_reads_does_not_decide(ours, owner, finding):
    ours.access.role = "reads"
    ours.access.save(update_fields=["role"])
    address = f"/api/v1/owner/items/{finding.pk}/"
    answer = owner.post(f"{address}decide/", {"decision": "approve"})
    assert (answer.status_code, answer.data["code"]) == (403, "only_reads")
    assert owner.get(address).status_code == 200


def test_what_ended_is_not_decided_on(ours, owner):
    observation = leaking(ours, "observation")
    with ours.scope():
        findings.decide(
            observation,
            decision="approve",
            on=NOW.date(),
            reason="",
            name="Kim Porter",
            by=ours.manager,
        )
        findings.close_observation(observation, text="Painted", by=ours.manager)
        due.derive(ours.building)
    address = f"/api/v1/owner/items/{observation.pk}/decide/"
    answer = owner.post(address, {"decision": "approve"})
    assert (answer.status_code, answer.data["code"]) == (409, "already_ended")


def test_a_sealed_report_is_read_and_its_pdf_fetched(ours, owner, visit):  # noqa: F811
    sealed(ours, visit)
    (row,) = owner.get("/api/v1/owner/reports/", {"building": str(ours.building.pk)}).data[
        "results"
    ]
    assert (row["version"], row["visit"]) == (1, str(visit.pk))
    address = f"/api/v1/owner/reports/{row['id']}/"
    detail = owner.get(address).data
    frozen = owner.get(f"{address}facts/").content
    assert hashlib.sha256(frozen).hexdigest() == row["sha256"]
    assert json.loads(frozen) == detail["facts"]
    pdf = owner.get(f"{address}pdf/", HTTP_ACCEPT="application/pdf")
    assert pdf["Content-Type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF-")
    day = row["performed_on"]
    assert owner.get("/api/v1/owner/reports/", {"performed_from": day}).data["count"] == 1
    assert owner.get("/api/v1/owner/reports/", {"performed_until": "2020-01-01"}).data["count"] == 0
    wrong = owner.get("/api/v1/owner/reports/", {"performed_from": "long ago"})
    assert (wrong.status_code, wrong.data["errors"][0]["field"]) == (400, "performed_from")


def test_what_is_anothers_is_answered_like_what_is_not_there(ours, theirs, api, finding, visit):  # noqa: F811
    sealed(ours, visit)
    owner, stranger = api(ours.access), api(theirs.access)
    (report,) = owner.get("/api/v1/owner/reports/").data["results"]
    addresses = [
        ("get", "buildings", ours.building.pk, ""),
        ("get", "items", finding.pk, ""),
        ("post", "items", finding.pk, "decide/"),
        *(("get", "reports", report["id"], tail) for tail in ("", "facts/", "pdf/")),
    ]
    for method, name, row, tail in addresses:
        answer, nothing, nonsense = (
            getattr(stranger, method)(f"/api/v1/owner/{name}/{key}/{tail}")
            for key in (row, new_id(), "nonsense")
        )
        assert answer.status_code == nonsense.status_code == 404, (name, tail)
        assert answer.content == nothing.content == nonsense.content, (name, tail)
    for name in NAMES:
        assert stranger.get(f"/api/v1/owner/{name}/").data["count"] == 0


def test_only_owners_come_in_and_they_write_nothing_but_decisions(ours, owner, api, client):
    for name in NAMES:
        address = f"/api/v1/owner/{name}/"
        for member in (ours.manager, ours.office, ours.technician, ours.trainer):
            assert api(member).get(address).status_code == 403
        assert client.get(address).status_code == 401
        for method in ("post", "put", "patch", "delete"):
            assert getattr(owner, method)(address, {}).status_code in (403, 405)
    assert api(ours.manager).post(f"/api/v1/owner/items/{new_id()}/decide/").status_code == 403


def test_an_access_that_ended_opens_nothing(ours, owner):
    ours.access.until_on = date(2026, 11, 24)
    ours.access.save(update_fields=["until_on"])
    for name in NAMES:
        assert owner.get(f"/api/v1/owner/{name}/").status_code == 403


@pytest.mark.parametrize("count", [1, 6])
def test_lists_ask_as_often_for_many_as_for_few(
    ours,
    owner,
    visit,  # noqa: F811
    django_assert_max_num_queries,
    count,
):
    leaking(ours)
    sealed(ours, visit)
    copied = ((PublishedBuilding, "building_id"), (PublishedItem, "source_id"))
    with ours.scope():
        for model, key in (*copied, (PublishedReport, "report_id")):
            row = model.objects.first()
            for _copy in range(count - model.objects.count()):
                row.pk, row._state.adding = new_id(), True
                setattr(row, key, new_id())
                row.save()
    for name in NAMES:
        with django_assert_max_num_queries(11):
            assert owner.get(f"/api/v1/owner/{name}/").data["count"] >= count
