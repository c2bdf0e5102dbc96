"""`manage.py rebuild` derives again what stands, on PostgreSQL by a process on each processor."""

import io

import pytest
from django.core.management import call_command

from scheduling import deriving, due
from scheduling.models import Occurrence, PublishedBuilding
from tests import scene
from tests.scheduling.planning import add_buildings


@pytest.fixture
def ours(committed_database: None) -> scene.Scene:
    made = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
    with made.scope():
        add_buildings(made, 2)
    return made


def derived() -> list[str]:
    told = ("subject_id", "activity", "due_on", "latest_on")
    words = PublishedBuilding.objects.values_list("building_id", "word")
    return sorted(map(str, [*Occurrence.objects.values_list(*told), *words]))


def test_what_was_lost_is_derived_again(ours: scene.Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    with ours.scope():
        due.derive_all()
        before = derived()
        open_now = Occurrence.objects.count()
        Occurrence.objects.all().delete()
        PublishedBuilding.objects.all().delete()
    assert len(before) == open_now + 3
    monkeypatch.setattr(deriving, "CHUNK", 1)
    said = io.StringIO()
    call_command("rebuild", stdout=said)
    with ours.scope():
        assert derived() == before
    assert f"{open_now} occurrences" in said.getvalue()
