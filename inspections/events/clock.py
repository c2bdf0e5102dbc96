"""When an event happened: what is certain, what is estimated, and how good the estimate is.

A tablet's clock may be wrong and its stopwatch may stop in sleep. What is certain is that an event
lies between the last contact before it and the moment the server took it in.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum

AGREEMENT = timedelta(seconds=120)
LONG_AGO = datetime(1970, 1, 1, tzinfo=UTC)


class Quality(StrEnum):
    """How far an estimated moment can be trusted."""

    GOOD = "good"
    UNCERTAIN = "uncertain"


class Side(StrEnum):
    """Where an event lies relative to a moment that decides something."""

    BEFORE = "before"
    AFTER = "after"
    ASK = "ask"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """A tablet's clocks at one moment.

    `wall` is its clock with offset, `mono` milliseconds since the app started, never going back,
    and `boot` names that start. Any of them may be unknown.
    """

    wall: datetime | None = None
    mono: int | None = None
    boot: str | None = None

    def __post_init__(self) -> None:
        if self.wall is not None and self.wall.utcoffset() is None:
            raise ValueError(f"{self.wall.isoformat()} has no offset from UTC")


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """When an event happened.

    Attributes
    ----------
    at
        The estimate, UTC.
    quality
        Good only where clock and stopwatch agree within 120 s and with what is certain.
    earliest, latest
        What is certain: the last contact before the event, and its receipt; UTC. The earliest is
        `LONG_AGO` where the service's own clock was set back between the two.
    """

    at: datetime
    quality: Quality
    earliest: datetime
    latest: datetime

    @property
    def span(self) -> tuple[datetime, datetime]:
        """The moments between which it lies: 120 s about a good estimate, else what is certain."""
        if self.quality is Quality.UNCERTAIN:
            return self.earliest, self.latest
        return max(self.earliest, self.at - AGREEMENT), min(self.latest, self.at + AGREEMENT)

    def side_of(self, moment: datetime) -> Side:
        """Return whether it lies before or after a moment, or whether a person has to say.

        While nobody has said, the unfavourable reading holds; which one that is, the caller knows.
        """
        first, last = self.span
        if last < _utc(moment):
            return Side.BEFORE
        return Side.AFTER if first >= _utc(moment) else Side.ASK


def estimate(*, event: Stamp, push: Stamp, ticket: datetime | None, received: datetime) -> Estimate:
    """Return when an event happened.

    Parameters
    ----------
    event
        The tablet's clocks when it was recorded.
    push
        The tablet's clocks when it was sent.
    ticket
        Server time of the last contact before the event; None where there was none, as for an act
        on a page, which happens when it is received. One later than the receipt tells that the
        service's own clock was set back meanwhile: then nothing is good.
    received
        Server time of the receipt.

    Raises
    ------
    ValueError
        When a moment has no offset.
    """
    latest = _utc(received)
    earliest = latest if ticket is None else _utc(ticket)
    was_set_back = earliest > latest
    if was_set_back:
        earliest = min(LONG_AGO, latest)
    if earliest == latest:
        return Estimate(at=latest, quality=Quality.GOOD, earliest=earliest, latest=latest)
    by_stopwatch = _by_stopwatch(event, push, latest)
    by_clock = _by_clock(event, push, latest)
    good = (
        not was_set_back
        and by_stopwatch is not None
        and by_clock is not None
        and abs(by_stopwatch - by_clock) <= AGREEMENT
        and earliest - AGREEMENT <= min(by_stopwatch, by_clock)
        and max(by_stopwatch, by_clock) <= latest + AGREEMENT
    )
    candidates = [moment for moment in (by_stopwatch, by_clock) if moment is not None]
    if by_clock is not None and _is_right(push, latest) and earliest <= by_clock <= latest:
        candidates.reverse()  # A tablet that slept, more likely than a clock wrong in between.
    possible = [moment for moment in candidates if earliest <= moment <= latest]
    at = next(iter(possible or candidates), latest)
    return Estimate(
        at=min(max(at, earliest), latest),
        quality=Quality.GOOD if good else Quality.UNCERTAIN,
        earliest=earliest,
        latest=latest,
    )


def put_right(told: datetime, *, wall: str | None, at: datetime) -> datetime:
    """Return a moment that an entry tells, put right where the tablet's clock was wrong.

    Parameters
    ----------
    told
        The moment, by the tablet's clock or, where it knew better, by the service's.
    wall
        The tablet's clock as it made the entry; None for what no tablet made.
    at
        When the entry was made.

    Returns
    -------
    datetime
        As told, or moved by as much as the clock was wrong, whichever is nearer to `at`.
    """
    try:
        off = elapsed(datetime.fromisoformat(wall), at) if wall else timedelta(0)
        moved = told if abs(off) <= AGREEMENT else _utc(told) + off
        return min(told, moved, key=lambda moment: abs(elapsed(moment, at)))
    except OverflowError:  # A clock at the edge of the calendar puts nothing right.
        return told


def stopwatch_seconds(start: Stamp, end: Stamp) -> float | None:
    """Return the seconds from one stamp to another by the tablet's stopwatch alone.

    None where the app was started anew between them: then nobody timed it. A timed test is never
    reckoned from the clock.
    """
    if start.mono is None or end.mono is None or start.boot is None or start.boot != end.boot:
        return None
    if end.mono < start.mono:
        return None
    return (end.mono - start.mono) / 1000


def elapsed(start: datetime, end: datetime) -> timedelta:
    """Return the time from one instant to another, reckoned in UTC.

    Subtracting two local times of one zone is an hour wrong across a change of clocks.
    """
    return _utc(end) - _utc(start)


def _by_stopwatch(event: Stamp, push: Stamp, received: datetime) -> datetime | None:
    seconds = stopwatch_seconds(event, push)
    try:
        return None if seconds is None else received - timedelta(seconds=seconds)
    except OverflowError:  # A stopwatch that ran for millennia says nothing.
        return None


def _is_right(push: Stamp, received: datetime) -> bool:
    return push.wall is not None and abs(elapsed(push.wall, received)) <= AGREEMENT


def _by_clock(event: Stamp, push: Stamp, received: datetime) -> datetime | None:
    if event.wall is None or push.wall is None:
        return None
    try:
        return received - elapsed(event.wall, push.wall)
    except OverflowError:  # Nor does a clock set to the edge of the calendar.
        return None


def _utc(moment: datetime) -> datetime:
    if moment.utcoffset() is None:
        raise ValueError(f"{moment.isoformat()} has no offset from UTC")
    return moment.astimezone(UTC)
