"""A trend begins anew where what is read, or what the reading rests on, became another one."""

from datetime import date

import pytest

from buildings import inventory
from buildings.models import Device
from inspections import past
from inspections.incomparable import RESTS_ON, Splits
from tests.inspections.test_past import clock, drains  # noqa: F401

pytestmark = pytest.mark.django_db
CHANGED = date(2019, 1, 1)


def beside(scene, kind, **more):
    """Put a device on the riser of the preaction system."""
    device = Device(
        building=scene.building,
        system=scene.preaction,
        riser=scene.riser,
        kind=kind,
        code=f"{kind}-{len(more)}",
        name=kind,
        **{"in_service_from": date(2014, 6, 1), **more},
    )
    inventory.add([device], by=None, tell=False)
    return device


def splits(item, name):
    """Return day and words of the splits of an item's readings."""
    return [(one.on, one.why) for one in Splits([item]).of(item, name)]


def test_a_changed_drain_begins_the_line_anew_and_says_so(ours):
    drains(ours, [72, 71, 60, 59], first=2023)
    day = date(2025, 1, 1)
    with ours.scope():
        fact = {"attributes": {"main_drain": False}}
        inventory.revise(ours.wet_riser, fact, valid_from=day, by=None, reason="another drain")
        line = past.of_item(ours.wet_riser).line("residual_pressure")
    assert [one.on.year for one in line.given.points] == [2025, 2026]
    assert {one.why for one in line.given.left_out} == {"before: drain changed"}
    assert line.given.since.on == day
    assert line.limit_words == "at least 54 psi"


@pytest.mark.parametrize(
    ("fact", "words"),
    [
        ({"serial": "N-2"}, "device replaced"),
        ({"attributes": {"retard": 40}}, "delay set anew"),
    ],
)
def test_a_device_that_became_another_one_begins_anew(ours, fact, words):
    with ours.scope():
        device = beside(ours, "waterflow_switch", serial="N-1", attributes={"retard": 20})
        inventory.revise(device, fact, valid_from=CHANGED, by=None, reason="changed")
        assert splits(device, "time_to_alarm") == [(CHANGED, words)]


def test_an_outlet_replaced_beside_the_switch_begins_its_times_anew_and_nothing_else(ours):
    with ours.scope():
        switch = beside(ours, "waterflow_switch")
        outlet = beside(ours, "test_connection", serial="N-1")
        fact = {"serial": "N-2"}
        inventory.revise(outlet, fact, valid_from=CHANGED, by=None, reason="larger orifice")
        assert splits(switch, "time_to_alarm") == [(CHANGED, "test outlet replaced")]
        assert splits(ours.riser, "delivery_time") == [(CHANGED, "test outlet replaced")]
        assert splits(ours.riser, "residual_pressure") == []
        assert splits(ours.wet_riser, "delivery_time") == []


def test_a_new_row_in_the_place_of_one_taken_out_counts_as_replaced(ours):
    with ours.scope():
        switch = beside(ours, "waterflow_switch")
        beside(ours, "test_connection", in_service_to=CHANGED)
        beside(ours, "test_connection", in_service_from=CHANGED, serial="N-2")
        assert splits(switch, "time_to_alarm") == [(CHANGED, "test outlet replaced")]


def test_a_control_valve_replaced_never_hides_a_fall():
    # A new valve that was left partly closed must show against the years before.
    assert not any("control_valve" in kinds for kinds in RESTS_ON.values())
