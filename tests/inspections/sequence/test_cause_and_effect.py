"""Single events and pairs of events on every type, worked out by hand. Common practice, no source.

Cells: V system valve open, W water in piping that is normally dry, D water discharging, S release
output energised, f waterflow signal, a low-air signal, . none of these, - not fitted. Where the
order of the pair matters, the cell holds both, reversed order last.
"""

import pytest

from inspections.sequence.acts import act
from inspections.sequence.observe import observe
from inspections.sequence.state import Action, normal_state
from inspections.sequence.types import make_config

TYPES = [
    "wet_alarm_check",
    "wet_straight_pipe",
    "dry",
    "deluge_electric",
    "deluge_pneumatic",
    "deluge_hydraulic",
    "preaction_non_interlock",
    "preaction_single_electric",
    "preaction_single_pneumatic",
    "preaction_double_electric_electric",
    "preaction_double_electric_pneumatic",
]
EVENTS = {
    "Det": Action("detector_alarm"),
    "Spr": Action("fuse_sprinkler"),
    "Man": Action("open", "manual_release"),
    "Pil": Action("open", "pilot_head"),
    "Shut": Action("control_valve", pct=0.0),
    "Test": Action("open", "alarm_test_valve"),
    "AC": Action("ac_power", on=False),
}
SINGLE = """
Det  | . | . | . | VWDSf | . | . | VWSf | VWSf | . | . | S
Spr  | VDf | Df | VWDfa | - | - | - | VWDfa | a | a | a | a
Man  | - | - | - | VWDf | VWDf | VWDf | VWf | VWf | VWf | VWf | VWf
Pil  | - | - | - | - | VWDf | VWDf | - | - | VWf | - | -
Shut | . | . | . | . | . | . | . | . | . | . | .
Test | f | - | f | f | f | f | f | f | f | f | f
AC   | . | . | . | . | . | . | . | . | . | . | .
"""
PAIRS = """
Det Spr | VDf|Df|VWDfa|-|-|-|VWDSf / VWDSfa|VWDSf / VWDSfa|a|VWDSfa|VWDSfa
Det Man | -|-|-|VWDSf|VWDf|VWDf|VWSf|VWSf|VWf|VWf|VWSf
Det Pil | -|-|-|-|VWDf|VWDf|-|-|VWf|-|-
Det Shut | .|.|.|VWSf / VSf|.|.|VWSf / VSf|VWSf / VSf|.|.|S
Det Test | f|-|f|VWDSf|f|f|VWSf|VWSf|f|f|Sf
Det AC | .|.|.|VWDSf|.|.|VWSf|VWSf|.|.|S
Spr Man | -|-|-|-|-|-|VWDfa / VWDf|VWDfa / VWDf|VWDfa / VWDf|VWDfa / VWDf|VWDfa / VWDf
Spr Pil | -|-|-|-|-|-|-|-|VWDfa / VWDf|-|-
Spr Shut | f / .|f / .|VWDfa / Vfa|-|-|-|VWDfa / Vfa|a|a|a|a
Spr Test | VDf|-|VWDfa|-|-|-|VWDfa|fa|fa|fa|fa
Spr AC | VDf|Df|VWDfa|-|-|-|VWDfa|a|a|a|a
Man Pil | -|-|-|-|VWDf|VWDf|-|-|VWf|-|-
Man Shut | -|-|-|VWf / Vf|VWf / Vf|VWf / Vf|VWf / Vf|VWf / Vf|VWf / Vf|VWf / Vf|VWf / Vf
Man Test | -|-|-|VWDf|VWDf|VWDf|VWf|VWf|VWf|VWf|VWf
Man AC | -|-|-|VWDf|VWDf|VWDf|VWf|VWf|VWf|VWf|VWf
Pil Shut | -|-|-|-|VWf / Vf|VWf / Vf|-|-|VWf / Vf|-|-
Pil Test | -|-|-|-|VWDf|VWDf|-|-|VWf|-|-
Pil AC | -|-|-|-|VWDf|VWDf|-|-|VWf|-|-
Shut Test | f|-|f|f|f|f|f|f|f|f|f
Shut AC | .|.|.|.|.|.|.|.|.|.|.
Test AC | f|-|f|f|f|f|f|f|f|f|f
"""


def cases(table):
    for line in table.strip().splitlines():
        events, *cells = (part.strip() for part in line.split("|"))
        for system_type, cell in zip(TYPES, cells, strict=True):
            if cell == "-":
                continue
            forward, *backward = cell.split(" / ")
            order = events.split()
            yield system_type, order, forward
            if len(order) > 1:
                yield system_type, order[::-1], backward[0] if backward else forward


def settled(system_type, events):
    config = make_config(system_type, {})
    state = normal_state(config)
    for event in events:
        state = act(config, act(config, state, EVENTS[event]), Action("settle"))
    return config, observe(config, state)


def summary(config, seen):
    letters = {
        "V": seen["valve"] == "open",
        "W": config.dry and seen["water_in_piping"],
        "D": seen["sprinkler_discharge"] == "water",
        "S": seen["solenoid_energised"],
        "f": "waterflow" in seen["signals"],
        "a": "low_air" in seen["signals"],
    }
    return "".join(letter for letter, lit in letters.items() if lit) or "."


@pytest.mark.parametrize(
    ("system_type", "events", "expected"), [*cases(SINGLE), *cases(PAIRS)], ids=str
)
def test_the_riser_settles_as_worked_out(system_type, events, expected):
    assert summary(*settled(system_type, events)) == expected


@pytest.mark.parametrize(
    ("event", "signal"),
    [("Det", "detector:z1"), ("Shut", "tamper"), ("AC", "ac_fail")],
)
@pytest.mark.parametrize("system_type", TYPES)
def test_an_event_is_signalled_on_every_type(system_type, event, signal):
    assert signal in settled(system_type, [event])[1]["signals"]
