"""What did not get into the record by itself waits whole for a person, who decides once."""

import hashlib
import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from contractors.models import AuditEntry, new_id
from inspections import held
from inspections.models import Event, Photo, Quarantined
from inspections.models import Tablet as TabletRow
from tests.inspections import tablets
from tests.inspections.bundles import bundle
from tests.inspections.tablets import Tablet, attached, picture
from tests.scene import token_client

pytestmark = pytest.mark.django_db


@pytest.fixture
def tablet(ours):
    return Tablet(token_client(ours.technician), ours.technician)


@pytest.fixture
def visit(ours):
    return tablets.planned(ours)


@pytest.fixture
def desk(ours):
    return token_client(ours.manager)


def take_over(client, content):
    raw = content if isinstance(content, bytes) else json.dumps(content).encode()
    body = {"file": SimpleUploadedFile("tablet.json", raw, content_type="application/json")}
    return client.post("/api/v1/held/bundle/", body, format="multipart")


def test_a_tablets_file_waits_and_comes_into_the_record_one_by_one(ours, tablet, visit, desk):
    entries = tablets.worked(tablet, ours, visit.pk)
    answer = take_over(desk, bundle(ours.technician, entries))
    assert (answer.status_code, answer.data["kept"]) == (201, len(entries))
    with ours.scope():
        assert not Event.objects.filter(visit_id=visit.pk).exists()
    waiting = desk.get("/api/v1/held/").data["results"]
    assert [one["entry"]["id"] for one in waiting] == [entry["id"] for entry in entries]
    for one in waiting:
        assert desk.post(f"/api/v1/held/{one['id']}/take/").status_code == 200
    assert desk.get("/api/v1/held/").data["results"] == []
    with ours.scope():
        events = Event.objects.filter(visit_id=visit.pk)
        assert events.count() == len(entries)
        assert {event.by_id for event in events} == {ours.technician.pk}
        assert AuditEntry.objects.filter(action="entry.decided").count() == len(entries)


def test_the_same_file_again_changes_nothing(ours, tablet, visit, desk):
    entries = tablets.worked(tablet, ours, visit.pk)
    tablet.push(entries[0])
    saved = bundle(ours.technician, entries)
    first, again = take_over(desk, saved).data, take_over(desk, saved).data
    assert (first["kept"], first["known"]) == (len(entries) - 1, 1)
    assert (again["kept"], again["known"]) == (0, len(entries))


def test_photos_of_a_file_join_their_entries(ours, tablet, visit, desk):
    content = picture()
    blob, entry = attached(tablet, ours, visit, content)
    photo = (blob, hashlib.sha256(content).hexdigest(), content)
    answer = take_over(desk, bundle(ours.technician, [entry], [photo]))
    assert (answer.data["photos"], answer.data["unreadable"]) == (1, 0)
    with ours.scope():
        held.take(Quarantined.objects.get(), by=ours.manager)
        assert Photo.objects.get(pk=blob).file is not None


def test_what_cannot_be_opened_is_counted_and_the_rest_is_kept(ours, tablet, visit, desk):
    entries = tablets.worked(tablet, ours, visit.pk)
    saved = bundle(ours.technician, entries)
    saved["events"][1]["data"] = saved["events"][0]["data"]
    saved["events"][2]["key"] = str(new_id())
    answer = take_over(desk, saved).data
    assert (answer["kept"], answer["unreadable"]) == (len(entries) - 2, 2)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"format": "x"}, "no file that a tablet saved"),
        ({"version": 2}, "no file that a tablet saved"),
        ({"member": str(new_id())}, "nobody who works here"),
        ({"member": 5}, "file.member"),
        ({"events": [{}]}, "file.events.0.id"),
    ],
)
def test_what_is_no_bundle_of_ours_is_refused_with_the_reason(ours, desk, change, named):
    answer = take_over(desk, bundle(ours.technician, []) | change)
    assert answer.status_code == 422
    assert named in answer.data["detail"]


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff\x00", b"[" * 100_000])
def test_what_is_no_json_is_refused(desk, content):
    assert take_over(desk, content).status_code in (400, 422)


def test_another_contractors_file_is_refused(ours, theirs, desk):
    assert take_over(desk, bundle(theirs.technician, [])).status_code == 422


def refused_by_the_server(tablet, visit):
    entry = tablet.entry(visit.pk, "visit.open", {"at": tablets.WALL, "contact": ""})
    entry["payload"] = {"at": "yesterday"}
    assert tablet.statuses(entry) == ["rejected"]
    return entry


def test_an_entry_the_record_still_refuses_goes_on_waiting_with_the_reason(
    ours, tablet, visit, desk
):
    entry = refused_by_the_server(tablet, visit)
    with ours.scope():
        row = Quarantined.objects.get(event_id=entry["id"])
    answer = desk.post(f"/api/v1/held/{row.pk}/take/")
    assert (answer.status_code, answer.data["code"]) == (422, "still_refused")
    assert "payload.at" in answer.data["detail"]
    assert len(desk.get("/api/v1/held/").data["results"]) == 1


def test_an_entry_is_left_out_with_a_reason_and_once(ours, tablet, visit, desk):
    refused_by_the_server(tablet, visit)
    with ours.scope():
        row = Quarantined.objects.get()
    address = f"/api/v1/held/{row.pk}"
    assert desk.post(f"{address}/leave-out/", {}).status_code == 400
    assert desk.post(f"{address}/leave-out/", {"why": "A slip"}).data["decision"] == "left_out"
    again = desk.post(f"{address}/take/")
    assert (again.status_code, again.data["code"]) == (409, "decided")
    assert json.loads(row.text)["kind"] == "visit.open"


def test_the_page_shows_what_waits_and_decides(ours, tablet, visit, as_manager):
    refused_by_the_server(tablet, visit)
    page = as_manager.get("/tablets/").content.decode()
    assert "Arrival" in page
    assert "Old Mill Offices" in page
    with ours.scope():
        row = Quarantined.objects.get()
    address = f"/tablets/entries/{row.pk}/"
    assert "yesterday" in as_manager.get(address).content.decode()
    missing = as_manager.post(address, {"decision": "left_out", "once": "a"})
    assert (missing.status_code, "Say why" in missing.content.decode()) == (422, True)
    refused = as_manager.post(address, {"decision": "taken", "once": "b"})
    assert refused.status_code == 422
    done = as_manager.post(address, {"decision": "left_out", "why": "A slip", "once": "c"})
    assert done.url == "/tablets/"
    assert "Nothing waits" in as_manager.get("/tablets/").content.decode()


def test_a_file_is_taken_over_on_the_page(ours, tablet, visit, as_manager):
    saved = json.dumps(bundle(ours.technician, tablets.worked(tablet, ours, visit.pk))).encode()
    file = SimpleUploadedFile("tablet.json", saved, content_type="application/json")
    page = as_manager.post("/tablets/file/", {"file": file, "once": "a"}, follow=True)
    assert "4 entries wait for you" in page.content.decode()


def test_a_tablet_out_of_use_fetches_nothing_more(ours, tablet, desk, as_manager):
    assert as_manager.post(f"/tablets/{tablet.id}/out/", {"once": "a"}).url == "/tablets/"
    assert tablet.client.get(f"/api/v1/sync/pull/?tablet={tablet.id}").status_code == 403
    (row,) = desk.get("/api/v1/tablets/").data["results"]
    assert row["revoked_at"] is not None
    with ours.scope():
        before = TabletRow.objects.get().revoked_at
        assert desk.post(f"/api/v1/tablets/{tablet.id}/revoke/").status_code == 200
        assert TabletRow.objects.get().revoked_at == before


def test_technicians_do_not_decide(ours, tablet):
    assert tablet.client.get("/api/v1/held/").status_code == 403
    assert tablet.client.get("/api/v1/tablets/").status_code == 403
