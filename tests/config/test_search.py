"""The search: beginnings of words over everything a contractor has, and an owner's own rooms."""

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildings.models import Building, Device
from contractors import search
from contractors.doors import Door
from contractors.models import SearchWord
from contractors.models.search import words_of
from inspections.models import Report, Visit
from scheduling import due
from tests.scheduling.planning import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False):
        yield


def door_of(scene):
    return Door(scene.manager.user, member=scene.manager)


def found(scene, text, **more):
    with scene.scope():
        groups = search.search(text, door_of(scene), **more)
    return {group.kind: [hit.title for hit in group.hits] for group in groups}


def named(scene, **columns):
    with scene.scope():
        for name, value in columns.items():
            setattr(scene.building, name, value)
        scene.building.save(update_fields=[*columns])


@pytest.mark.parametrize("typed", ["señal", "SENAL", "sen", "str sen", "señal straße", "strasse"])
def test_case_accents_and_the_order_of_words_do_not_matter(ours, typed):
    named(ours, name="Große Señal Straße")
    assert found(ours, typed)["building"] == ["Große Señal Straße"]


@pytest.mark.parametrize("typed", ["V-12", "v12", "v 12", "12"])
def test_a_number_is_found_however_it_is_typed(ours, typed):
    named(ours, code="V-12")
    assert ours.building.name in found(ours, typed)["building"]


def test_a_word_that_only_holds_what_was_typed_is_not_found(ours):
    named(ours, name="Lantern")
    assert "building" not in found(ours, "antern")


@pytest.mark.parametrize("typed", ["", " ", "-", "%", "_", "'; --"])
def test_nothing_that_is_a_word_finds_nothing(ours, typed):
    assert found(ours, typed) == {}


def test_whole_words_come_before_beginnings_and_telling_words_before_others(ours):
    with ours.scope():
        rest = {"address": "1 Row", "city": "Town", "taken_over_on": "2026-01-01"}
        for code, name in (("1", "Kestrels"), ("2", "Old Kestrel"), ("3", "Kestrel")):
            Building.objects.create(code=code, name=name, **rest)
    assert found(ours, "kestrel")["building"] == ["Kestrel", "Old Kestrel", "Kestrels"]


def test_every_kind_is_found_by_its_own_words(ours):
    with ours.scope():
        device = ours.devices["wet_flow"]
        device.serial = "QQ-774"
        device.save(update_fields=["serial"])
        visit = Visit.objects.create(building=ours.building, title="Quarterly round", number=4711)
        Report.objects.create(
            visit=visit, version=1, facts="{}", sha256="0" * 64, code="7kpt-mwq2", sealed_at=NOW
        )
        person = ours.people["technician"]
    assert found(ours, "qq774") == {"device": [device.name]}
    assert found(ours, "quarterly")["visit"] == ["Quarterly round"]
    assert found(ours, "4711")["visit"] == ["Quarterly round"]
    assert found(ours, "mwq2") == {"report": ["7kpt-mwq2"]}
    assert str(person) in found(ours, person.name)["person"]
    assert ours.wet.name in found(ours, ours.wet.name)["system"]
    assert ours.wet_riser.name in found(ours, ours.wet_riser.name)["riser"]


def test_a_changed_name_is_found_and_the_old_one_no_longer(ours):
    named(ours, name="Old Umbrella")
    named(ours, name="New Quay")
    assert "building" not in found(ours, "umbrella")
    assert found(ours, "quay")["building"] == ["New Quay"]


def test_many_rows_written_at_once_are_found(ours):
    with ours.scope():
        devices = [
            Device(building=ours.building, code=f"ZB{n:02}", name="zebra", kind="gauge")
            for n in range(12)
        ]
        Device.objects.bulk_create(devices)
        for device in devices:
            device.serial = "giraffe"
        Device.objects.bulk_update(devices, ["serial"])
        group = search.search("giraffe zeb", door_of(ours))[0]
    assert (group.kind, len(group.hits), group.count) == ("device", 8, 12)
    assert len(found(ours, "zb", most=search.MOST, kind="device")["device"]) == 12


def test_another_contractors_rows_are_not_found(ours, theirs):
    named(theirs, name="Zylophane Hall")
    assert found(ours, "zylophane") == {}
    assert found(theirs, "zylophane") == {"building": ["Zylophane Hall"]}


def test_a_technician_finds_only_their_own_visits(ours):
    with ours.scope():
        Visit.objects.create(building=ours.building, title="Yonder round")
        mine = ours.people["technician"]
        Visit.objects.create(building=ours.building, title="Yonder mine", technician=mine)
        technician = Door(ours.technician.user, member=ours.technician)
        groups = search.search("yonder", technician)
    assert [[hit.title for hit in group.hits] for group in groups] == [["Yonder mine"]]


def test_words_of_old_rows_are_kept_anew(ours):
    with ours.scope():
        before = set(SearchWord.objects.values_list("subject_id", "word", "place"))
        SearchWord.objects.all().delete()
        assert search.rebuild() > 0
        assert set(SearchWord.objects.values_list("subject_id", "word", "place")) == before


def test_the_number_of_queries_does_not_grow_with_what_is_found(ours):
    def count():
        with (
            ours.scope(),
            CaptureQueriesContext(
                connection,
            ) as queries,
        ):
            search.search("zebra row", door_of(ours))
        return len([q for q in queries if "set_config" not in q["sql"]])

    def more(first, n):
        with ours.scope():
            Device.objects.bulk_create(
                Device(building=ours.building, code=f"Z{i}", name="Zebra row", kind="gauge")
                for i in range(first, first + n)
            )

    more(0, 1)
    few = count()
    more(1, 40)
    assert count() == few == len(search.sources) + 1


def test_the_index_is_used_under_the_row_policies(ours):
    with ours.scope():
        rows = [
            SearchWord(kind="device", subject_id=ours.building.pk, word=f"w{n:05}", place=0)
            for n in range(6000)
        ]
        SearchWord.objects.bulk_create(rows, batch_size=2000)
        asked = SearchWord.objects.filter(kind="device", **search.begins("w0123"))
        plan = asked.order_by("word").explain()
    if connection.vendor == "sqlite":
        assert "USING INDEX contractors_word_begins" in plan
        assert "word>? AND word<?" in plan
        return
    assert "contractors_word_begins" in plan
    condition = next(line for line in plan.splitlines() if "Index Cond" in line)
    assert "word" in condition
    assert "app_contractor()" in plan


def test_the_page_groups_and_links_to_all_and_lists_all_of_a_kind(ours, as_manager):
    with ours.scope():
        for n in range(10):
            Device.objects.create(
                building=ours.building, code=f"ZB{n}", name=f"Zebra {n}", kind="gauge"
            )
    page = as_manager.get("/search/?q=zebra").content.decode()
    assert page.count("data-row>") == 8
    assert "Show all 10" in page
    every = as_manager.get("/search/?q=zebra&kind=device").content.decode()
    assert every.count("data-row>") == 10


def test_the_box_stands_on_desk_pages_and_what_was_typed_in_it(ours, as_manager, as_owner):
    page = as_manager.get("/search/?q=%3Cb%3E").content.decode()
    assert 'action="/search/"' in page
    assert '<b>"' not in page
    assert "&lt;b&gt;" in page
    assert 'action="/owner/search/"' in as_owner.get("/portfolio/").content.decode()


def test_suggestions_wait_for_two_letters(ours, as_manager):
    named(ours, name="Kestrel Store")
    assert "Kestrel Store" not in as_manager.get("/search/suggestions/?q=k").content.decode()
    offered = as_manager.get("/search/suggestions/?q=ke").content.decode()
    assert "Kestrel Store" in offered
    assert "<html" not in offered


def test_an_owner_finds_their_own_rooms_only(ours, theirs, as_owner, api):
    named(ours, name="Kestrel Store")
    named(theirs, name="Kestrel Hall")
    for scene in (ours, theirs):
        with scene.scope():
            due.derive(scene.building, NOW)
    page = as_owner.get("/owner/search/?q=kestrel").content.decode()
    assert "Kestrel Store" in page
    assert "Kestrel Hall" not in page
    answer = api(ours.access).get("/api/v1/search/?q=kestrel").json()
    assert [hit["title"] for group in answer for hit in group["hits"]] == ["Kestrel Store"]
    assert as_owner.get("/search/?q=kestrel").status_code == 403


def test_the_api_groups_what_it_finds_and_refuses_nothing_typed(ours, api):
    named(ours, name="Kestrel Store")
    answer = api(ours.office).get("/api/v1/search/?q=kes").json()
    assert answer[0]["kind"] == "building"
    assert answer[0]["hits"][0]["url"] == ours.building.get_absolute_url()
    assert api(ours.office).get("/api/v1/search/?q=").status_code == 400


def test_words_longer_than_a_column_are_cut_alike():
    assert words_of("x" * 60) == ["x" * 40]
