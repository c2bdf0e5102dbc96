"""Photos chunk by chunk: what came over is not sent again, and what is damaged is not kept.

Source: tus resumable upload protocol 1.0.0, core, creation, checksum and expiration.
"""

import hashlib
import os
from base64 import b64encode
from datetime import timedelta

import pytest
from django.conf import settings
from django.utils import timezone

from contractors.models import new_id
from inspections import blobs, uploads
from inspections.models import Photo
from tests.inspections import tablets
from tests.inspections.tablets import Tablet, attached, begin, picture, send
from tests.parallel import at_once
from tests.scene import token_client

pytestmark = pytest.mark.django_db
CHUNK = 500


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def tablet(ours):
    return Tablet(token_client(ours.technician), ours.technician)


@pytest.fixture
def content():
    return picture()


def checksum(chunk):
    return f"sha256 {b64encode(hashlib.sha256(chunk).digest()).decode()}"


def test_chunk_after_chunk_becomes_the_photo(ours, tablet, content):
    visit = tablets.planned(ours)
    blob, entry = attached(tablet, ours, visit, content)
    tablet.push(entry)
    begun = begin(tablet.client, blob, content)
    assert begun.status_code == 201
    assert begun["Location"] == f"/api/v1/blobs/{blob}/"
    assert begun["Tus-Resumable"] == "1.0.0"
    assert begun["Upload-Expires"].endswith("GMT")
    at = 0
    while at < len(content):
        chunk = content[at : at + CHUNK]
        sent = send(tablet.client, blob, chunk, at, **{"Upload-Checksum": checksum(chunk)})
        assert sent.status_code == 204
        at = int(sent["Upload-Offset"])
    assert begin(tablet.client, blob, content).status_code == 200
    with ours.scope():
        assert Photo.objects.get(pk=blob).file is not None
    assert not [path for path in (settings.MEDIA_ROOT / "coming").rglob("*") if path.is_file()]


def test_an_upload_goes_on_where_it_stopped(tablet, content):
    blob = str(new_id())
    begin(tablet.client, blob, content)
    send(tablet.client, blob, content[:CHUNK], 0)
    asked = tablet.client.head(f"/api/v1/blobs/{blob}/")
    assert (asked["Upload-Offset"], asked["Upload-Length"]) == (str(CHUNK), str(len(content)))
    assert asked["Cache-Control"] == "no-store"
    again = begin(tablet.client, blob, content)
    assert (again.status_code, again["Upload-Offset"]) == (201, str(CHUNK))


@pytest.mark.parametrize("at", [0, 10, 2 * CHUNK])
def test_a_chunk_that_does_not_begin_where_the_upload_stands_changes_nothing(tablet, content, at):
    blob = str(new_id())
    begin(tablet.client, blob, content)
    send(tablet.client, blob, content[:CHUNK], 0)
    refused = send(tablet.client, blob, content[at : at + CHUNK], at)
    assert (refused.status_code, refused.data["code"]) == (409, "wrong_offset")
    assert tablet.client.head(f"/api/v1/blobs/{blob}/")["Upload-Offset"] == str(CHUNK)


def test_more_bytes_than_announced_are_not_kept(tablet, content):
    blob = str(new_id())
    begin(tablet.client, blob, content)
    assert send(tablet.client, blob, content + b"x", 0).status_code == 409
    assert tablet.client.head(f"/api/v1/blobs/{blob}/")["Upload-Offset"] == "0"


def test_a_damaged_chunk_is_not_kept(tablet, content):
    blob = str(new_id())
    begin(tablet.client, blob, content)
    damaged = bytes([content[0] ^ 1]) + content[1:CHUNK]
    refused = send(
        tablet.client, blob, damaged, 0, **{"Upload-Checksum": checksum(content[:CHUNK])}
    )
    assert refused.status_code == 460
    assert tablet.client.head(f"/api/v1/blobs/{blob}/")["Upload-Offset"] == "0"


def test_a_whole_that_is_not_what_was_announced_is_thrown_away(tablet, content):
    blob = str(new_id())
    begin(tablet.client, blob, content, sha256="0" * 64)
    assert send(tablet.client, blob, content, 0).status_code == 422
    assert tablet.client.head(f"/api/v1/blobs/{blob}/").status_code == 404


def test_a_crash_after_the_last_chunk_is_made_good_when_the_tablet_asks(
    ours, tablet, content, monkeypatch
):
    blob = str(new_id())
    begin(tablet.client, blob, content)

    def crash(*_given, **_named):
        raise OSError("the disk is gone")

    with monkeypatch.context() as broken:
        broken.setattr(blobs, "receive", crash)
        with pytest.raises(OSError, match="disk"):
            send(tablet.client, blob, content, 0)
    assert begin(tablet.client, blob, content).status_code == 200
    with ours.scope():
        assert blobs.is_here(ours.technician, blob, hashlib.sha256(content).hexdigest())


def test_another_member_neither_sees_nor_feeds_an_upload(ours, tablet, content):
    blob = str(new_id())
    begin(tablet.client, blob, content)
    other = token_client(ours.manager)
    assert other.head(f"/api/v1/blobs/{blob}/").status_code == 404
    assert send(other, blob, content, 0).status_code == 404


def test_the_same_id_with_other_bytes_is_refused(tablet, content):
    blob = str(new_id())
    begin(tablet.client, blob, content)
    assert begin(tablet.client, blob, picture("blue")).status_code == 422


def test_an_upload_that_stops_for_two_weeks_is_thrown_away(tablet, content):
    blob = str(new_id())
    begin(tablet.client, blob, content)
    now = timezone.now()
    assert uploads.drop_expired(now + timedelta(days=13)) == 0
    assert uploads.drop_expired(now + timedelta(days=15)) == 1
    assert tablet.client.head(f"/api/v1/blobs/{blob}/").status_code == 404


def test_two_ticks_throw_an_upload_away_once(tablet, content):
    later = timezone.now() + timedelta(days=15)
    for _ in range(40):
        begin(tablet.client, str(new_id()), content)
    assert sum(at_once(*[lambda: uploads.drop_expired(later)] * 4)) == 40


def test_what_is_spoken_is_said(tablet):
    told = tablet.client.options("/api/v1/blobs/")
    assert told.status_code == 204
    assert told["Tus-Extension"] == "creation,checksum,expiration"


@pytest.mark.parametrize(
    ("headers", "named"),
    [
        ({"Upload-Length": "many"}, "Upload-Length"),
        ({"Upload-Length": "0"}, "Upload-Length"),
        ({"Upload-Length": str(20 * 2**20 + 1)}, "20 MiB"),
        ({"Upload-Metadata": "blob ***"}, "Upload-Metadata"),
        ({"Upload-Metadata": "blob YQ=="}, "blob"),
        ({"Upload-Metadata": ""}, "blob"),
    ],
)
def test_a_bad_beginning_names_what_is_wrong(tablet, content, headers, named):
    answer = begin(tablet.client, str(new_id()), content, **headers)
    assert answer.status_code == 400
    assert named in answer.data["detail"]


def test_a_chunk_needs_its_type_and_its_size(tablet, content):
    blob = str(new_id())
    begin(tablet.client, blob, content)
    typed = tablet.client.patch(f"/api/v1/blobs/{blob}/", {"a": 1}, headers={"Upload-Offset": "0"})
    assert typed.status_code == 415
    large = send(tablet.client, blob, os.urandom(uploads.LARGEST_CHUNK + 1), 0)
    assert large.status_code == 413
