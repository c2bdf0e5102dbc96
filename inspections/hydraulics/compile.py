"""Write the riser-side computations as ES modules that the technician's tablet loads.

`riser.js` computes; `calculations.js` lists every computation, with what the screen of those that
run on the tablet has to know.

``python -m inspections.hydraulics.compile`` writes them; ``--check`` tells by its exit code (1)
that a committed one is out of date.
"""

import inspect
import json
import sys
from pathlib import Path

from inspections.hydraulics import antifreeze, dry, riser
from inspections.hydraulics.computation import Field
from inspections.hydraulics.index import CAUTIONS, COMPUTATIONS, SUBJECTS
from inspections.hydraulics.listed.dry_pipe import AIR_TESTS
from inspections.hydraulics.tables import antifreeze_curves, delivery_limits, limit
from inspections.portable import compile_modules, write_or_check

HERE = Path(__file__).parent
OUT = HERE.parent / "static" / "inspections" / "tablet" / "riser.js"
OUT_LIST = OUT.parent / "calculations.js"
MODULES = ["constants", "answer", "riser", "dry", "antifreeze"]
EXPORTS = [
    "MainDrainTest",
    "DryValve",
    "Orifice",
    "Surroundings",
    "nozzle_pitot_flow",
    "pitot_cautions",
    "main_drain_change",
    "waterflow_alarm_time",
    "gauge_accuracy",
    "valve_supervisory_signal",
    "low_air_signal",
    "trip_pressure_from_differential",
    "dry_air_setpoint",
    "water_delivery_limit",
    "dry_time_limit_by_volume",
    "dry_valve_trip_time",
    "air_pressure_at_temperature",
    "air_leak_rate",
    "air_test_verdict",
    "air_fill_time",
    "antifreeze_freezing_point",
    "antifreeze_specific_gravity",
    "antifreeze_concentration",
    "antifreeze_limit_2023",
    "antifreeze_protection",
]


def compiled() -> str:
    """Return the text of the ES module: functions, tables, and what each input may be."""
    data: dict[str, object] = {
        "DELIVERY_LIMITS": [row._asdict() for row in delivery_limits()],
        "ANTIFREEZE_CURVES": [curve._asdict() for curve in antifreeze_curves()],
        "AIR_TESTS": {test: limit(key) for test, key in AIR_TESTS.items()},
        "INPUTS": {
            name: {field.name: _input(field) for field in COMPUTATIONS[name].inputs}
            for name in EXPORTS
            if name in COMPUTATIONS
        },
    }
    return compile_modules([HERE / f"{name}.py" for name in MODULES], EXPORTS, data)


def _input(field: Field) -> dict[str, object]:
    said = {
        "argument": field.argument,
        "quantity": field.quantity,
        "meaning": field.meaning,
        "required": field.required,
        "default": field.default,
        "low": field.low,
        "high": field.high,
        "above": field.above,
        "choices": list(field.choices),
        "many": field.many,
    }
    return {
        key: value
        for key, value in said.items()
        if value is not None and value is not False and value != []
    }


def listed() -> str:
    """Return the text of the ES module that lists the computations."""
    subjects = [
        {
            "subject": subject,
            "caution": CAUTIONS.get(subject, ""),
            "names": [[name, COMPUTATIONS[name].title] for name in names],
        }
        for subject, names in SUBJECTS.items()
    ]
    offline = {name: _told(name) for name in EXPORTS if name in COMPUTATIONS}
    data = {
        "SUBJECTS": subjects,
        "OFFLINE": offline,
        "LATCH": {key: limit(key) for key in ("latch_least", "latch_most")},
    }
    lines = [f"export const {name} = {json.dumps(value)};\n" for name, value in data.items()]
    return "// Written by `python -m inspections.hydraulics.compile`: do not edit.\n" + "".join(
        lines
    )


def _told(name: str) -> dict[str, object]:
    one = COMPUTATIONS[name]
    function = next(getattr(part, name) for part in (riser, dry, antifreeze) if hasattr(part, name))
    return {
        "version": one.version,
        "source": one.source,
        "takes": list(inspect.signature(function).parameters),
        "cautions": one.cautions.__name__ if one.cautions else "",
        "outputs": [[output.name, output.quantity, output.meaning] for output in one.outputs],
        "limit": one.limit,
        "margin": one.margin or one.limit,
    }


if __name__ == "__main__":
    sys.exit(max(write_or_check(compiled(), OUT), write_or_check(listed(), OUT_LIST)))
