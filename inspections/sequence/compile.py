"""Write the valve model as the ES modules that the technician's tablet loads.

The model and its guide are one, wanted when the app opens; what may be wrong at a riser is another,
fetched later. ``python -m inspections.sequence.compile`` writes them; ``--check`` tells by its exit
code (1) that a committed one is out of date.
"""

import sys
from pathlib import Path

from inspections.portable import Above, compile_modules, names_from, write_or_check

HERE = Path(__file__).parent
OUT = HERE.parent / "static" / "inspections" / "tablet" / "sequence.js"
OUT_FAULTS = OUT.with_name("faults.js")
MODULES = [
    "types",
    "state",
    "panel",
    "rules",
    "motion",
    "acts",
    "ready",
    "observe",
    "constraints",
    "steps",
    "step_acts",
    "guide",
    "words",
]
FAULTS_MODULES = ["hypotheses", "diagnosis", "checks", "pointing", "fault_words"]
EXPORTS = [
    "make_config",
    "normal_state",
    "fitted",
    "Action",
    "act",
    "hazards_of",
    "advance",
    "settle",
    "seconds_until",
    "observe",
    "not_normal",
    "is_ready",
    "end_state",
    "unproven",
    "leaving",
    "constraints_of",
    "warnings_before",
    "take",
    "tasks_of",
    "guide",
    "next_steps",
    "refusal_of",
    "step_now",
    "done_step",
    "compare",
    "worked_from",
    "word",
]
FAULTS_EXPORTS = [
    "diagnose",
    "next_checks",
    "ambiguity_groups",
    "recorded",
    "otherwise",
    "pointed",
    "fault_word",
]


def compiled() -> str:
    """Return the text of the ES module of the model and its guide."""
    sources, later = _paths(MODULES), _paths(FAULTS_MODULES)
    return compile_modules(sources, list(dict.fromkeys(EXPORTS + names_from(later, sources))))


def compiled_faults() -> str:
    """Return the text of the ES module of what may be wrong at a riser."""
    above = Above("./sequence.js", _paths(MODULES))
    return compile_modules(_paths(FAULTS_MODULES), FAULTS_EXPORTS, above=above)


def _paths(names: list[str]) -> list[Path]:
    return [HERE / f"{name}.py" for name in names]


if __name__ == "__main__":
    sys.exit(write_or_check(compiled(), OUT) | write_or_check(compiled_faults(), OUT_FAULTS))
