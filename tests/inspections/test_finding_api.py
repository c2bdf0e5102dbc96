"""Findings and impairments in the API: classes with reasons, evidence, clocks, licences."""

import pytest

from contractors.models import new_id
from inspections import findings
from inspections.models import Event, Finding, Impairment
from tests.inspections.test_visit_api import drain_test, handed_in, planned

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(ours, api):
    return api(ours.office)


@pytest.fixture
def manager(ours, api):
    return api(ours.manager)


@pytest.fixture
def technician(ours, api):
    return api(ours.technician)


def found(scene, client, grade="critical", **more):
    body = {
        "building": str(scene.building.pk),
        "subject": drain_test(scene),
        "class": grade,
        "text": "Drain valve passes water",
        "activity": "main-drain-annual",
        **more,
    }
    answer = client.post("/api/v1/findings/", body)
    assert answer.status_code == 201, answer.data
    return answer.data, f"/api/v1/findings/{answer.data['id']}/"


def out_of_service(scene, client, **more):
    body = {
        "building": str(scene.building.pk),
        "subject": drain_test(scene),
        "extent": "Offices without water",
        "nature": "planned",
        **more,
    }
    answer = client.post("/api/v1/impairments/", body)
    assert answer.status_code == 201, answer.data
    return answer.data, f"/api/v1/impairments/{answer.data['id']}/"


def test_a_finding_is_recorded_and_its_class_changed_with_a_reason(ours, office):
    made, address = found(ours, office, location="Riser room", count=2, measure="Watched")
    assert (made["class"], made["state"], made["count"]) == ("critical", "open", 2)
    assert (made["measure"], made["system"]) == ("Watched", ours.wet.pk)
    silent = office.post(f"{address}reclass/", {"class": "noncritical"})
    assert silent.data["errors"][0]["field"] == "reason"
    changed = office.post(f"{address}reclass/", {"class": "noncritical", "reason": "Weeps only"})
    assert changed.data["class"] == "noncritical"
    with ours.scope():
        assert set(Event.objects.values_list("via", flat=True)) == {"api"}


def test_a_finding_of_class_impairment_runs_a_clock(ours, office):
    made, _address = found(ours, office, "impairment")
    (running,) = office.get("/api/v1/impairments/", {"running": True}).data["results"]
    assert (str(running["finding"]), running["ended_at"]) == (made["id"], None)
    assert running["hours_out"] >= 0


WRONG_FINDINGS = [
    ({"class": "grave"}, "class"),
    ({"text": ""}, "text"),
    ({"count": 0}, "count"),
    ({"subject": {"kind": "riser"}}, "subject.id"),
    ({"subject": {"kind": "cellar", "id": str(new_id())}}, "subject.kind"),
    ({"building": str(new_id())}, "building"),
    ({"subject": {"kind": "riser", "id": str(new_id())}}, "payload.subject"),
]


@pytest.mark.parametrize(("change", "field"), WRONG_FINDINGS)
def test_a_wrong_finding_is_refused_by_field(ours, office, change, field):
    body = {
        "building": str(ours.building.pk),
        "subject": drain_test(ours),
        "class": "critical",
        "text": "Leaks",
    }
    answer = office.post("/api/v1/findings/", body | change)
    assert answer.status_code == 400
    assert [error["field"] for error in answer.data["errors"]] == [field]


def test_catalogue_ids_and_the_visit_are_checked(ours, theirs, office, api):
    body = {
        "building": str(ours.building.pk),
        "subject": drain_test(ours),
        "class": "critical",
        "text": "Leaks",
    }
    for name in ("activity", "deficiency"):
        answer = office.post("/api/v1/findings/", body | {name: "polish"})
        assert (answer.status_code, answer.data["facts"]["field"]) == (400, name)
    their_visit = planned(theirs, api(theirs.office)).rstrip("/").rpartition("/")[2]
    answers = [
        office.post("/api/v1/findings/", body | {"visit": visit}).data["errors"][0]["field"]
        for visit in (their_visit, str(new_id()))
    ]
    assert answers == ["visit", "visit"]


def test_a_finding_closes_on_the_re_test_owed_and_on_nothing_less(
    ours, office, technician, manager
):
    made, address = found(ours, office)
    word = office.post(f"{address}close/", {"text": "The plumber says so"})
    assert (word.status_code, word.data["code"]) == (409, "needs_evidence")
    assert office.get(f"{address}evidence/").data == []
    stray = office.post(f"{address}close/", {"result": str(new_id())})
    assert (stray.status_code, stray.data["facts"]["field"]) == (400, "result")
    visit = handed_in(ours, office, technician)
    manager.post(f"{visit}review/", {"verdict": "accept"})
    (proof,) = office.get(f"{address}evidence/").data
    closed = office.post(f"{address}close/", {"result": proof["id"]})
    assert (closed.status_code, closed.data["state"]) == (200, "closed"), closed.data
    again = office.post(f"{address}close/", {"result": proof["id"]})
    assert (again.status_code, again.data["code"]) == (409, "already_ended")
    assert made["state"] == "open"


def test_the_owners_decision_is_recorded_on_their_behalf(ours, office):
    _made, address = found(ours, office, "observation")
    defer = {"decision": "defer", "on": "2026-11-25", "name": "Kim Porter"}
    missing = office.post(f"{address}decide/", defer)
    assert missing.data["errors"][0]["field"] == "until"
    back = defer | {"until": "2026-11-01", "reason": "budget"}
    assert office.post(f"{address}decide/", back).data["errors"][0]["field"] == "until"
    done = office.post(f"{address}decide/", back | {"until": "2027-02-01"})
    assert (done.data["decision"], done.data["decision_until"]) == ("defer", "2027-02-01")
    assert done.data["state"] == "open"
    closed = office.post(f"{address}close/", {"text": "As decided"})
    assert closed.data["state"] == "closed"


def test_a_proposed_finding_is_accepted_or_dropped_once(ours, office):
    with ours.scope():
        proposed = [
            findings.add(
                ours.building,
                subject=("riser", ours.wet_riser.pk),
                grade="noncritical",
                text="Residual falls year by year",
                by=ours.manager,
                proposed=True,
                source="trend",
            )
            for _ in range(2)
        ]
    first, second = (f"/api/v1/findings/{one.pk}/" for one in proposed)
    assert office.post(f"{first}accept/", {}).data["state"] == "open"
    again = office.post(f"{first}accept/", {})
    assert (again.status_code, again.data["code"]) == (409, "not_proposed")
    assert office.post(f"{second}drop/", {}).data["errors"][0]["field"] == "reason"
    assert office.post(f"{second}drop/", {"reason": "New pump"}).data["state"] == "dropped"


def test_notices_and_watches_stand_with_the_clock(ours, office):
    _made, address = out_of_service(ours, office)
    wrong = office.post(f"{address}notices/", {"told": "the cat", "name": "Tom", "how": "phone"})
    assert wrong.data["errors"][0]["value"] == "the cat"
    told = {"told": "owner", "name": "Kim Porter", "how": "phone", "at": "2026-11-25T09:00:00Z"}
    assert office.post(f"{address}notices/", told).status_code == 201
    leg = {"who": "Sam", "from": "2026-11-25T18:00:00Z", "until": "2026-11-25T17:00:00Z"}
    assert office.post(f"{address}watches/", leg).data["errors"][0]["field"] == "until"
    leg["until"] = "2026-11-26T06:00:00Z"
    stands = office.post(f"{address}watches/", leg | {"area": "Offices"}).data
    assert [(s["what"], s["who"]) for s in stands["steps"]] == [
        ("told owner", "Kim Porter"),
        ("watch kept", "Sam"),
    ]


def test_an_impairment_ends_on_proof_recorded_since(ours, office, technician, manager):
    old = handed_in(ours, office, technician)
    manager.post(f"{old}review/", {"verdict": "accept"})
    _made, address = out_of_service(ours, office)
    bare = office.post(f"{address}end/", {"result": "restored_proven"})
    assert (bare.status_code, bare.data["code"]) == (409, "not_proven")
    assert office.get(f"{address}proofs/").data == []
    visit = planned(ours, office)
    payload = {"subject": drain_test(ours), "activity": "main-drain-annual", "answer": "pass"}
    technician.post(f"{visit}entries/", [{"kind": "item.set", "payload": payload}])
    (proof,) = office.get(f"{address}proofs/").data
    stray = {"result": "restored_proven", "proofs": [proof["id"], str(new_id())]}
    assert office.post(f"{address}end/", stray).status_code == 409
    ended = office.post(f"{address}end/", {"result": "restored_proven", "proofs": [proof["id"]]})
    assert (ended.status_code, ended.data["ended_how"]) == (200, "restored_proven"), ended.data
    again = office.post(f"{address}end/", {"result": "restored_proven", "proofs": [proof["id"]]})
    assert (again.status_code, again.data["code"]) == (409, "already_ended")


def test_an_end_state_item_left_unproven_keeps_the_clock_running(ours, office, technician):
    _made, address = out_of_service(ours, office)
    visit = planned(ours, office)
    device = str(ours.devices["wet_valve"].pk)
    proof = {"device": device, "item": "control_valve"}
    passed = {"subject": drain_test(ours), "activity": "main-drain-annual", "answer": "pass"}
    entries = [
        {"kind": "item.set", "payload": passed},
        {"kind": "proof.set", "payload": proof | {"result": "not_proven"}},
    ]
    done = technician.post(f"{visit}entries/", entries)
    listed = office.get(f"{address}proofs/").data
    assert [one["proven"] for one in listed] == [False, True]
    body = {"result": "restored_proven", "proofs": [listed[1]["id"]]}
    assert office.post(f"{address}end/", body).status_code == 409
    better = {
        "kind": "proof.set",
        "payload": proof | {"result": "proven"},
        "seen": [done.data[1]["id"]],
    }
    technician.post(f"{visit}entries/", [better])
    assert office.post(f"{address}end/", body).status_code == 200


def test_proof_missing_is_for_a_licensed_person_with_a_reason(ours, office, manager):
    _made, address = out_of_service(ours, office)
    body = {"result": "restored_proof_missing", "reason": "No gauge fitted"}
    refused = office.post(f"{address}end/", body)
    assert (refused.status_code, refused.data["code"]) == (403, "needs_licence")
    assert manager.post(f"{address}end/", {"result": body["result"]}).status_code == 403
    assert manager.post(f"{address}end/", body).data["ended_how"] == "restored_proof_missing"
    left = office.get("/api/v1/findings/", {"state": "open"}).data["results"]
    assert [f["text"] for f in left] == ["Restored, proof missing: No gauge fitted"]


WRONG_IMPAIRMENTS = [
    ({"nature": "sudden"}, "nature"),
    ({"extent": ""}, "extent"),
    ({"unknown_start": True, "started_at": "2026-11-25T09:00:00Z"}, "started_at"),
    ({"finding": str(new_id())}, "finding"),
]


@pytest.mark.parametrize(("change", "field"), WRONG_IMPAIRMENTS)
def test_a_wrong_impairment_is_refused_by_field(ours, office, change, field):
    body = {
        "building": str(ours.building.pk),
        "subject": drain_test(ours),
        "extent": "Offices",
        "nature": "planned",
    }
    answer = office.post("/api/v1/impairments/", body | change)
    assert (answer.status_code, answer.data["errors"][0]["field"]) == (400, field)
    ahead = office.post("/api/v1/impairments/", body | {"started_at": "2126-01-01T00:00:00Z"})
    assert ahead.data["facts"]["field"] == "started_at"


def test_what_is_anothers_is_answered_like_what_is_not_there(ours, theirs, api):
    their_office = api(theirs.office)
    finding, _address = found(theirs, their_office)
    impairment, _address = out_of_service(theirs, their_office)
    manager = api(ours.manager)
    tails = {
        "findings": ("", "reclass/", "decide/", "accept/", "drop/", "close/", "evidence/"),
        "impairments": ("", "notices/", "watches/", "end/", "proofs/"),
    }
    for name, row in (("findings", finding["id"]), ("impairments", impairment["id"])):
        for tail in tails[name]:
            reads = tail in ("", "evidence/", "proofs/")
            call = manager.get if reads else manager.post
            answer = call(f"/api/v1/{name}/{row}/{tail}")
            nothing = call(f"/api/v1/{name}/{new_id()}/{tail}")
            assert (answer.status_code, answer.content) == (404, nothing.content), (name, tail)
        assert manager.get(f"/api/v1/{name}/").data["count"] == 0


def test_only_the_office_writes_and_owners_stay_outside(ours, office, technician, api):
    _made, finding = found(ours, office)
    _made, impairment = out_of_service(ours, office)
    for member in (technician, api(ours.trainer)):
        assert member.get(finding).status_code == 200
        assert member.get(impairment).status_code == 200
        for address in (f"{finding}reclass/", f"{impairment}end/", "/api/v1/findings/"):
            assert member.post(address, {}).status_code == 403, address
    for address in (finding, impairment, "/api/v1/findings/", "/api/v1/impairments/"):
        assert api(ours.access).get(address).status_code == 403


def test_findings_are_filtered_and_ordered(ours, office):
    for grade in ("critical", "noncritical", "observation"):
        found(ours, office, grade)
    one = office.get("/api/v1/findings/", {"class": "critical", "state": "open"}).data
    assert [f["class"] for f in one["results"]] == ["critical"]
    with ours.scope():
        Finding.objects.filter(grade="critical").update(respond_by="2020-01-01")
    late = office.get("/api/v1/findings/", {"overdue": True}).data["results"]
    assert [f["class"] for f in late] == ["critical"]
    assert office.get("/api/v1/findings/", {"overdue": False}).data["count"] == 2
    wrong = office.get("/api/v1/findings/", {"class": "grave"})
    assert (wrong.status_code, wrong.data["errors"][0]["field"]) == (400, "class")


@pytest.mark.parametrize("count", [1, 8])
def test_lists_ask_as_often_for_many_as_for_few(ours, office, django_assert_max_num_queries, count):
    for _place in range(count):
        found(ours, office, "impairment")
    for name in ("findings", "impairments"):
        with django_assert_max_num_queries(12):
            assert office.get(f"/api/v1/{name}/").data["count"] == count
    with ours.scope():
        assert Impairment.objects.count() == count
