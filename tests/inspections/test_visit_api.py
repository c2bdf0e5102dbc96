"""The main job through the API alone, and every address of visits, results, photos, reports."""

import hashlib
import io
import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from contractors import outbox
from contractors.models import OutboxMessage, new_id
from inspections.models import Event, Photo, Report, Visit

pytestmark = pytest.mark.django_db
AT = "2026-11-25T09:05:00-05:00"


@pytest.fixture
def office(ours, api):
    return api(ours.office)


@pytest.fixture
def manager(ours, api):
    return api(ours.manager)


@pytest.fixture
def technician(ours, api):
    return api(ours.technician)


def drain_test(scene):
    return {"kind": "riser", "id": str(scene.wet_riser.pk)}


def planned(scene, client, **more):
    body = {
        "building": str(scene.building.pk),
        "technician": str(scene.people["technician"].pk),
        "planned_on": "2026-11-25",
        "title": "Main drain",
        "lines": [
            {
                "subject_kind": "riser",
                "subject_id": str(scene.wet_riser.pk),
                "activity": "main-drain-annual",
            }
        ],
        **more,
    }
    answer = client.post("/api/v1/visits/", body)
    assert answer.status_code == 201, answer.data
    return f"/api/v1/visits/{answer.data['id']}/"


def read(scene, name, psi):
    payload = {
        "subject": drain_test(scene),
        "activity": "main-drain-annual",
        "name": name,
        "typed": f"{psi} psi",
        "value": {"value": str(psi), "unit": "psi"},
    }
    return {"kind": "reading.add", "payload": payload}


def answered(scene, answer="pass", **more):
    payload = {"subject": drain_test(scene), "activity": "main-drain-annual", "answer": answer}
    return {"kind": "item.set", "payload": payload, **more}


def worked(scene):
    return [
        {"kind": "visit.open", "payload": {"at": AT, "contact": "the caretaker"}},
        read(scene, "static_pressure", 82),
        read(scene, "residual_pressure", 64),
        answered(scene),
    ]


def signed(shown):
    owner = {"role": "absent", "reason": "nobody in", "shown": shown}
    own = {"role": "technician", "name": "Sam Technician", "shown": shown}
    return [{"kind": "signature.add", "payload": payload} for payload in (own, owner)]


def handed_in(scene, office, technician):
    address = planned(scene, office)
    assert technician.post(f"{address}entries/", worked(scene)).status_code == 201
    shown = technician.get(f"{address}missing/").data["shown"]
    technician.post(f"{address}entries/", signed(shown))
    done = technician.post(f"{address}hand-in/")
    assert (done.status_code, done.data["state"]) == (200, "handed_in"), done.data
    return address


def test_the_main_job_is_done_through_the_api_alone(ours, office, technician, manager):
    address = planned(ours, office)
    done = technician.post(f"{address}entries/", worked(ours))
    assert [one["status"] for one in done.data] == ["applied"] * 4
    early = technician.post(f"{address}hand-in/")
    assert (early.status_code, early.data["code"]) == (409, "still_missing")
    lacks = technician.get(f"{address}missing/").data
    assert [one["lack"] for one in lacks["missing"]] == ["not_signed", "owner_not_signed"]
    technician.post(f"{address}entries/", signed(lacks["shown"]))
    assert technician.post(f"{address}hand-in/").data["state"] == "handed_in"

    sealed = manager.post(f"{address}review/", {"verdict": "accept"})
    assert (sealed.data["state"], sealed.data["number"]) == ("sealed", 1)
    visit = sealed.data["id"]
    job = OutboxMessage.objects.get(kind="report.make")
    assert outbox.run(job.pk)

    listed = office.get("/api/v1/reports/", {"visit": visit}).data["results"]
    assert [(r["version"], r["has_pdf"]) for r in listed] == [(1, True)]
    report = f"/api/v1/reports/{listed[0]['id']}/"
    facts = office.get(report).data["facts"]
    drain = next(s for s in facts["systems"] if s["name"] == "Offices, wet")
    assert [r["typed"] for r in drain["readings"]] == ["82 psi", "64 psi"]
    frozen = office.get(f"{report}facts/").content
    assert hashlib.sha256(frozen).hexdigest() == listed[0]["sha256"]
    assert json.loads(frozen) == facts
    pdf = office.get(f"{report}pdf/", HTTP_ACCEPT="application/pdf")
    assert pdf.content.startswith(b"%PDF-")
    assert "report-1-v1.pdf" in pdf["Content-Disposition"]

    (result,) = office.get("/api/v1/results/", {"visit": visit}).data["results"]
    assert (result["answer"], result["performed_on"]) == ("pass", "2026-11-25")
    readings = office.get("/api/v1/readings/", {"visit": visit, "ordering": "name"}).data
    assert [r["name"] for r in readings["results"]] == ["residual_pressure", "static_pressure"]
    one = readings["results"][0]
    assert office.get(f"/api/v1/readings/{one['id']}/").data == one
    events = office.get(f"{address}events/").data
    assert [e["kind"] for e in events["results"]][-2:] == ["visit.review", "visit.seal"]
    assert {e["via"] for e in events["results"]} == {"api", "service"}


def test_a_pdf_that_is_not_made_yet_is_said_to_be_on_its_way(ours, office, technician, manager):
    address = handed_in(ours, office, technician)
    manager.post(f"{address}review/", {"verdict": "accept"})
    with ours.scope():
        from inspections import report

        made = report.freeze(Visit.objects.get())
    answer = office.get(f"/api/v1/reports/{made.pk}/pdf/", HTTP_ACCEPT="application/pdf")
    assert (answer.status_code, answer.data["code"]) == (409, "report_being_made")
    assert answer["Content-Type"] == "application/problem+json"


def test_an_entry_sent_twice_is_recorded_once(ours, office, technician):
    address = planned(ours, office)
    entries = [one | {"id": str(new_id())} for one in worked(ours)]
    technician.post(f"{address}entries/", entries)
    again = technician.post(f"{address}entries/", entries)
    assert [one["status"] for one in again.data] == ["duplicate"] * 4
    with ours.scope():
        assert Event.objects.count() == 4


def test_a_repeated_request_with_its_key_plans_one_visit(ours, office):
    body = {"building": str(ours.building.pk), "planned_on": "2026-12-01"}
    answers = [
        office.post("/api/v1/visits/", body, HTTP_IDEMPOTENCY_KEY="plan-1") for _ in range(2)
    ]
    assert answers[0].data["id"] == answers[1].data["id"]
    assert office.get("/api/v1/visits/").data["count"] == 1


WRONG_ENTRIES = [
    ([{"kind": "visit.seal", "payload": {}}], "[0].kind"),
    ([{"kind": "visit.review", "payload": {"verdict": "accept"}}], "[0].kind"),
    ([{"kind": "note.add", "payload": {}}], "[0].payload.text"),
    ([{"kind": "note.add", "payload": {"text": "ok"}, "id": "7"}], "[0].id"),
    ([{"kind": "visit.open", "payload": {"at": "yesterday"}}], "[0].payload.at"),
    ([{"kind": "note.add", "payload": {"text": "ok"}, "stream": "garden"}], "[0].stream"),
    ([{"payload": {}}], "[0].kind"),
]


@pytest.mark.parametrize(("entries", "field"), WRONG_ENTRIES)
def test_a_wrong_entry_is_named_by_place_and_field(ours, office, technician, entries, field):
    address = planned(ours, office)
    answer = technician.post(f"{address}entries/", entries)
    assert (answer.status_code, answer.data["code"]) == (400, "invalid"), answer.data
    assert answer.data["errors"][0]["field"] == field
    with ours.scope():
        assert not Event.objects.exists()


def test_one_wrong_entry_leaves_the_right_ones_out(ours, office, technician):
    address = planned(ours, office)
    wrong = answered(ours, "splendid")
    answer = technician.post(f"{address}entries/", [*worked(ours), wrong])
    (error,) = answer.data["errors"]
    assert (error["field"], error["value"]) == ("[4].payload.answer", "splendid")
    assert "could_not" in error["accepted"]
    with ours.scope():
        assert not Event.objects.exists()


def test_entries_are_a_list_and_not_too_many(ours, office, technician):
    address = planned(ours, office)
    note = {"kind": "note.add", "payload": {"text": "x"}}
    assert technician.post(f"{address}entries/", note).status_code == 400
    assert technician.post(f"{address}entries/", []).status_code == 400
    many = technician.post(f"{address}entries/", [note] * 501)
    assert (many.status_code, many.data["facts"]["value"]) == (400, "501")


def test_an_item_of_another_contractor_is_unknown(ours, theirs, office, technician):
    address = planned(ours, office)
    answers = []
    for item in (str(theirs.wet_riser.pk), str(new_id())):
        stray = answered(ours)
        stray["payload"]["subject"] = {"kind": "riser", "id": item}
        answer = technician.post(f"{address}entries/", [stray])
        answers.append((answer.status_code, answer.data["errors"][0]["accepted"]))
    assert answers == [(400, "a riser of this building")] * 2


def test_an_outage_ends_without_proof_for_a_licensed_person_alone(ours, office, manager):
    address = planned(ours, office)
    outage = str(new_id())
    begun = {
        "outage": outage,
        "subject": drain_test(ours),
        "extent": "Offices without water",
        "attended": True,
        "person": "Sam",
    }
    office.post(f"{address}entries/", [{"kind": "outage.start", "payload": begun}])
    ended = {"outage": outage, "result": "restored_proof_missing", "reason": "no gauge"}
    ending = [{"kind": "outage.end", "payload": ended | {"licence": "made-up-1"}}]
    assert office.post(f"{address}entries/", ending).status_code == 403
    assert manager.post(f"{address}entries/", ending).status_code == 201
    with ours.scope():
        body = Event.objects.get(kind="outage.end").body
    assert "made-up-1" not in body


def test_a_review_needs_a_licence_and_a_send_back_its_text(ours, office, technician, manager):
    address = handed_in(ours, office, technician)
    refused = office.post(f"{address}review/", {"verdict": "accept"})
    assert (refused.status_code, refused.data["code"]) == (403, "not_licensed")
    silent = manager.post(f"{address}review/", {"verdict": "send_back"})
    assert silent.data["errors"][0]["field"] == "text"
    odd = manager.post(f"{address}review/", {"verdict": "maybe"})
    assert odd.data["errors"][0]["value"] == "maybe"
    back = manager.post(f"{address}review/", {"verdict": "send_back", "text": "Static twice"})
    assert back.data["state"] == "open"
    again = manager.post(f"{address}review/", {"verdict": "accept"})
    assert (again.status_code, again.data["code"]) == (409, "wrong_state")


def test_a_sealed_visit_is_amended_and_the_entry_stays(ours, office, technician, manager):
    address = handed_in(ours, office, technician)
    manager.post(f"{address}review/", {"verdict": "accept"})
    events = office.get(f"{address}events/").data["results"]
    wrong = next(e for e in events if e["kind"] == "reading.add")
    body = {
        "target": wrong["id"],
        "value": wrong["payload"] | {"typed": "28 psi", "value": {"value": "28", "unit": "psi"}},
        "reason": "mistyped",
        "text": "Digits turned round",
    }
    typo = office.post(f"{address}amend/", body | {"value": {"typed": "28 psi"}})
    assert typo.data["errors"][0]["field"] == "payload.value.subject"
    stray = office.post(f"{address}amend/", body | {"target": str(new_id())})
    assert stray.data["errors"][0]["field"] == "payload.target"
    assert office.post(f"{address}amend/", body).status_code == 200
    reading = office.get("/api/v1/readings/", {"name": wrong["payload"]["name"]}).data
    assert [r["typed"] for r in reading["results"]] == ["28 psi"]
    again = body | {"value": body["value"] | {"typed": "29 psi"}}
    again["value"]["value"] = {"value": "29", "unit": "psi"}
    office.post(f"{address}amend/", again)
    reading = office.get("/api/v1/readings/", {"name": wrong["payload"]["name"]}).data
    assert [r["typed"] for r in reading["results"]] == ["29 psi"]
    assert office.get(f"{address}events/").data["results"][1]["payload"]["typed"] == "82 psi"


def test_a_visit_is_moved_given_away_and_cancelled(ours, office, technician):
    address = planned(ours, office, planned_start="2026-11-25T14:00:00Z")
    moved = office.patch(address, {"planned_on": "2026-11-27"}).data
    assert (moved["planned_on"], moved["planned_start"]) == ("2026-11-27", "2026-11-27T14:00:00Z")
    wrong = office.patch(address, {"technician": str(ours.people["office"].pk)})
    assert (wrong.status_code, wrong.data["facts"]["field"]) == (400, "technician")
    technician.post(f"{address}entries/", worked(ours)[:1])
    late = office.patch(address, {"planned_on": "2026-11-28"})
    assert (late.status_code, late.data["code"]) == (409, "begun_already")
    silent = office.post(f"{address}cancel/", {"reason": "other"})
    assert silent.data["errors"][0]["field"] == "text"
    done = office.post(f"{address}cancel/", {"reason": "weather"})
    assert done.data["state"] == "cancelled"
    assert office.post(f"{address}cancel/", {"reason": "weather"}).status_code == 409


WRONG_VISITS = [
    ({}, "building"),
    ({"planned_on": "next week"}, "planned_on"),
    ({"kind": "picnic"}, "kind"),
    ({"planned_minutes": -1}, "planned_minutes"),
    ({"lines": [{"subject_kind": "riser"}]}, "lines[0].subject_id"),
    ({"lines": [{"subject_kind": "zone", "subject_id": str(new_id())}]}, "lines[0].subject_kind"),
]


@pytest.mark.parametrize(("body", "field"), WRONG_VISITS)
def test_a_visit_is_refused_with_the_field_that_is_wrong(ours, office, body, field):
    building = {"building": str(ours.building.pk)} if body else {}
    answer = office.post("/api/v1/visits/", body | building)
    assert answer.status_code == 400
    assert field in [error["field"] for error in answer.data["errors"]]


def test_a_line_names_an_item_of_the_building_and_an_activity_that_exists(ours, theirs, office):
    line = {"subject_kind": "riser", "activity": "main-drain-annual"}
    body = {"building": str(ours.building.pk)}
    for item in (theirs.wet_riser.pk, new_id()):
        answer = office.post(
            "/api/v1/visits/", body | {"lines": [line | {"subject_id": str(item)}]}
        )
        assert answer.data["facts"]["field"] == "lines[0].subject_id"
    unknown = line | {"subject_id": str(ours.wet_riser.pk), "activity": "polish"}
    answer = office.post("/api/v1/visits/", body | {"lines": [unknown]})
    assert answer.data["facts"]["value"] == "polish"


def test_rows_of_others_cannot_be_named(ours, theirs, office):
    for body in (
        {"building": str(theirs.building.pk)},
        {"building": str(ours.building.pk), "technician": str(theirs.people["technician"].pk)},
    ):
        answer = office.post("/api/v1/visits/", body)
        assert answer.status_code == 400
        assert answer.data["errors"][0]["field"] in body


def everything(scene, visit):
    """Yield every address of a visit and of what hangs on it."""
    yield from (("get", f"/api/v1/visits/{visit}/{tail}") for tail in ("", "missing/", "events/"))
    for tail in ("entries/", "hand-in/", "review/", "amend/", "cancel/"):
        yield "post", f"/api/v1/visits/{visit}/{tail}"
    yield "patch", f"/api/v1/visits/{visit}/"


def sealed_visit(scene, api):
    office, technician, manager = (
        api(getattr(scene, role)) for role in ("office", "technician", "manager")
    )
    address = handed_in(scene, office, technician)
    visit = address.rstrip("/").rpartition("/")[2]
    return office, technician, manager, visit


def test_what_is_anothers_is_answered_like_what_is_not_there(ours, theirs, api):
    _office, _technician, their_manager, visit = sealed_visit(theirs, api)
    photo = api(theirs.technician).post(
        "/api/v1/photos/", {"visit": visit, "file": picture()}, format="multipart"
    )
    their_manager.post(f"/api/v1/visits/{visit}/review/", {"verdict": "accept"})
    with theirs.scope():
        from inspections import report

        made = report.freeze(Visit.objects.get())
    result = their_manager.get("/api/v1/results/").data["results"][0]["id"]
    reading = their_manager.get("/api/v1/readings/").data["results"][0]["id"]
    manager = api(ours.manager)
    pairs = [
        *zip(everything(theirs, visit), everything(ours, new_id()), strict=True),
        *(
            (("get", f"/api/v1/{name}/{row}/{tail}"), ("get", f"/api/v1/{name}/{new_id()}/{tail}"))
            for name, row, tail in (
                ("results", result, ""),
                ("readings", reading, ""),
                ("photos", photo.data["id"], ""),
                ("photos", photo.data["id"], "file/"),
                ("reports", made.pk, ""),
                ("reports", made.pk, "facts/"),
                ("reports", made.pk, "pdf/"),
            )
        ),
    ]
    for (method, address), (_method, elsewhere) in pairs:
        answer, nothing = (
            getattr(manager, method)(url, [] if url.endswith("entries/") else {})
            for url in (address, elsewhere)
        )
        assert answer.status_code == 404, address
        assert answer.content == nothing.content, address
    for name in ("visits", "results", "readings", "photos", "reports"):
        assert manager.get(f"/api/v1/{name}/").data["count"] == 0


def test_a_technician_works_on_their_own_visits_only(ours, office, technician):
    with ours.scope():
        other = Visit.objects.create(building=ours.building, planned_on="2026-11-25")
    mine = planned(ours, office)
    listed = technician.get("/api/v1/visits/").data["results"]
    assert [f"/api/v1/visits/{one['id']}/" for one in listed] == [mine]
    assert technician.get(f"/api/v1/visits/{other.pk}/").status_code == 404
    note = [{"kind": "note.add", "payload": {"text": "x"}}]
    assert technician.post(f"/api/v1/visits/{other.pk}/entries/", note).status_code == 404
    for method, address in everything(ours, mine.rstrip("/").rpartition("/")[2]):
        if method == "get" or address.endswith(("entries/", "hand-in/")):
            continue
        assert getattr(technician, method)(address, {}).status_code == 403, address
    assert technician.post("/api/v1/visits/", {}).status_code == 403


def test_trainers_read_and_owners_and_strangers_stay_outside(ours, office, api, client):
    address = planned(ours, office)
    trainer, owner = api(ours.trainer), api(ours.access)
    assert trainer.get(address).status_code == 200
    assert trainer.post(f"{address}entries/", []).status_code == 403
    for name in ("visits", "results", "readings", "photos", "reports"):
        assert owner.get(f"/api/v1/{name}/").status_code == 403
        assert client.get(f"/api/v1/{name}/").status_code == 401


def test_visits_are_filtered_and_ordered(ours, office):
    for day in ("2026-11-24", "2026-11-25", "2026-11-26"):
        planned(ours, office, planned_on=day)
    asked = {"planned_from": "2026-11-25", "ordering": "planned_on", "state": "planned"}
    listed = office.get("/api/v1/visits/", asked).data["results"]
    assert [v["planned_on"] for v in listed] == ["2026-11-25", "2026-11-26"]
    wrong = office.get("/api/v1/visits/", {"state": "lost"})
    assert (wrong.status_code, wrong.data["errors"][0]["field"]) == (400, "state")
    paged = office.get("/api/v1/visits/", {"page_size": 2})
    assert (len(paged.data["results"]), paged.data["count"]) == (2, 3)


@pytest.mark.parametrize("count", [1, 12])
@pytest.mark.parametrize("name", ["visits", "results", "readings", "photos", "reports"])
def test_lists_ask_as_often_for_many_as_for_few(
    ours, office, technician, django_assert_max_num_queries, name, count
):
    for place in range(count):
        address = planned(ours, office, title=f"Visit {place}")
    technician.post(f"{address}entries/", worked(ours))
    with django_assert_max_num_queries(11):
        assert office.get(f"/api/v1/{name}/").status_code == 200


def picture(color="red"):
    out = io.BytesIO()
    Image.new("RGB", (40, 30), color).save(out, "PNG")
    return SimpleUploadedFile("drain.png", out.getvalue())


def test_a_photo_is_recorded_written_anew_and_served_safely(ours, office, technician):
    address = planned(ours, office)
    visit = address.rstrip("/").rpartition("/")[2]
    body = {
        "visit": visit,
        "file": picture(),
        "subject_kind": "riser",
        "subject_id": str(ours.wet_riser.pk),
        "caption": "Drain open",
    }
    made = technician.post("/api/v1/photos/", body, format="multipart")
    assert (made.status_code, made.data["arrived"]) == (201, True), made.data
    served = technician.get(f"/api/v1/photos/{made.data['id']}/file/")
    assert served.content.startswith(b"\xff\xd8")
    assert served["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in served["Content-Security-Policy"]
    assert served["Content-Disposition"].startswith("inline")
    with ours.scope():
        event = Event.objects.get(kind="photo.attach")
        assert Photo.objects.get().blob_sha256 in event.body
        assert Visit.objects.get().state == "open"


def test_what_is_no_picture_or_has_no_visit_is_refused(ours, theirs, office, technician, api):
    visit = planned(ours, office).rstrip("/").rpartition("/")[2]
    text = SimpleUploadedFile("drain.jpg", b"not a picture")
    wrong = technician.post("/api/v1/photos/", {"visit": visit, "file": text}, format="multipart")
    assert (wrong.status_code, wrong.data["code"]) == (422, "picture_refused")
    none = technician.post("/api/v1/photos/", {"visit": visit}, format="multipart")
    assert none.data["errors"][0]["field"] == "file"
    half = {"visit": visit, "file": picture(), "subject_kind": "riser"}
    lone = technician.post("/api/v1/photos/", half, format="multipart")
    assert lone.data["errors"][0]["field"] == "subject_id"
    theirs_visit = planned(theirs, api(theirs.office)).rstrip("/").rpartition("/")[2]
    for stray in (theirs_visit, str(new_id())):
        body = {"visit": stray, "file": picture()}
        answer = technician.post("/api/v1/photos/", body, format="multipart")
        assert (answer.status_code, answer.data["facts"]["field"]) == (400, "visit")
    body = {"visit": visit, "file": picture(), "finding": str(new_id())}
    answer = technician.post("/api/v1/photos/", body, format="multipart")
    assert answer.data["facts"]["field"] == "finding"


def test_a_sealed_visit_takes_no_photo(ours, office, technician, manager):
    address = handed_in(ours, office, technician)
    manager.post(f"{address}review/", {"verdict": "accept"})
    visit = address.rstrip("/").rpartition("/")[2]
    body = {"visit": visit, "file": picture()}
    answer = technician.post("/api/v1/photos/", body, format="multipart")
    assert (answer.status_code, answer.data["code"]) == (409, "no_photos_any_more")


def test_an_address_that_holds_no_id_leads_nowhere(ours, office):
    for name in ("visits", "results", "photos", "reports"):
        assert office.get(f"/api/v1/{name}/nonsense/").status_code == 404, name
    with ours.scope():
        assert not Report.objects.exists()


@pytest.mark.parametrize("unit", ["word", "gpm", "furlong"])
def test_a_reading_in_a_unit_of_something_else_is_refused(ours, office, technician, manager, unit):
    address = planned(ours, office)
    wrong = read(ours, "residual_pressure", 64)
    wrong["payload"]["value"]["unit"] = unit
    answer = technician.post(f"{address}entries/", [*worked(ours), wrong])
    assert answer.status_code == 400
    (error,) = answer.data["errors"]
    assert (error["field"], error["value"]) == ("payload.value.unit", unit)
    assert "psi" in error["accepted"]
    with ours.scope():
        assert not Event.objects.exists()
