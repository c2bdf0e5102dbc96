"""What owners are told of the water of their buildings, and that nobody else is."""

from datetime import date

import pytest

from contractors import outbox
from contractors.models import OutboxMessage
from inspections import flow_readings, supplies
from scheduling import due
from scheduling.models import PublishedBuilding

pytestmark = pytest.mark.django_db


@pytest.fixture
def point(ours):
    with ours.scope():
        by, from_on = ours.manager, date(2014, 6, 1)
        made = supplies.add_point("W-1", "Mill Lane main", "8 in", by=by)
        placard = {"base_flow": 700, "base_pressure": 52}
        supplies.write_placard(ours.wet, placard, from_on=from_on, by=by)
        supplies.connect(made, ours.wet, from_on=from_on, hose="250 gpm", by=by)
        due.derive(ours.building)
    return made


def read(scene, point, static, residual):
    """Record a flow test, and let what follows from it happen."""
    with scene.scope():
        test = flow_readings.Read(date(2026, 5, 4), static, residual, "1000 gpm")
        supplies.record_test(point, test, by=scene.manager)
    for message in OutboxMessage.objects.filter(kind="building.changed", state="waiting"):
        assert outbox.run(message.pk)


def test_an_owner_reads_the_margin_of_each_demand_in_one_sentence(ours, as_owner, api, point):
    address = f"/portfolio/{ours.building.pk}/"
    assert "Your water supply" not in as_owner.get(address).content.decode()
    read(ours, point, "80 psi", "62 psi")
    # By hand: 80 - 18 * 0.95**1.85 = 63.6 psi at 700 + 250 gpm, 52 psi wanted.
    said = (
        f"{ours.wet.name}: by the flow test of 4 May 2026, the supply gives 64 psi at 950 gpm; "
        "its design asks 52 psi there: 11.6 psi to spare."
    )
    assert said.replace(" 2026", "") in as_owner.get(address).content.decode().replace(" 2026", "")
    (told,) = api(ours.access).get(f"/api/v1/owner/buildings/{ours.building.pk}/").data["water"]
    assert (told["system"], told["margin"], told["short"]) == (ours.wet.name, "11.6 psi", False)
    assert told["tested_on"] == "2026-05-04"


def test_a_shortfall_is_told_as_a_question_of_design(ours, as_owner, point):
    read(ours, point, "62 psi", "35 psi")
    page = as_owner.get(f"/portfolio/{ours.building.pk}/").content.decode()
    # By hand: 62 - 27 * 0.95**1.85 = 37.4 psi.
    assert "its design asks 52 psi there, which is 14.6 psi more." in page
    assert "This is a question of design, not a fault of the system" in page


def test_nothing_of_it_reaches_an_owner_whose_engagement_ended(ours, theirs, as_owner, point):
    with ours.scope():
        ours.building.engagements.update(until_on=date(2026, 1, 1))
    read(ours, point, "80 psi", "62 psi")
    with ours.scope():
        told = PublishedBuilding.objects.get(building_id=ours.building.pk)
    assert told.facts["water"] == []
