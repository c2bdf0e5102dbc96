"""Write the table of units as the ES module that the tablet converts by: the server's own figures.

``python -m inspections.tablet_units`` writes it; ``--check`` tells by its exit code (1) that the
committed one is out of date.
"""

import json
import sys
from pathlib import Path

from buildings import units
from inspections.portable import write_or_check

OUT = Path(__file__).parent / "static" / "inspections" / "tablet" / "unit_table.js"
_HEAD = "// Written by `python -m inspections.tablet_units`: do not edit.\n\n"


def compiled() -> str:
    """Return the text of the ES module: factor and offset to SI of every unit of a reading."""
    rows = (
        f"  {json.dumps(unit, ensure_ascii=False)}: {json.dumps(figures)},\n"
        for unit, figures in sorted(units.table().items())
    )
    says = "/** Factor and offset by unit: SI = figure * factor + offset. */\n"
    return f"{_HEAD}{says}export const UNITS = {{\n{''.join(rows)}}};\n"


if __name__ == "__main__":
    sys.exit(write_or_check(compiled(), OUT))
