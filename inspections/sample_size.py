"""How many a sample for the laboratory has to hold.

It is what the activity's criterion of the catalogue lets through, so that every regime's rule is
read from its own row.
"""

import re
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from buildings.models import Building
from contractors.refusal import FieldRefused
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Activity
from inspections.conditions.facts import Fact, Origin

SIZE = "sample_size"
MOST = 10_000
_RANGE = re.compile(r"\s*([\d.,\s]*\d)\s*(?:(?:-|–|to)\s*([\d.,\s]*\d))?\s*")  # noqa: RUF001


@dataclass(frozen=True, slots=True)
class Count:
    """How many there are: a figure, or a range of which the upper end is taken for safety."""

    least: int
    most: int


def counted(text: str) -> Count:
    """Return how many a person means: `1200`, or a range such as `1,100 - 1,300`.

    Raises
    ------
    FieldRefused
        When it is neither.
    """
    found = _RANGE.fullmatch(text)
    if found:
        ends = [int(re.sub(r"\D", "", end)) for end in found.groups() if end]
        if 0 < ends[0] <= ends[-1]:
            return Count(ends[0], ends[-1])
    raise FieldRefused("in_area", text, _("A count such as 1200, or a range such as 1100-1300."))


def least(activity: Activity, in_area: int, edition: int | None) -> int | None:
    """Return the smallest sample that the activity's criterion lets through.

    Parameters
    ----------
    in_area
        How many there are in the area; of a range the upper end.
    edition
        The adopted edition, whose limits hold.

    Returns
    -------
    int or None
        None where the criterion asks for no number, or a limit is not known.
    """
    criterion = activity.criterion
    if criterion is None or SIZE not in criterion.names:
        return None

    def enough(size: int) -> bool:
        return criterion.evaluate(_Trial(size, in_area, edition)).value is True

    if not enough(MOST):
        return None
    low, high = 0, MOST
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


@dataclass(frozen=True, slots=True)
class _Trial:
    """A sample of some size of which nothing failed, as a criterion looks it up."""

    size: int
    in_area: int
    edition: int | None

    def look_up(self, name: str) -> Fact:
        """Return the fact of that name."""
        if name.startswith("limit."):
            return catalogue().limit_fact(name.removeprefix("limit."), self.edition)
        known = {
            SIZE: self.size,
            "failed_in_sample": 0,
            "sample_area_count": self.in_area,
            "installed": self.in_area,
        }
        if name in known:
            return Fact(name, known[name])
        return Fact(name, None, Origin.UNKNOWN)


def size_for(building: Building, activity: Activity, in_area: int, on: date) -> int | None:
    """Return how many are owed of an area on a day, by the edition in force then."""
    return least(activity, in_area, building.edition_on(on))
