"""Read the figures of a catalogue: limits by edition, and how far repeats may stray."""

import re
from itertools import combinations

from buildings.tables import Row
from inspections import catalogue_cells as cells
from inspections.catalogue_rows import REGIMES, Limit
from inspections.conditions.units import UNITS
from inspections.intervals import Slot, Span, WindowRule

# Defined in the table of tolerances alone: no row of the activities belongs to them.
_TOLERANCES_ONLY = ("joint_commission", "cms", "as_1851")
_SLOTS: tuple[tuple[str, Slot], ...] = (
    ("every day", "day"),
    ("once per calendar week", "week"),
    ("once per calendar month", "month"),
    ("once in each calendar quarter", "quarter"),
)
_PER_YEAR = {"once per year": 1, "twice per year": 2, "four times per year": 4}
# What reads like a rule on the count has to be one of those above, or it would not count.
_COUNTED = re.compile(r"per (?:year|calendar)|every day|in each calendar")


def limit(row: Row) -> Limit:
    """Return a figure of some editions."""
    first, last = cells.editions(row)
    if row["unit"] not in UNITS:
        raise ValueError(f"{row['unit']!r} is no unit; accepted: {', '.join(UNITS)}")
    return Limit(
        name=row["name"],
        edition_from=first,
        edition_to=last,
        value=cells.number("value", row),
        unit_name=row["unit"],
        unit=UNITS[row["unit"]],
        meaning=row["meaning"],
        source=row["source"],
        confidence=cells.confidence(row),
    )


def overlapping(limits: tuple[Limit, ...]) -> list[str]:
    """Return the names of limits of which two figures hold in one edition."""
    pairs = combinations(limits, 2)
    return [one.name for one, other in pairs if one.name == other.name and _overlap(one, other)]


def _overlap(one: Limit, other: Limit) -> bool:
    begins = max(row.edition_from or cells.FIRST_EDITION for row in (one, other))
    return begins <= min(row.edition_to or cells.LAST_EDITION for row in (one, other))


def window(row: Row) -> WindowRule | None:
    """Return a rule; None for the row that says that there was no definition."""
    if not row["nominal"]:
        return None
    least, greatest = row["min_interval"], row["max_interval"]
    is_scheduled = least.startswith("-")
    if is_scheduled != greatest.startswith("+"):
        raise ValueError(
            f"min_interval {least or 'empty'}, max_interval {greatest or 'empty'}: gaps such as P2M"
            " and P4M are accepted, or a tolerance before and after such as -P1M and +P1M"
        )
    count_rule = row["count_rule"]
    rule = WindowRule(
        regime=cells.one_of("regime", row["regime"], (*REGIMES, *_TOLERANCES_ONLY)),
        edition=row["edition"],
        word=row["frequency"].replace("_", " "),
        nominal=cells.repeat("nominal", row),
        least=cells.repeat("min_interval", row) if least and not is_scheduled else None,
        greatest=cells.repeat("max_interval", row) if greatest and not is_scheduled else None,
        before=Span.parse(least) if is_scheduled else None,
        after=Span.parse(greatest) if is_scheduled else None,
        slot=next((slot for words, slot in _SLOTS if words in count_rule), None),
        per_year=_PER_YEAR.get(count_rule),
        count_rule=count_rule,
        source=row["source"],
        confidence=cells.confidence(row),
    )
    if rule.least and rule.greatest and rule.greatest.nominal_days < rule.least.nominal_days:
        raise ValueError(f"max_interval {greatest} is shorter than min_interval {least}")
    if rule.least and rule.least.nominal_days > rule.nominal.nominal_days:
        raise ValueError(f"min_interval {least} is longer than nominal {row['nominal']}")
    if _COUNTED.search(count_rule) and rule.slot is None and rule.per_year is None:
        known = "; ".join((*(words for words, _slot in _SLOTS), *_PER_YEAR))
        raise ValueError(f"count_rule is {count_rule!r}; accepted: {known}")
    return rule
