"""Photos are counted by account and by contractor, whichever way they come."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from contractors import limits
from contractors.models import new_id
from inspections.models import Photo
from tests import scene
from tests.inspections import tablets
from tests.parallel import at_once

DAY = 86_400


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def begun(member, blob=None, content=b"a photo"):
    """Begin to send a photo from a tablet."""
    return tablets.begin(scene.token_client(member), blob or str(new_id()), content)


def added(member, visit, content=None):
    """Add a photo at the desk, by the API."""
    file = SimpleUploadedFile("drain.jpg", content or tablets.picture())
    body = {"visit": str(visit.pk), "file": file}
    return scene.token_client(member).post("/api/v1/photos/", body, format="multipart")


@pytest.mark.django_db
def test_a_contractors_photos_of_a_day_are_used_up_by_all_its_people_together(
    ours, theirs, as_manager, settings, monkeypatch
):
    visit, now = tablets.planned(ours), timezone.now()
    monkeypatch.setattr(timezone, "now", lambda: now)
    settings.REQUEST_LIMITS = {"photo": (2, DAY), "photo_contractor": (3, DAY)}
    assert begun(ours.technician).status_code == 201
    assert added(ours.technician, visit).status_code == 201
    own = begun(ours.technician)
    assert own.status_code == 429
    assert 0 <= DAY // 2 - int(own["Retry-After"]) <= 100
    file = SimpleUploadedFile("drain.jpg", tablets.picture())
    page = f"/visits/{visit.pk}/photo/"
    assert as_manager.post(page, {"file": file, "once": "a"}).status_code == 302

    refused = added(ours.manager, visit)
    assert refused.status_code == 429
    assert 0 <= DAY // 3 - int(refused["Retry-After"]) <= 100
    assert refused.json()["code"] == "asked_too_often"
    assert "Try again in 28800 seconds" in refused.json()["detail"]
    assert begun(ours.manager).status_code == 429
    file = SimpleUploadedFile("drain.jpg", tablets.picture())
    told = as_manager.post(page, {"file": file, "once": "b"})
    assert told.status_code == 429
    assert "Try again in 28800 seconds" in told.content.decode()
    with ours.scope():
        assert Photo.objects.count() == 2
    assert begun(theirs.technician).status_code == 201


@pytest.mark.django_db
def test_what_is_not_kept_and_what_goes_on_uses_nothing_up(ours, settings):
    visit = tablets.planned(ours)
    settings.REQUEST_LIMITS = {"photo": (2, DAY), "photo_contractor": (2, DAY)}
    for _each in range(3):
        assert added(ours.technician, visit, b"no picture").status_code == 422
    content, blob = tablets.picture(), str(new_id())
    assert [begun(ours.technician, blob, content).status_code for _each in range(3)] == [201] * 3
    assert tablets.send(scene.token_client(ours.technician), blob, content, 0).status_code == 204
    assert begun(ours.technician, blob, content).status_code == 200
    assert begun(ours.technician).status_code == 201
    assert begun(ours.technician).status_code == 429
    # What has begun goes on when nothing new may begin.
    assert begun(ours.technician, blob, content).status_code == 200


@pytest.mark.usefixtures("committed_database")
def test_of_many_photos_at_once_no_more_are_taken(settings):
    settings.REQUEST_LIMITS = {"photo_contractor": (3, DAY)}
    ours = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
    people = [ours.technician, ours.manager] * 4
    answers = at_once(*(lambda one=one: begun(one).status_code for one in people))
    assert sorted(answers) == [201] * 3 + [429] * 5
    with pytest.raises(limits.AskedTooOften):
        limits.spend("photo_contractor", str(ours.contractor.pk))
