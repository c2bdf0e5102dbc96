"""Spans of calendar time and the rules that bound how often a task repeats. Knows no Django."""

import calendar
import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

_SPAN = re.compile(r"(?P<sign>[+-]?)P(?:(?P<years>\d+)Y)?(?:(?P<months>\d+)M)?(?:(?P<days>\d+)D)?")
_LATER = re.compile(r"(?P<base>P[0-9YMD]+)(?P<sign>[+-])(?P<days>\d+)D")
_WORKING = re.compile(r"(?P<sign>[+-])(?P<days>\d+) working days")
SATURDAY = 5
# The longest interval of the tables is 75 years.
MOST_YEARS = 200


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """A stretch of calendar time.

    Attributes
    ----------
    months
        Calendar months; a year is twelve.
    days
        Days, added after the months.
    working_days
        Mondays to Fridays that are no holiday; only ever alone.
    """

    months: int = 0
    days: int = 0
    working_days: int = 0

    @classmethod
    def parse(cls, text: str) -> "Span":
        """Return the span that a table writes.

        Parameters
        ----------
        text
            An ISO 8601 duration of years, months and days (``P3M``), one with days more or less
            (``P3M-10D``), a signed one (``-P2M``), or ``+5 working days``.

        Raises
        ------
        ValueError
            When the text is none of these.
        """
        if match := _WORKING.fullmatch(text):
            return cls(working_days=int(match["sign"] + match["days"]))
        if match := _LATER.fullmatch(text):
            base = cls.parse(match["base"])
            return cls(base.months, base.days + int(match["sign"] + match["days"]))
        match = _SPAN.fullmatch(text)
        if match is None or not any(match[part] for part in ("years", "months", "days")):
            raise ValueError(f"{text!r} is no duration; write one like P3M, P1Y or P7D")
        sign = -1 if match["sign"] == "-" else 1
        years, months, days = (int(match[part] or 0) for part in ("years", "months", "days"))
        return cls(sign * (12 * years + months), sign * days)

    def after(self, day: date, *, holidays: frozenset[date] = frozenset()) -> date:
        """Return the day that lies this span after another.

        Notes
        -----
        A month has no 31st day everywhere: 31 January and one month is the last day of February
        (common practice, no source).
        """
        if self.working_days:
            return _working_day(day, self.working_days, holidays)
        month = day.year * 12 + day.month - 1 + self.months
        year, month_index = divmod(month, 12)
        last = calendar.monthrange(year, month_index + 1)[1]
        moved = day.replace(year=year, month=month_index + 1, day=min(day.day, last))
        return moved + timedelta(days=self.days)

    def times(self, count: int) -> "Span":
        """Return this span taken several times, so that steps are counted from one anchor."""
        return Span(self.months * count, self.days * count, self.working_days * count)

    @property
    def nominal_days(self) -> float:
        """Return about how long the span is, in days, for comparing and sorting."""
        return self.months * 365.2425 / 12 + self.days + self.working_days * 7 / 5

    def __str__(self) -> str:
        if self.working_days:
            return f"{self.working_days} working days"
        parts = []
        years, months = divmod(abs(self.months), 12)
        for count, noun in ((years, "year"), (months, "month"), (abs(self.days), "day")):
            if count:
                parts.append(f"{count} {noun}{'' if count == 1 else 's'}")
        return " ".join(parts) or "0 days"


def repeat(text: str) -> Span:
    """Return the interval at which something repeats.

    Raises
    ------
    ValueError
        When it is no duration, not longer than nothing, or longer than two centuries: beyond that
        a day to come has no date.
    """
    span = Span.parse(text)
    if span.nominal_days <= 0:
        raise ValueError(f"an interval must be longer than nothing, not {text}")
    if span.nominal_days > MOST_YEARS * 366:
        raise ValueError(f"an interval must be at most {MOST_YEARS} years, not {text}")
    return span


def _working_day(day: date, count: int, holidays: frozenset[date]) -> date:
    step = timedelta(days=1 if count > 0 else -1)
    left = abs(count)
    while left:
        day += step
        if day.weekday() < SATURDAY and day not in holidays:
            left -= 1
    return day


Slot = Literal["day", "week", "month", "quarter"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowRule:
    """How often a task repeats and how far each repeat may stray.

    Attributes
    ----------
    regime, edition
        Whose definition it is, and of when, as the table names it.
    word
        The frequency word, such as ``quarterly``.
    nominal
        The plain interval.
    least, greatest
        Bounds of the gap since the last performance; None where there is none.
    before, after
        Tolerance round a scheduled date, for regimes that count from the first date of all.
    slot
        Calendar slot that needs one performance each; such a rule has no gap.
    per_year
        Least number of performances in each calendar year.
    provisional
        The definition is borrowed or the regime has none; reasons say so.
    count_rule, source, confidence
        As the table states them.
    """

    regime: str
    edition: str
    word: str
    nominal: Span
    least: Span | None = None
    greatest: Span | None = None
    before: Span | None = None
    after: Span | None = None
    slot: Slot | None = None
    per_year: int | None = None
    provisional: bool = False
    count_rule: str = ""
    source: str = ""
    confidence: str = ""

    def __hash__(self) -> int:
        # Every window that is kept is looked up by its rule; these few tell rules apart.
        return hash((self.regime, self.edition, self.word))
