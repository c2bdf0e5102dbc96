"""When in the year seasonal work is wanted at a place. Pure: no Django.

The wanted months are common practice, no source; the classes of work are the catalogue's.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from scheduling.recurrence import Season

# A year without a leap day, to reckon with days of the year.
_YEAR = 2001
# Customary days of the northern hemisphere: frost from mid November to the end of March.
_FROST = (date(_YEAR, 11, 15), date(_YEAR, 3, 31))
_BEFORE = timedelta(days=75)
_BY_WARM = timedelta(days=15)
_BY_COLD = timedelta(days=31)
_HEATED = timedelta(days=45)
_HALF_YEAR = timedelta(days=182)
WORDS = {
    "warm_weather": "warm weather",
    "before_freezing": "before freezing",
    "cold_weather": "cold weather",
    "heating_season": "heating season",
}
# Kinds that stand in the open: work that flows water there is wanted in warm weather.
EXTERIOR = frozenset({"hydrant", "monitor_nozzle", "private_main", "hose_house"})


@dataclass(frozen=True, slots=True)
class Frost:
    """When it freezes at a place.

    Attributes
    ----------
    latitude
        Degrees, south is negative; None where nobody knows, then the northern year holds.
    begins, ends
        Month and day, where a person set them.
    """

    latitude: float | None = None
    begins: tuple[int, int] | None = None
    ends: tuple[int, int] | None = None

    def happens(self, told: bool | None) -> bool:
        """Say whether it freezes; `told` is the building's own fact, None where nobody said.

        Without a fact the place decides where it can: set days say yes. Nobody knowing, no season
        narrows a window.
        """
        return bool(told) if told is not None else self.begins is not None


NORTHERN = Frost()


def season_of(name: str, frost: Frost) -> Season | None:
    """Return the days of a season at a place; None for a name that is no season."""
    return _placed(name, frost) if name in WORDS else None


def wanted_in(season: str, kind: str, water_flow: str) -> str:
    """Return the season in which an activity is wanted: its own, or warm weather in the open."""
    return season or ("warm_weather" if kind in EXTERIOR and water_flow == "full" else "")


@lru_cache(maxsize=500)
def _placed(name: str, frost: Frost) -> Season:
    begins, ends = _FROST
    if frost.begins and frost.ends:
        begins, ends = date(_YEAR, *_real(frost.begins)), date(_YEAR, *_real(frost.ends))
    elif frost.latitude is not None and frost.latitude < 0:
        begins, ends = begins - _HALF_YEAR, ends + _HALF_YEAR
    first, last = {
        "warm_weather": (ends + _BY_WARM, begins - _BY_COLD),
        "before_freezing": (begins - _BEFORE, begins),
        "cold_weather": (begins, ends),
        "heating_season": (begins - _HEATED, ends + _BY_COLD - timedelta(days=1)),
    }[name]
    return Season(name=WORDS[name], first=(first.month, first.day), last=(last.month, last.day))


def _real(day: tuple[int, int]) -> tuple[int, int]:
    return (2, 28) if day == (2, 29) else day
