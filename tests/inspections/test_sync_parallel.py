"""Pushes and photos that come at the same moment, each in a transaction that others see."""

import json
from collections import Counter
from threading import Event

import pytest

from inspections import blobs
from inspections.models import Event as Recorded
from inspections.models import Photo, Quarantined, Reading, Result
from tests import scene
from tests.inspections import tablets
from tests.inspections.tablets import PUSH, Tablet, attached, picture
from tests.parallel import at_once

pytestmark = [pytest.mark.usefixtures("committed_database")]


@pytest.fixture
def ours(committed_database):
    return scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")


@pytest.fixture
def tablet(ours):
    return Tablet(scene.token_client(ours.technician), ours.technician)


def pushed(client, body):
    answer = client.post(PUSH, body, content_type="application/json")
    assert answer.status_code == 200, answer.content
    return [one["status"] for one in answer.data["results"]]


def test_the_same_batch_five_times_at_once_has_one_effect(ours, tablet):
    visit = tablets.planned(ours)
    entries = tablets.worked(tablet, ours, visit.pk)
    body = json.dumps(tablet.batch(entries))
    clients = [scene.token_client(ours.technician) for _each in range(5)]
    answers = at_once(*(lambda one=one: pushed(one, body) for one in clients))
    for place in range(len(entries)):
        told = Counter(statuses[place] for statuses in answers)
        assert told == {"applied": 1, "duplicate": 4}
    with ours.scope():
        assert Recorded.objects.filter(visit_id=visit.pk).count() == len(entries)
        assert Reading.objects.filter(visit=visit).count() == 2
        assert Result.objects.filter(visit=visit).count() == 1
        assert not Quarantined.objects.exists()


def test_one_entry_through_two_tablets_at_once_is_recorded_once(ours, tablet):
    visit = tablets.planned(ours)
    other = Tablet(scene.token_client(ours.technician), ours.technician)
    entries = tablets.worked(tablet, ours, visit.pk)
    again = [entry | {"tablet": other.id} for entry in entries]
    answers = at_once(
        lambda: pushed(tablet.client, json.dumps(tablet.batch(entries))),
        lambda: pushed(other.client, json.dumps(other.batch(again))),
    )
    assert all(sorted(pair) == ["applied", "duplicate"] for pair in zip(*answers, strict=True))
    with ours.scope():
        assert Recorded.objects.filter(visit_id=visit.pk).count() == len(entries)
        assert not Quarantined.objects.exists()


def test_bytes_that_come_while_their_entry_is_not_committed_yet_find_it(ours, tablet, monkeypatch):
    visit = tablets.planned(ours)
    content = picture()
    blob, entry = attached(tablet, ours, visit, content)
    looked, uploaded = Event(), Event()
    show = blobs.show

    def show_and_linger(*named):
        """Look for the bytes, then stay in the transaction while they come, if they can."""
        show(*named)
        looked.set()
        uploaded.wait(timeout=2)

    def send_bytes():
        looked.wait(timeout=120)
        status = tablets.upload(scene.token_client(ours.technician), blob, content)
        uploaded.set()
        return status

    monkeypatch.setattr(blobs, "show", show_and_linger)
    body = json.dumps(tablet.batch([entry]))
    assert at_once(lambda: pushed(tablet.client, body), send_bytes) == [["applied"], 201]
    with ours.scope():
        assert Photo.objects.get(pk=blob).file is not None
