"""Exports: asked for, written by a job, fetched, called off, tried again, expired.

JSON: RFC 8259, section 8.1 (UTF-8). CSV: RFC 4180.
"""

import csv
import io
import json
import re
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from openpyxl import load_workbook

from buildings.models import Building
from contractors import exports, files, outbox
from contractors.doors import Door
from contractors.models import AuditEntry, Export, OutboxMessage, OwnerExport, StoredFile
from contractors.refusal import FieldRefused
from contractors.scope import owner_scope
from scheduling import due

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
HOSTILE = '=HYPERLINK("http://x.example")'
State = Export.State


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def door(ours):
    return Door(ours.manager.user, member=ours.manager)


def run(export):
    """Do the export's job as a worker does."""
    key = f"{export.pk}:{export.attempt}"
    outbox.run(OutboxMessage.objects.get(kind=exports.WRITE, key=key).pk)
    export.refresh_from_db()


def asked(ours, door, kind, format="csv", units="us", **narrowed):
    with ours.scope():
        export = exports.ask(door, kind=kind, format=format, units=units, narrowed=narrowed)
    with ours.scope():
        run(export)
        return export


def content(export, holder):
    with files.opened(export.file.sha256, holder) as file:
        return file.read()


def body(answer):
    """Return the bytes of a file that was answered with; reading them closes it."""
    return b"".join(answer.streaming_content)


def table(ours, export):
    with ours.scope():
        text = content(export, ours.contractor.pk).decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


KINDS = [
    "people", "buildings", "inventory", "visits", "results", "readings", "findings", "due",
    "programme", "follow_ups",
]  # fmt: skip


@pytest.mark.parametrize("format", ["csv", "xlsx", "json"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_table_of_the_desk_is_written_in_every_format(ours, door, kind, format):
    with ours.scope():
        due.derive(ours.building)
    export = asked(ours, door, kind, format)
    assert (export.state, export.error) == (State.READY, "")
    with ours.scope():
        found = content(export, ours.contractor.pk)
        assert export.file.media_type == exports.MEDIA_TYPES[format]
    headings = list(exports.tables[kind].columns("us"))
    if format == "csv":
        rows = list(csv.reader(io.StringIO(found.decode("utf-8-sig"))))
        assert rows[0] == headings
        assert len(rows) == export.rows + 1
    elif format == "xlsx":
        rows = list(load_workbook(io.BytesIO(found)).active.iter_rows(values_only=True))
        assert list(rows[0]) == headings
        assert len(rows) == export.rows + 1
    else:
        document = json.loads(found.decode("utf-8"))
        assert document["table"] == kind
        assert document["columns"] == headings
        assert len(document["rows"]) == export.rows
        assert all(list(row) == headings for row in document["rows"])
    if kind in ("people", "buildings", "inventory", "due", "programme"):
        assert export.rows > 0


def test_a_table_holds_only_rows_of_the_contractor_who_asks(ours, theirs, door):
    with theirs.scope():
        Building.objects.filter(pk=theirs.building.pk).update(name="Zylophane Hall")
    rows = table(ours, asked(ours, door, "inventory"))
    assert {row["building"] for row in rows} == {"Old Mill Offices"}


def test_the_same_filters_narrow_the_file_as_narrow_the_list(ours, door, as_manager):
    with ours.scope():
        due.derive(ours.building)
    listed = as_manager.get("/due/export.csv?week=overdue&who=owner").content.decode("utf-8-sig")
    shown = list(csv.DictReader(io.StringIO(listed)))
    rows = table(ours, asked(ours, door, "due", week="overdue", who="owner"))
    assert rows == shown
    assert rows
    assert {row["done_by"] for row in rows} == {"owner"}


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"kind": "secrets"}, "kind"),
        ({"kind": "owner_items"}, "kind"),
        ({"format": "pdf"}, "format"),
        ({"units": "cubits"}, "units"),
        ({"narrowed": {"colour": "red"}}, "filters.colour"),
        ({"narrowed": {"kind": ["test"]}}, "filters.kind"),
        ({"narrowed": {"week": "soon"}}, "week"),
    ],
)
def test_what_is_not_accepted_is_named(ours, door, given, field):
    wanted = {"kind": "due", "format": "csv", "units": "us", "narrowed": {}, **given}
    with ours.scope(), pytest.raises(FieldRefused) as refused:
        exports.ask(door, **wanted)
    assert refused.value.facts["field"] == field


def test_cells_that_look_like_formulas_are_harmless(ours, door):
    with ours.scope():
        Building.objects.filter(pk=ours.building.pk).update(name=HOSTILE, address="+1\x07@2")
    (row,) = table(ours, asked(ours, door, "buildings"))
    assert row["name"] == f"'{HOSTILE}"
    book = asked(ours, door, "buildings", "xlsx")
    with ours.scope():
        sheet = load_workbook(io.BytesIO(content(book, ours.contractor.pk))).active
    cell = sheet["B2"]
    assert (cell.value, cell.data_type) == (f"'{HOSTILE}", "s")
    plain = asked(ours, door, "buildings", "json")
    with ours.scope():
        (row,) = json.loads(content(plain, ours.contractor.pk))["rows"]
    assert row["name"] == HOSTILE


def test_units_stand_in_headings_and_are_those_chosen(ours, door):
    device = ours.devices["wet_valve"]
    with ours.scope():
        type(device).objects.filter(pk=device.pk).update(attributes={"size": 4.0})
    headings = exports.tables["readings"].columns
    assert {"pressure (psi)", "flow (gpm)", "temperature (°F)"} <= set(headings("us"))
    assert {"pressure (bar)", "flow (L/min)", "temperature (°C)"} <= set(headings("metric"))


def test_a_moment_is_told_in_the_buildings_time_zone():
    at = datetime(2026, 7, 1, 3, 30, tzinfo=UTC)
    assert exports.moment(at, "America/New_York") == "2026-06-30T23:30:00-04:00"
    assert exports.moment(at, "Asia/Kolkata") == "2026-07-01T09:00:00+05:30"


def test_only_a_chunk_is_read_at_once_and_the_order_is_kept(ours, door, monkeypatch):
    with ours.scope():
        for number in range(7):
            Building.objects.create(
                code=f"X-{number}", name=f"House {9 - number}", address="1", city="S",
                taken_over_on=NOW.date(),
            )  # fmt: skip
    seen = []
    old = exports.tables["buildings"]
    small = exports.Table(
        **{
            **{name: getattr(old, name) for name in old.__slots__},
            "chunk": 3,
            "rows": lambda ids, units: seen.append(len(ids)) or old.rows(ids, units),
        }
    )
    monkeypatch.setitem(exports.tables, "buildings", small)
    rows = table(ours, asked(ours, door, "buildings"))
    assert seen == [3, 3, 2]
    names = [row["name"] for row in rows]
    assert names == sorted(names)
    assert len(names) == 8


def test_a_file_is_called_off_while_it_is_written_and_nothing_is_left(ours, door, monkeypatch):
    with ours.scope():
        export = exports.ask(door, kind="buildings", format="csv", units="us", narrowed={})

    def rows(ids, _units):
        exports.cancel(door, export)
        return iter(())

    old = exports.tables["buildings"]
    names = {name: getattr(old, name) for name in old.__slots__}
    monkeypatch.setitem(exports.tables, "buildings", exports.Table(**{**names, "rows": rows}))
    with ours.scope():
        run(export)
        assert export.state == State.CANCELLED
        assert not StoredFile.objects.exists()
    parts = files.settings.MEDIA_ROOT / str(ours.contractor.pk)
    assert not list(parts.glob("part-*"))


def test_what_fails_says_so_and_is_tried_again(ours, door, monkeypatch):
    old = exports.tables["buildings"]
    names = {name: getattr(old, name) for name in old.__slots__}

    def rows(ids, _units):
        raise OSError("the disk is full")

    monkeypatch.setitem(exports.tables, "buildings", exports.Table(**{**names, "rows": rows}))
    with ours.scope():
        export = exports.ask(door, kind="buildings", format="csv", units="us", narrowed={})
    message = OutboxMessage.objects.get(kind=exports.WRITE)
    for _attempt in range(outbox.MOST_ATTEMPTS):
        OutboxMessage.objects.filter(pk=message.pk).update(not_before=NOW)
        outbox.run(message.pk)
    with ours.scope():
        export.refresh_from_db()
        assert export.state == State.FAILED
        assert export.error.startswith("Something broke here")
    monkeypatch.setitem(exports.tables, "buildings", old)
    with ours.scope():
        exports.retry(door, export)
        run(export)
        assert (export.state, export.attempt, export.rows) == (State.READY, 2, 1)


def test_a_worker_that_dies_three_times_leaves_no_export_waiting_for_ever(ours, door):
    with ours.scope():
        export = exports.ask(door, kind="buildings", format="csv", units="us", narrowed={})
    OutboxMessage.objects.filter(kind=exports.WRITE).update(state=OutboxMessage.State.PARKED)
    with ours.scope():
        assert exports.of(door).get(pk=export.pk).state == State.FAILED


def test_a_file_expires_and_its_bytes_are_deleted(
    ours, door, as_manager, django_capture_on_commit_callbacks
):
    export = asked(ours, door, "buildings")
    with ours.scope():
        sha256 = export.file.sha256
    address = f"/exports/{export.pk}/file/"
    assert body(as_manager.get(address)).startswith(b"\xef\xbb\xbf")
    with time_machine.travel(NOW + exports.KEPT_FOR + timedelta(minutes=1), tick=False):
        as_manager.force_login(ours.manager.user)
        assert as_manager.get(address).status_code == 410
        message = OutboxMessage.objects.get(kind=exports.EXPIRE)
        with django_capture_on_commit_callbacks(execute=True):
            assert outbox.run(message.pk)
        with ours.scope():
            export.refresh_from_db()
            assert export.state == State.EXPIRED
            assert not StoredFile.objects.exists()
            with pytest.raises(FileNotFoundError):
                files.opened(sha256, ours.contractor.pk)


def test_bytes_that_another_file_shares_stay_when_one_expires(
    ours, door, django_capture_on_commit_callbacks
):
    first, second = (asked(ours, door, "buildings") for _ in range(2))
    with ours.scope():
        assert first.file.sha256 == second.file.sha256
        Export.objects.filter(pk=first.pk).update(expires_at=NOW)
    message = OutboxMessage.objects.get(kind=exports.EXPIRE, key=f"{first.pk}:1")
    OutboxMessage.objects.filter(pk=message.pk).update(not_before=NOW)
    with django_capture_on_commit_callbacks(execute=True):
        assert outbox.run(message.pk)
    with ours.scope():
        assert content(second, ours.contractor.pk)


def test_more_than_four_at_once_are_refused(ours, door):
    with ours.scope():
        for _ in range(exports.MOST_AT_ONCE):
            exports.ask(door, kind="buildings", format="csv", units="us", narrowed={})
        with pytest.raises(exports.TooMany):
            exports.ask(door, kind="buildings", format="csv", units="us", narrowed={})


def test_who_asked_and_who_fetched_is_written_down(ours, door, as_manager):
    export = asked(ours, door, "people")
    body(as_manager.get(f"/exports/{export.pk}/file/"))
    with ours.scope():
        actions = AuditEntry.objects.filter(subject_id=export.pk).order_by("at", "action")
        assert list(actions.values_list("action", flat=True)) == ["export.asked", "export.fetched"]


def test_the_page_asks_watches_and_gives_the_file(ours, as_manager):
    page = as_manager.post("/exports/", {"table": "people", "format": "csv", "units": "us"})
    assert page.status_code == 302
    assert b"waits for its turn" in as_manager.get("/exports/").content.lower()
    assert b"hx-get" in as_manager.get("/exports/progress/").content
    with ours.scope():
        export = Export.objects.get()
        run(export)
    shown = as_manager.get("/exports/progress/").content
    assert b"hx-get" not in shown
    assert b"Fetch the file" in shown
    answer = as_manager.get(f"/exports/{export.pk}/file/")
    assert answer["Content-Disposition"] == 'attachment; filename="people-2026-11-25.csv"'
    assert b"Sam Technician" in body(answer)


def test_a_wrong_filter_on_the_page_is_named_and_what_was_chosen_stays(as_manager):
    given = {"table": "due", "format": "xlsx", "units": "metric", "week": "soon"}
    page = as_manager.post("/exports/", given)
    assert page.status_code == 400
    assert b"week" in page.content
    assert page.context["chosen_format"] == "xlsx"


def test_a_lists_own_filters_come_along_even_one_called_kind(ours, as_manager):
    listed = as_manager.get("/due/?kind=test&who=all").content.decode()
    (link,) = re.findall(r'href="(/exports/\?table=due[^"]*)"', listed)
    page = as_manager.get(link.replace("&amp;", "&"))
    assert page.context["chosen_kind"] == "due"
    given = {"table": "due", "format": "csv", "units": "us", **page.context["narrowed"]}
    assert as_manager.post("/exports/", given).status_code == 302
    with ours.scope():
        assert Export.objects.get().filters == {"kind": "test", "who": "all"}


def test_technicians_and_trainers_export_nothing(as_technician, as_member, ours):
    for client in (as_technician, as_member(ours.trainer)):
        assert client.get("/exports/").status_code == 403
        assert client.post("/exports/", {"table": "people"}).status_code == 403


def test_the_api_takes_an_export_says_how_far_it_is_and_gives_the_file(ours, api):
    client = api(ours.manager)
    names = [one["name"] for one in client.get("/api/v1/exports/tables/").data]
    assert names == KINDS
    wanted = {"kind": "inventory", "format": "json", "units": "metric"}
    answer = client.post("/api/v1/exports/", wanted, HTTP_IDEMPOTENCY_KEY="one")
    assert answer.status_code == 202
    assert (answer.data["state"], answer.data["link"]) == ("waiting", None)
    again = client.post("/api/v1/exports/", wanted, HTTP_IDEMPOTENCY_KEY="one")
    assert again.json()["id"] == answer.data["id"]
    with ours.scope():
        run(Export.objects.get())
    told = client.get(answer["Location"]).data
    assert (told["state"], told["progress"]) == ("ready", 100)
    assert told["expires_at"].startswith("2026-12-02T15:00")
    file = client.get(told["link"])
    assert file["Content-Type"] == "application/json"
    document = json.loads(body(file))
    assert document["units"] == "metric"
    assert client.post(f"/api/v1/exports/{told['id']}/cancel/").status_code == 409
    assert client.post(f"/api/v1/exports/{told['id']}/retry/").status_code == 409


def test_the_api_names_what_it_does_not_take(ours, api):
    client = api(ours.manager)
    for wanted in ({}, {"kind": "due", "format": "doc"}, {"kind": "due", "filters": {"x": 1}}):
        answer = client.post("/api/v1/exports/", wanted)
        assert answer.status_code == 400
        assert answer.data["errors"][0]["field"] in ("kind", "format", "filters.x")
    assert api(ours.technician).post("/api/v1/exports/", {"kind": "due"}).status_code == 403


def publish(scene):
    with scene.scope():
        due.derive(scene.building)


def test_an_owner_exports_their_own_rooms_and_nothing_else(ours, theirs, as_owner, api):
    publish(ours)
    publish(theirs)
    assert (
        as_owner.post(
            "/owner/exports/", {"table": "owner_buildings", "format": "csv", "units": "us"}
        ).status_code
        == 302
    )
    assert as_owner.post("/owner/exports/", {"table": "people"}).status_code == 400
    with owner_scope(ours.owner.pk):
        export = OwnerExport.objects.get()
    assert outbox.run(OutboxMessage.objects.get(kind=exports.WRITE).pk)
    answer = as_owner.get(f"/owner/exports/{export.pk}/file/")
    rows = list(csv.DictReader(io.StringIO(body(answer).decode("utf-8-sig"))))
    assert [row["building"] for row in rows] == ["Old Mill Offices"]
    assert [row["looked after by"] for row in rows] == ["Northbank Fire Protection"]
    told = api(ours.access).get(f"/api/v1/exports/{export.pk}/").data
    assert told["state"] == "ready"
    assert api(theirs.access).get(f"/api/v1/exports/{export.pk}/").status_code == 404
    assert api(ours.manager).get(f"/api/v1/exports/{export.pk}/").status_code == 404


@pytest.mark.parametrize("kind", ["owner_items", "owner_reports"])
def test_the_other_tables_of_an_owner_are_written(ours, as_owner, api, kind):
    publish(ours)
    client = api(ours.access)
    answer = client.post("/api/v1/exports/", {"kind": kind, "format": "json"})
    assert answer.status_code == 202
    assert outbox.run(OutboxMessage.objects.get(kind=exports.WRITE).pk)
    assert client.get(answer["Location"]).data["state"] == "ready"


def test_an_owner_without_a_building_is_told_so(ours, api):
    answer = api(ours.access).post("/api/v1/exports/", {"kind": "owner_items"})
    assert answer.status_code == 409
    assert answer.data["code"] == "nothing_to_export"
