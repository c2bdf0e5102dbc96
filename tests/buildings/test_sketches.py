"""Sketches and photos of a building: what is taken, in what order, and that nothing is lost."""

import hashlib
import io
from datetime import UTC, datetime

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from buildings import sketches
from buildings.models import Sketch
from contractors import files
from contractors.models import AuditEntry, StoredFile
from contractors.pictures import PictureRefused
from contractors.refusal import FieldRefused

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def at_three(ours):
    with time_machine.travel(NOW, tick=False):
        yield


def drawing(side=64, colour=255, kind="PNG"):
    image, out = Image.new("RGB", (side, side // 2), (colour, colour, 200)), io.BytesIO()
    exif = image.getexif()
    exif[0x010F] = "maker of the camera"
    exif.get_ifd(0x8825)[1] = "N"
    image.save(out, kind, exif=exif)
    return out.getvalue()


def added(ours, caption="Ground floor", content=None, **more):
    given = {"kind": "sketch", "name": "floor.png", "by": ours.manager} | more
    return sketches.add(ours.building, content or drawing(), caption=caption, **given)


def captions(ours):
    return [one.caption for one in sketches.present(ours.building.pk)]


def test_what_is_kept_is_written_anew_without_place_and_camera_data(ours):
    with ours.scope():
        made = added(ours, content=drawing(3000, kind="JPEG"))
        shown = Image.open(io.BytesIO(files.read(made.file)))
        small = Image.open(io.BytesIO(files.read(made.small)))
        assert (shown.format, max(shown.size), dict(shown.getexif())) == ("JPEG", 1600, {})
        assert (max(small.size), dict(small.getexif())) == (480, {})
        assert (made.width_px, made.height_px) == shown.size
        assert StoredFile.objects.count() == 2


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"%PDF-1.7\n", "PDF document"),
        (b"<svg xmlns='x'/>", "SVG drawing"),
        (b"\x89PNG\r\n\x1a\nrest", "damaged or incomplete"),
        (b"", "empty"),
        (b"MZ\x90", "not a picture"),
    ],
)
def test_what_is_no_picture_is_refused_by_its_bytes_whatever_its_name(ours, content, says):
    with ours.scope(), pytest.raises(PictureRefused, match=says) as refused:
        sketches.add(
            ours.building, content, name="floor.png", kind="sketch", caption="x", by=ours.manager
        )
    assert "PNG" in refused.value.message()
    with ours.scope():
        assert not Sketch.objects.exists()


def test_the_order_is_kept_without_gaps_and_the_same_file_twice_is_one(ours):
    with ours.scope():
        first, second, third = (
            added(ours, name, drawing(64, shade)) for name, shade in [("a", 1), ("b", 9), ("c", 90)]
        )
        assert added(ours, "again", drawing(64, 9)).pk == second.pk
        sketches.change(
            third, kind="photo", caption="c!", riser=ours.riser, position=1, by=ours.manager
        )
        assert captions(ours) == ["c!", "a", "b"]
        sketches.change(first, kind="sketch", caption="a", riser=None, position=99, by=ours.manager)
        assert captions(ours) == ["c!", "b", "a"]
        sketches.change(second, kind="sketch", caption="b!", riser=None, by=ours.manager)
        assert captions(ours) == ["c!", "b!", "a"]


def test_one_withdrawn_is_shown_no_more_and_its_bytes_stay(ours):
    with ours.scope():
        made = added(ours)
        with pytest.raises(FieldRefused):
            sketches.withdraw(made, why=" ", by=ours.manager)
        sketches.withdraw(made, why="the wall is gone", by=ours.manager)
        assert captions(ours) == []
        assert files.read(made.file)
        with pytest.raises(sketches.WithdrawnAlready):
            sketches.withdraw(made, why="again", by=ours.manager)
        with pytest.raises(sketches.WithdrawnAlready):
            sketches.change(made, kind="sketch", caption="x", riser=None, by=ours.manager)
        acts = AuditEntry.objects.filter(subject_id=made.pk).order_by("at", "pk")
        assert [one.action for one in acts] == ["sketch.added", "sketch.withdrawn"]


def test_a_visit_takes_along_the_buildings_own_and_those_of_its_risers(ours):
    with ours.scope():
        whole = added(ours, "whole")
        added(ours, "riser", drawing(32), riser=ours.riser)
        added(ours, "another riser", drawing(40), riser=ours.wet_riser)
        sketches.withdraw(added(ours, "old", drawing(48)), why="rebuilt", by=ours.manager)
        told = sketches.taken_along(ours.building.pk, [ours.riser.pk])
        content = files.read(whole.file)
    assert [(one["caption"], one["riser_name"]) for one in told] == [
        ("whole", ""),
        ("riser", ours.riser.name),
    ]
    assert (told[0]["sha256"], told[0]["size"]) == (
        hashlib.sha256(content).hexdigest(),
        len(content),
    )


def test_a_building_keeps_no_more_than_one_can_look_through(ours, monkeypatch):
    monkeypatch.setattr(sketches, "MOST", 1)
    with ours.scope():
        added(ours)
        with pytest.raises(sketches.TooManySketches):
            added(ours, content=drawing(32))


def test_a_riser_of_another_building_is_refused(ours, theirs):
    with theirs.scope():
        strangers = theirs.riser
    with ours.scope(), pytest.raises(FieldRefused, match="riser"):
        added(ours, riser=strangers)


def test_pages_add_change_and_withdraw_and_keep_what_was_typed(ours, as_manager, as_technician):
    new = reverse("sketch_new", args=[ours.building.pk])
    given = {"kind": "sketch", "caption": "Ground floor", "riser": ours.riser.pk}
    bad = SimpleUploadedFile("floor.png", b"%PDF-1.7")
    refused = as_manager.post(new, {**given, "file": bad})
    assert refused.status_code == 422
    for words in (b"it is a PDF document", b"Ground floor", b"Choose the picture again"):
        assert words in refused.content
    assert as_technician.get(new).status_code == 403
    done = as_manager.post(new, {**given, "file": SimpleUploadedFile("x.gif", drawing())})
    assert done.headers["Location"] == reverse("sketches", args=[ours.building.pk])
    with ours.scope():
        made = Sketch.objects.get()
    listed = as_technician.get(done.headers["Location"])
    assert b"Ground floor" in listed.content
    assert reverse("sketch_edit", args=[made.pk]).encode() not in listed.content
    assert b"Ground floor" in as_manager.get(ours.building.get_absolute_url()).content
    assert b"Ground floor" in as_manager.get(reverse("riser", args=[ours.riser.pk])).content
    picture = as_technician.get(reverse("sketch_picture", args=[made.pk]))
    assert (picture.headers["Content-Type"], picture.content[:2]) == ("image/jpeg", b"\xff\xd8")
    assert picture.headers["X-Content-Type-Options"] == "nosniff"
    edit = reverse("sketch_edit", args=[made.pk])
    assert as_manager.post(edit, {**given, "position": 0}).status_code == 422
    as_manager.post(edit, {"kind": "photo", "caption": "Valve room", "riser": "", "position": 1})
    as_manager.post(reverse("sketch_withdraw", args=[made.pk]), {"why": "rebuilt"})
    assert as_manager.post(edit, {**given, "position": 1}).status_code == 409
    after = as_manager.get(reverse("sketches", args=[ours.building.pk]))
    assert b"Valve room" in after.content
    assert b"rebuilt" in after.content


def test_the_api_does_the_same(ours, api):
    client = api(ours.manager)
    root = reverse("api-sketch-list")
    given = {"building": str(ours.building.pk), "kind": "sketch", "caption": "Ground floor"}

    def send(content, key):
        upload = SimpleUploadedFile("floor.png", content)
        whole, once = {**given, "file": upload}, {"Idempotency-Key": key}
        return client.post(root, whole, format="multipart", headers=once)

    refused = send(b"<html>", "1")
    assert (refused.status_code, refused.json()["code"]) == (422, "picture_refused")
    made = send(drawing(), "2")
    assert made.status_code == 201, made.content
    one = reverse("api-sketch-detail", args=[made.json()["id"]])
    changed = client.patch(one, {"riser": str(ours.riser.pk), "position": 3}, format="json")
    assert (changed.json()["riser"], changed.json()["position"]) == (str(ours.riser.pk), 1)
    small = client.get(f"{one}picture/?small=1")
    assert small.headers["Content-Type"] == "image/jpeg"
    assert client.post(f"{one}withdraw/", {"why": ""}, format="json").status_code == 400
    gone = client.post(f"{one}withdraw/", {"why": "rebuilt"}, format="json")
    assert gone.json()["withdrawn_why"] == "rebuilt"
    assert client.get(root, {"withdrawn": "true"}).json()["count"] == 1
    assert client.get(root, {"withdrawn": "false"}).json()["count"] == 0
    assert api(ours.technician).get(one).status_code == 200
    assert api(ours.technician).patch(one, {}, format="json").status_code == 403
