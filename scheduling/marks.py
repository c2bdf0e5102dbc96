"""Bars on a strip of days, and times as told: what pages need to draw windows to scale."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

SHOWN_TO = 5


def rounded(moment: datetime) -> datetime:
    """Return a start as people are told it: to five minutes."""
    minutes = SHOWN_TO * round((moment.minute + moment.second / 60) / SHOWN_TO)
    return moment.replace(minute=0, second=0, microsecond=0) + timedelta(minutes=minutes)


@dataclass(frozen=True, slots=True)
class Bar:
    """A window on a strip, in the strip's own units.

    `due` and `now` are None where they lie outside the strip; `late` says that the window is past.
    """

    x: float
    width: float
    due: float | None
    now: float | None
    late: bool

    @property
    def end(self) -> float:
        """Return where the window ends."""
        return round(self.x + self.width, 1)


@dataclass(frozen=True, slots=True)
class Strip:
    """Days from `first` on, `days` of them, drawn `width` units wide."""

    first: date
    days: int
    width: float

    @classmethod
    def of_window(cls, today: date) -> "Strip":
        """Return the strip of the list of what falls due: a month back, four months ahead."""
        return cls(today - timedelta(days=30), 150, 120)

    def at(self, day: date) -> float:
        """Return where a day begins, kept within the strip."""
        place = (day - self.first).days * self.width / self.days
        return round(min(max(place, 0.0), self.width), 1)

    def shows(self, day: date) -> bool:
        """Say whether a day lies on the strip."""
        return 0 <= (day - self.first).days < self.days

    def window(self, row: Any, today: date) -> Bar:
        """Return the bar of an occurrence: earliest to latest, its due day, today."""
        return self.bar(row.earliest_on or row.due_on, row.latest_on, row.due_on, today)

    def bar(self, earliest: date, latest: date, aim: date | None, today: date) -> Bar:
        """Return the bar from one day to another, both in; `aim` is a day to mark on it."""
        x, end = self.at(earliest), self.at(latest + timedelta(days=1))
        return Bar(
            x=x,
            width=round(max(end - x, self.width / self.days), 1),
            due=self.at(aim) if aim and self.shows(aim) else None,
            now=self.at(today) if self.shows(today) else None,
            late=latest < today,
        )

    def ticks(self) -> Iterable[tuple[date, float]]:
        """Yield the days of the strip and where each begins."""
        for n in range(self.days):
            day = self.first + timedelta(days=n)
            yield day, self.at(day)
