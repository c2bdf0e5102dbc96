"""Photos of a tablet: bytes and entry come in either order, once, and as they were announced."""

import hashlib

import pytest

from inspections.models import Photo
from tests.inspections import tablets
from tests.inspections.tablets import Tablet, attached, picture

pytestmark = pytest.mark.django_db


@pytest.fixture
def stranger(theirs, api):
    return Tablet(api(theirs.technician), theirs.technician)


@pytest.mark.parametrize("bytes_first", [True, False])
def test_a_photo_comes_before_or_after_its_entry_and_once(ours, tablet, visit, bytes_first):
    content = picture()
    blob, entry = attached(tablet, ours, visit, content)
    if bytes_first:
        assert tablets.upload(tablet.client, blob, content) == 201
    assert tablet.statuses(entry) == ["applied"]
    if not bytes_first:
        receipts = tablet.client.get(f"/api/v1/sync/receipts/?tablet={tablet.id}").data
        assert receipts["visits"][0]["photos_missing"] == 1
        assert tablets.upload(tablet.client, blob, content) == 201
    assert tablets.upload(tablet.client, blob, content) == 200
    receipts = tablet.client.get(f"/api/v1/sync/receipts/?tablet={tablet.id}").data
    assert receipts["visits"] == [
        {"visit": str(visit.pk), "state": "open", "entries": 1, "photos_missing": 0}
    ]
    with ours.scope():
        assert Photo.objects.get(pk=blob).file is not None
    shown = tablet.client.get(f"/api/v1/photos/{blob}/file/")
    assert (shown.status_code, shown["Content-Type"]) == (200, "image/jpeg")


def test_other_bytes_than_announced_are_refused(ours, tablet, visit):
    content = picture()
    blob, entry = attached(tablet, ours, visit, content)
    tablet.push(entry)
    other = picture("blue")
    assert tablets.upload(tablet.client, blob, other) == 422
    claimed = hashlib.sha256(content).hexdigest()
    assert tablets.upload(tablet.client, blob, other, claimed) == 422
    assert tablets.upload(tablet.client, blob, b"<svg/>") == 422
    with ours.scope():
        assert Photo.objects.get(pk=blob).file is None


def test_bytes_that_missed_their_entry_are_shown_when_they_come_again(ours, tablet, visit):
    content = picture()
    blob, entry = attached(tablet, ours, visit, content)
    tablet.push(entry)
    tablets.upload(tablet.client, blob, content)
    with ours.scope():
        Photo.objects.filter(pk=blob).update(file=None)
    assert tablets.upload(tablet.client, blob, content) == 200
    with ours.scope():
        assert Photo.objects.get(pk=blob).file is not None


def test_a_photo_stays_with_its_entry_whatever_comes_after(ours, tablet, visit):
    content = picture()
    blob, entry = attached(tablet, ours, visit, content)
    tablets.upload(tablet.client, blob, content)
    tablet.push(entry)
    with ours.scope():
        before = Photo.objects.get(pk=blob).file_id
    tablet.push(*tablets.worked(tablet, ours, visit.pk))
    with ours.scope():
        assert Photo.objects.get(pk=blob).file_id == before


def test_a_strangers_bytes_do_not_become_our_photo(ours, tablet, stranger, visit):
    content = picture()
    blob, entry = attached(tablet, ours, visit, content)
    tablet.push(entry)
    assert tablets.upload(stranger.client, blob, content) == 201
    with ours.scope():
        assert Photo.objects.get(pk=blob).file is None
