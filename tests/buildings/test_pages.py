"""Pages of buildings: who sees them, what they show, and that nothing typed is lost."""

from datetime import date

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from buildings.models import Building, Device, Revision, Riser, System

NOT_ITEMS = ("building", "building_edit", "system_new", "riser_new", "device_new")


def addresses(scene):
    yield from (reverse(name, args=[scene.building.pk]) for name in NOT_ITEMS)
    for kind, row in (
        ("system", scene.wet),
        ("riser", scene.riser),
        ("device", scene.devices["valve"]),
    ):
        yield reverse(kind, args=[row.pk])
        yield reverse(f"{kind}_edit", args=[row.pk])


def test_every_page_of_our_own_building_opens(ours, as_manager):
    for address in [*addresses(ours), reverse("buildings"), reverse("portfolio_import")]:
        assert as_manager.get(address).status_code == 200, address


def test_another_contractors_rows_are_not_there(theirs, as_manager):
    for address in addresses(theirs):
        assert as_manager.get(address).status_code == 404, address
        assert as_manager.post(address, {}).status_code in (404, 405), address


def test_technicians_look_but_do_not_change(ours, as_technician):
    pages = {address: as_technician.get(address).status_code for address in addresses(ours)}
    edits = [a for a in pages if a.endswith("/edit/")]
    assert all(pages[a] == 403 for a in edits)
    assert pages[reverse("building", args=[ours.building.pk])] == 200
    assert pages[reverse("device_new", args=[ours.building.pk])] == 200


def test_owners_have_pages_of_their_own(ours, as_owner):
    assert as_owner.get(reverse("buildings")).status_code == 403


def test_the_list_is_narrowed_sorted_and_saved(ours, as_manager):
    with ours.scope():
        Building.objects.create(
            code="B-002", name="=Annex", address="9 Quay", city="Sampleton", area="Harbor",
            taken_over_on=timezone.localdate(),
        )  # fmt: skip
    listed = as_manager.get(reverse("buildings"), {"q": "mill"})
    assert b"Old Mill Offices" in listed.content
    assert b"Annex" not in listed.content
    by_kind = as_manager.get(reverse("buildings"), {"kind": "preaction"})
    assert [b.code for b in by_kind.context["page_obj"]] == ["B-001"]
    by_number = as_manager.get(reverse("buildings"), {"order": "-number"})
    assert [b.code for b in by_number.context["page_obj"]] == ["B-002", "B-001"]
    saved = as_manager.get(reverse("buildings_export")).content.decode()
    assert "'=Annex" in saved


@pytest.mark.parametrize("count", [1, 12])
def test_the_list_asks_as_often_for_many_as_for_few(
    ours, as_manager, django_assert_max_num_queries, count
):
    with ours.scope():
        for place in range(count):
            Building.objects.create(
                code=f"X-{place}", name=f"House {place}", address="1", city="S",
                taken_over_on=timezone.localdate(),
            )  # fmt: skip
    with django_assert_max_num_queries(13):
        as_manager.get(reverse("buildings"))


def test_a_building_is_drawn_in_a_fixed_number_of_queries(
    ours, as_manager, django_assert_max_num_queries
):
    with ours.scope():
        Device.objects.bulk_create(
            Device(building=ours.building, riser=ours.riser, system=ours.preaction,
                   code=f"E-{n}", name="Gauge", kind="gauge")
            for n in range(40)
        )  # fmt: skip
    with django_assert_max_num_queries(28):
        page = as_manager.get(reverse("building", args=[ours.building.pk]))
    assert page.content.count(b"E-3") == 11
    assert [part["system"].code for part in page.context["flow"]] == ["L1", "S1", "S2"]


def changed(page, **values):
    form = page.context["form"]
    data = {f.html_name: f.value() for f in form if f.value() is not None}
    return data | values


def test_a_change_is_written_from_its_day_on_with_its_reason(ours, as_manager):
    address = reverse("riser_edit", args=[ours.riser.pk])
    data = changed(
        as_manager.get(address),
        name="Vault riser",
        attr_two_air_gauges="yes",
        reason="Seen on site",
    )
    assert as_manager.post(address, data).status_code == 302
    with ours.scope():
        riser = Riser.objects.get(pk=ours.riser.pk)
        newest = Revision.objects.filter(subject_id=riser.pk).latest("recorded_at")
    assert (riser.name, riser.attributes["two_air_gauges"]) == ("Vault riser", True)
    assert newest.facts == {"name": "Vault riser", "attributes": {"two_air_gauges": True}}
    assert (newest.reason, newest.recorded_by_id) == ("Seen on site", ours.manager.pk)


def test_a_refused_change_keeps_what_was_typed_and_names_the_field(ours, as_manager):
    address = reverse("riser_edit", args=[ours.riser.pk])
    data = changed(as_manager.get(address), code="R1", name="Typed with care", reason="Renumbered")
    page = as_manager.post(address, data)
    assert page.status_code == 422
    assert b"Typed with care" in page.content
    assert b"not used yet" in page.content
    ahead = data | {"code": "R2", "valid_from": "2126-01-01"}
    assert b"A day up to today" in as_manager.post(address, ahead).content


def test_an_attribute_is_taken_back_to_not_known(ours, as_manager):
    address = reverse("building_edit", args=[ours.building.pk])
    data = changed(as_manager.get(address), attr_frost="", reason="Nobody could say")
    assert as_manager.post(address, data).status_code == 302
    with ours.scope():
        assert "frost" not in Building.objects.get(pk=ours.building.pk).attributes


def test_a_device_is_entered_by_its_kind(ours, as_technician):
    address = reverse("device_new", args=[ours.building.pk])
    assert b"Control valve" in as_technician.get(address).content
    address = f"{address}?kind=gauge&riser={ours.riser.pk}"
    data = changed(
        as_technician.get(address), code="D-900", name="Spare gauge", attr_measures="air"
    )
    assert as_technician.post(address, data).status_code == 302
    with ours.scope():
        device = Device.objects.get(code="D-900")
    assert (device.system_id, device.riser_id) == (ours.preaction.pk, ours.riser.pk)
    assert device.attributes == {"measures": "air"}


def test_a_device_is_refused_where_its_kind_cannot_hang(ours, as_manager):
    address = f"{reverse('device_new', args=[ours.building.pk])}?kind=dry_pipe_valve"
    data = changed(as_manager.get(address), code="D-901", name="Valve")
    page = as_manager.post(address, data)
    assert page.status_code == 422
    assert b"hangs on one of: riser" in page.content


def test_a_system_and_a_building_are_entered(ours, as_manager):
    page = as_manager.get(reverse("building_new"))
    data = changed(
        page, code="B-7", name="Annex", address="1 Quay", city="Sampleton",
        taken_over_on="2026-01-05", hours="Mon-Fri 07:00-17:00",
    )  # fmt: skip
    assert as_manager.post(reverse("building_new"), data).status_code == 302
    with ours.scope():
        building = Building.objects.get(code="B-7")
        assert building.hours["4"] == ["07:00-17:00"]
        assert Revision.objects.filter(building=building).count() == 1
    address = f"{reverse('system_new', args=[building.pk])}?kind=dry"
    data = changed(as_manager.get(address), code="S1", name="Attic, dry", attr_gas="air")
    assert as_manager.post(address, data).status_code == 302
    with ours.scope():
        assert System.objects.get(building=building).attributes == {"gas": "air"}


def test_late_in_the_evening_it_is_still_today_at_the_building(ours, as_manager):
    with time_machine.travel("2026-07-02T02:30Z", tick=False):
        address = reverse("riser_edit", args=[ours.riser.pk])
        data = changed(as_manager.get(address), name="Vault riser", reason="Seen on site")
        assert data["valid_from"] == date(2026, 7, 1)
        assert as_manager.post(address, data).status_code == 302
    with ours.scope():
        written = Revision.objects.get(subject_id=ours.riser.pk, reason="Seen on site")
    assert written.valid_from == date(2026, 7, 1)
