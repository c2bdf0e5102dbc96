"""What stood there then, as known then."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from buildings import inventory
from buildings.models import Building, Device, Revision
from contractors.models import OutboxMessage
from contractors.refusal import FieldRefused

# Gone by everywhere, whatever the hour.
TODAY = timezone.localdate() - timedelta(days=1)


def test_todays_tree_is_what_the_revisions_say(ours):
    with ours.scope():
        quick = inventory.tree(ours.building)
        slow = inventory.inventory(ours.building, quick.on)
    assert quick.items == slow.items
    assert quick.facts == slow.facts
    assert quick.edition == slow.edition == 2020


def test_items_hang_on_what_they_hang_on(ours):
    with ours.scope():
        found = inventory.tree(ours.building)
    switch = found.by_id[ours.devices["switch"].pk]
    assert switch.parent_id == ours.devices["valve"].pk
    assert found.by_id[switch.parent_id].parent_id == ours.riser.pk
    assert found.by_id[ours.riser.pk].parent_id == ours.preaction.pk
    system = found.by_id[ours.preaction.pk]
    assert (system.kind, system.attributes["kind"]) == ("system", "preaction")
    assert system.parent_id == ours.building.pk
    assert found.by_id[ours.lead_in.pk].kind == "lead_in"


def test_a_change_holds_from_its_day_on_and_is_known_from_when_it_was_recorded(ours):
    gauge = ours.devices["air_gauge"]
    long_ago, before = TODAY - timedelta(days=400), timezone.now()
    with ours.scope():
        inventory.revise(
            gauge,
            {"attributes": {"dated": "2025-05-05"}},
            valid_from=TODAY - timedelta(days=100),
            by=ours.manager,
            reason="Gauge replaced",
        )

        def dated(on, known_at=None):
            items = inventory.inventory(ours.building, on, known_at).by_id
            return items[gauge.pk].attributes["dated"]

        assert dated(TODAY) == "2025-05-05"
        assert dated(long_ago) == "2024-03-01"
        assert dated(TODAY, known_at=before) == "2024-03-01"
        assert Device.objects.get(pk=gauge.pk).attributes == {
            "measures": "air",
            "dated": "2025-05-05",
        }


def test_a_change_dated_back_does_not_undo_a_later_one(ours):
    with ours.scope():
        for days, name in ((10, "Newest"), (50, "Older")):
            inventory.revise(
                ours.riser,
                {"name": name},
                valid_from=TODAY - timedelta(days=days),
                by=None,
                reason="Renamed",
            )
        ours.riser.refresh_from_db()
        then = inventory.inventory(ours.building, TODAY - timedelta(days=30))
    assert ours.riser.name == "Newest"
    assert then.by_id[ours.riser.pk].name == "Older"


def test_a_fact_can_be_taken_out_and_dates_come_back_as_dates(ours):
    with ours.scope():
        inventory.revise(
            ours.building,
            {"attributes": {"frost": None}, "suspended_from": TODAY, "jurisdiction_id": None},
            valid_from=TODAY,
            by=ours.manager,
            reason="Vacant since today",
        )
        building = Building.objects.get(pk=ours.building.pk)
        now = inventory.tree(building)
    assert "frost" not in building.attributes
    assert building.suspended_from == TODAY
    assert now.suspended
    assert now.edition is None


def test_saying_what_is_so_already_writes_nothing(ours):
    with ours.scope():
        before = Revision.objects.count()
        written = inventory.revise(
            ours.wet,
            {"name": ours.wet.name, "attributes": {"kind": "wet"}},
            valid_from=TODAY,
            by=None,
            reason="Looked again",
        )
        assert written is None
        assert Revision.objects.count() == before


def test_a_change_wakes_whoever_rests_on_the_inventory(ours):
    with ours.scope():
        inventory.revise(ours.wet, {"name": "Shops"}, valid_from=TODAY, by=None, reason="Renamed")
    message = OutboxMessage.objects.get(kind="building.changed")
    assert message.payload == {"building": str(ours.building.pk)}


@pytest.mark.parametrize(
    ("facts", "valid_from", "reason", "field"),
    [
        ({"colour": "red"}, TODAY, "Painted", "colour"),
        ({"name": "Shops"}, TODAY + timedelta(days=2), "Renamed", "valid_from"),
        ({"name": "Shops"}, TODAY, "  ", "reason"),
    ],
)
def test_a_change_that_cannot_be_is_refused_by_field(ours, facts, valid_from, reason, field):
    with ours.scope(), pytest.raises(FieldRefused) as refused:
        inventory.revise(ours.wet, facts, valid_from=valid_from, by=None, reason=reason)
    assert refused.value.facts["field"] == field


def test_before_anything_was_known_there_is_nothing(ours):
    with ours.scope():
        then = inventory.inventory(ours.building, date(1990, 1, 1))
    assert not then.known
    assert then.items == ()
