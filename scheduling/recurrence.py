"""When a task is due again: earliest, due and latest day, and why. Pure: dates in, dates out.

Meaning of the frequency words: NFPA 25 s.3.7.1 (2020) as publicly listed for slots, gaps and
counts; AS 1851-2012 Table 1.11(B) for scheduled dates. What those leave open is common practice
without a source, and said at the place.
"""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from functools import lru_cache

from inspections.intervals import Slot, Span, WindowRule

_DAY = timedelta(days=1)
_YEAR = Span(months=12)
_MONTHS_IN_QUARTER = 3
_SAYS_THE_WORD_AGAIN = "once every"


class Anchoring(StrEnum):
    """How the due day inside a window is chosen.

    ``FIXED``: the periods are counted from the anchor, without drift. ``LAST``: the plain interval
    after the last performance. ``MIXED``: the day nearest to that on which the building's work
    falls anyhow (its contract month); the usual choice.
    """

    FIXED = "fixed"
    LAST = "last performed"
    MIXED = "mixed"


class Status(StrEnum):
    """How an occurrence stands on a day."""

    IN_ORDER = "in order"
    DUE = "due"
    OVERDUE = "overdue"


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """Settings of a building or contractor.

    Attributes
    ----------
    rolling_year
        Count performances in any twelve months, not in the calendar year.
    week_starts
        First day of the calendar week: 0 is Monday, 6 Sunday.
    holidays
        Days that are no working days, for tolerances counted in working days.
    """

    anchoring: Anchoring = Anchoring.MIXED
    rolling_year: bool = False
    week_starts: int = 0
    holidays: frozenset[date] = frozenset()


STANDARD = Policy()


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """From when a task's time runs.

    Attributes
    ----------
    start
        Acceptance of the item, or the day on which the contractor took it over.
    anchor
        A day of the building's contract month, or of the first performance of all. None: due days
        follow the last performance, and scheduled ones are counted from `start`.
    born
        Day of manufacture or installation, for a task that is first due by age.
    first_after
        That age; None for a task due by interval from the beginning.
    """

    start: date
    anchor: date | None = None
    born: date | None = None
    first_after: Span | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The days on which a task counts.

    Attributes
    ----------
    earliest
        Work before this day counts as extra only; None where there is no such day.
    due
        The nominal day.
    latest
        The last day in time; the day after, the task is overdue.
    reason
        In words.
    clash
        Which regimes leave no day in common; empty when there is one.
    """

    earliest: date | None
    due: date
    latest: date
    reason: str
    clash: str = ""

    def holds(self, day: date) -> bool:
        """Say whether work on a day is inside the window."""
        return (self.earliest is None or self.earliest <= day) and day <= self.latest


def status(window: Window, today: date) -> Status:
    """Return how an open occurrence stands: due once its day has passed, overdue after the latest.

    A calendar slot ends on its due day, so it is in order until it ends.
    """
    if today <= window.due:
        return Status.IN_ORDER
    return Status.DUE if today <= window.latest else Status.OVERDUE


def next_window(
    rule: WindowRule, clock: Clock, done: Sequence[date] = (), policy: Policy = STANDARD
) -> Window:
    """Return the window of the next performance that is owed.

    Parameters
    ----------
    rule
        How far repeats may stray.
    clock
        From when time runs, and by what age the first one is due.
    done
        Days on which the task was done, ascending. The last one is enough; with all of the current
        year the yearly count is exact. A new installation's acceptance test is the first.

    Returns
    -------
    Window
        It may lie in the past: then the task is overdue since its latest day.

    Notes
    -----
    Work before the earliest day counts as extra, and the window still runs from the performance
    before it (trade reading, no source).
    """
    return _window(rule, clock, tuple(done), policy)


# The items of a building mostly share their dates, so most windows are asked for many times.
@lru_cache(maxsize=20_000)
def _window(rule: WindowRule, clock: Clock, done: tuple[date, ...], policy: Policy) -> Window:
    credited = counted(rule, clock, done, policy)
    if rule.slot is not None:
        return _slot_window(rule, rule.slot, clock, credited, policy)
    if rule.before is not None:
        return _scheduled_window(rule, clock, credited, policy)
    if not credited:
        return _first_window(rule, clock, policy)
    return _gap_window(rule, clock, credited, policy)


def counted(
    rule: WindowRule, clock: Clock, done: Sequence[date], policy: Policy = STANDARD
) -> tuple[date, ...]:
    """Return the performances that count, leaving out those that came too early."""
    found: list[date] = []
    for day in done:
        if not found:
            opens = _first_opens(clock)
        elif rule.slot is not None:
            opens = _slot_end(found[-1], rule.slot, policy) + _DAY
        elif rule.before is not None:
            opens = _scheduled_window(rule, clock, found, policy).earliest
        else:
            opens = rule.least.after(found[-1]) if rule.least else found[-1] + _DAY
        if opens is None or day >= opens:
            found.append(day)
    return tuple(found)


def occurrences_between(
    rule: WindowRule,
    clock: Clock,
    done: Sequence[date],
    first: date,
    last: date,
    policy: Policy = STANDARD,
) -> Iterator[Window]:
    """Yield the windows whose due day lies between two days, each done on its due day before.

    For the calendar of a coming year. An occurrence whose due day is past on `first` is yielded
    too, and taken to be done on `first`.
    """
    history = list(done)
    while True:
        window = next_window(rule, clock, history[-_kept(rule) :], policy)
        if window.due > last:
            return
        yield window
        history.append(max(window.due, first))


def _kept(rule: WindowRule) -> int:
    return 2 * (rule.per_year or 1) + 1


def intersect(windows: Sequence[tuple[str, Window]]) -> Window:
    """Return the days that suit every regime that applies.

    Parameters
    ----------
    windows
        Name of the regime and its window; at least one. The first one's due day is kept where the
        others allow it.

    Returns
    -------
    Window
        Where no day suits all, the window of the regime whose latest day comes first decides, and
        `clash` names it and the ones that open only afterwards.

    Raises
    ------
    ValueError
        When there is no window.
    """
    if not windows:
        raise ValueError("there is no window to intersect")
    if len(windows) == 1:
        return windows[0][1]
    name, first = min(windows, key=lambda one: one[1].latest)
    latest = first.latest
    earliest = max((w.earliest for _, w in windows if w.earliest is not None), default=None)
    reason = " ".join(f"{regime}: {window.reason}" for regime, window in windows)
    if earliest is None or earliest <= latest:
        due = min(window.due for _, window in windows)
        due = max(due, earliest) if earliest else due
        return Window(earliest=earliest, due=min(due, latest), latest=latest, reason=reason)
    others = [
        regime
        for regime, window in windows
        if window.earliest is not None and window.earliest > latest
    ]
    clash = f"{name} wants it by {latest}; {', '.join(others)} would not count it before {earliest}"
    return replace(first, reason=reason, clash=clash)


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """The part of each year in which work is wanted; it may run across the year's end.

    Attributes
    ----------
    first, last
        Month and day, both included.
    """

    name: str
    first: tuple[int, int]
    last: tuple[int, int]

    def holds(self, day: date) -> bool:
        """Say whether a day lies in the season."""
        at = (day.month, day.day)
        if self.first <= self.last:
            return self.first <= at <= self.last
        return at >= self.first or at <= self.last


def in_season(window: Window, season: Season) -> tuple[Window, bool]:
    """Return the part of a window that lies in a season, and whether there is one.

    The part is the one nearest to the due day. Without any the window stays as it is: a season is
    a wish, the latest day is not.
    """
    start = window.earliest or min(window.due, _YEAR.times(-1).after(window.latest))
    days = (window.latest - start).days + 1
    near = sorted(
        (start + timedelta(days=count) for count in range(days)),
        key=lambda day: abs((day - window.due).days),
    )
    due = next((day for day in near if season.holds(day)), None)
    if due is None:
        return window, False
    first = last = due
    while first > start and season.holds(first - _DAY):
        first -= _DAY
    while last < window.latest and season.holds(last + _DAY):
        last += _DAY
    opens = first if window.earliest is not None or first > start else None
    reason = f"{window.reason} Wanted in season: {season.name}."
    return replace(window, earliest=opens, due=due, latest=last, reason=reason), True


def seasonal_window(
    rule: WindowRule,
    clock: Clock,
    season: Season,
    done: Sequence[date] = (),
    policy: Policy = STANDARD,
) -> tuple[Window, bool]:
    """Return the next window of a task that is wanted in one season, and whether it lies in it.

    Calendar slots outside the season are not owed at all: a daily look in cold weather rests in
    summer and starts with the first slot of the next cold weather. Every other task keeps its
    window where the season does not meet it.
    """
    window = next_window(rule, clock, done, policy)
    found, fits = in_season(window, season)
    if fits or rule.slot is None:
        return found, fits
    opening = window.latest
    while not season.holds(opening):
        opening += _DAY
    begun = replace(clock, start=_slot_start(opening, rule.slot, policy))
    return in_season(_slot_window(rule, rule.slot, begun, (), policy), season)


def resumed(window: Window, out_from: date, back_on: date) -> Window:
    """Return the window of a task whose item was out of service, by leave, for a while.

    What falls due meanwhile is owed on the day of return (common practice, no source).
    """
    if not out_from <= window.latest < back_on:
        return window
    reason = f"{window.reason} Out of service from {out_from} to {back_on}."
    return replace(window, due=back_on, latest=back_on, reason=reason)


def _first_opens(clock: Clock) -> date | None:
    """Return the day from which a first test by age counts.

    A sample taken long before the age that asks for one answers nothing about it; one taken in the
    year before does (common practice, no source).
    """
    if clock.born is None or clock.first_after is None:
        return None
    return _YEAR.times(-1).after(clock.first_after.after(clock.born))


def _first_window(rule: WindowRule, clock: Clock, policy: Policy) -> Window:
    if clock.first_after is not None and clock.born is not None:
        due = clock.first_after.after(clock.born)
        reason = f"First due {clock.first_after} after {clock.born}."
        return Window(earliest=None, due=due, latest=due, reason=reason)
    nominal = rule.nominal.after(clock.start)
    latest = (rule.greatest or rule.nominal).after(clock.start)
    reason = f"Never recorded; time runs from {clock.start}. {_described(rule)}"
    if clock.first_after is not None:
        reason += f" Age not known: the repeat of {rule.nominal} is used."
    latest = min(latest, _count_deadline(rule, clock, (), policy) or latest)
    due = _target(rule, clock, nominal, policy)
    due = min(max(due, clock.start), latest)
    return Window(earliest=None, due=due, latest=latest, reason=reason)


def _gap_window(rule: WindowRule, clock: Clock, done: Sequence[date], policy: Policy) -> Window:
    last = done[-1]
    earliest = rule.least.after(last) if rule.least else None
    latest = (rule.greatest or rule.nominal).after(last)
    reason = f"Last done {last}. {_described(rule)}"
    deadline = _count_deadline(rule, clock, done, policy)
    if deadline is not None and deadline < latest and (earliest is None or deadline >= earliest):
        latest = deadline
        reason += f" The yearly count asks for it by {deadline}."
    target = _target(rule, clock, rule.nominal.after(last), policy)
    due = min(max(target, earliest or last + _DAY), latest)
    return Window(earliest=earliest, due=due, latest=latest, reason=reason)


def _target(rule: WindowRule, clock: Clock, nominal: date, policy: Policy) -> date:
    """Return the wanted day: on the anchor's grid, near the plain interval's end."""
    if policy.anchoring is Anchoring.LAST or clock.anchor is None:
        return nominal
    step = rule.nominal
    if policy.anchoring is Anchoring.MIXED and step.months > _YEAR.months:
        step = _YEAR
    return _nearest(clock.anchor, step, nominal)


def _nearest(anchor: date, step: Span, day: date) -> date:
    guess = round((day - anchor).days / step.nominal_days)
    grid = [step.times(count).after(anchor) for count in (guess - 1, guess, guess + 1)]
    return min(grid, key=lambda one: (abs((one - day).days), one))


def _count_deadline(
    rule: WindowRule, clock: Clock, done: Sequence[date], policy: Policy
) -> date | None:
    """Return the day by which the next performance keeps the yearly count within reach."""
    wanted = rule.per_year
    if wanted is None:
        return None
    if policy.rolling_year:
        return _YEAR.after(done[-wanted]) if len(done) >= wanted else None
    start = min(clock.start, done[0]) if done else clock.start
    year = done[-1].year if done else start.year
    had = len(done) - bisect_left(done, date(year, 1, 1)) if done else 0
    owed = _owed_in(year, start, wanted) - had
    if owed <= 0:
        year, owed = year + 1, wanted
    ends = date(year, 12, 31)
    between = rule.least or Span()
    reachable = between.times(1 - owed).after(ends)
    opens = between.after(done[-1]) if done else start
    return reachable if reachable >= opens else ends


def _owed_in(year: int, start: date, wanted: int) -> int:
    """Return the yearly count, prorated in the year in which the clock starts."""
    if start <= date(year, 1, 1):
        return wanted
    days = (date(year, 12, 31) - start).days + 1
    return int(wanted * days / ((date(year, 12, 31) - date(year, 1, 1)).days + 1))


def _slot_window(
    rule: WindowRule, slot: Slot, clock: Clock, done: Sequence[date], policy: Policy
) -> Window:
    if done:
        first = _slot_end(done[-1], slot, policy) + _DAY
        since = f"Last done {done[-1]}."
    else:
        first = clock.start
        if _slot_start(first, slot, policy) != first:
            first = _slot_end(first, slot, policy) + _DAY
        since = f"Never recorded; time runs from {clock.start}."
    ends = _slot_end(first, slot, policy)
    reason = f"{since} {_described(rule)}"
    return Window(earliest=first, due=ends, latest=ends, reason=reason)


def _slot_start(day: date, slot: Slot, policy: Policy) -> date:
    match slot:
        case "day":
            return day
        case "week":
            return day - timedelta(days=(day.weekday() - policy.week_starts) % 7)
        case "month":
            return day.replace(day=1)
        case "quarter":
            first = day.month - (day.month - 1) % _MONTHS_IN_QUARTER
            return day.replace(month=first, day=1)


def _slot_end(day: date, slot: Slot, policy: Policy) -> date:
    start = _slot_start(day, slot, policy)
    match slot:
        case "day":
            return day
        case "week":
            return start + timedelta(days=6)
        case "month":
            return Span(months=1).after(start) - _DAY
        case "quarter":
            return Span(months=_MONTHS_IN_QUARTER).after(start) - _DAY


def _scheduled_window(
    rule: WindowRule, clock: Clock, done: Sequence[date], policy: Policy
) -> Window:
    """Return the window round the next scheduled date, counted from the first date of all."""
    anchor = clock.anchor or clock.start
    before, after = rule.before or Span(), rule.after or Span()

    def scheduled(count: int) -> date:
        return rule.nominal.times(count).after(anchor)

    def opens(count: int) -> date:
        return before.after(scheduled(count), holidays=policy.holidays)

    reference = done[-1] if done else clock.start
    count = int((reference - anchor).days // rule.nominal.nominal_days) - 1
    if done:
        while opens(count) <= reference:
            count += 1
    else:
        while scheduled(count) < reference:
            count += 1
    due = scheduled(count)
    latest = after.after(due, holidays=policy.holidays)
    since = f"Last done {done[-1]}." if done else "Never recorded."
    reason = f"{since} Scheduled from {anchor}. {_described(rule)}"
    return Window(earliest=opens(count), due=due, latest=latest, reason=reason)


@lru_cache(maxsize=1_000)
def _described(rule: WindowRule) -> str:
    """Return a rule in words."""
    since = "since " if rule.edition.isdigit() else ""
    whose = f"{rule.regime} {since}{rule.edition}".strip()
    parts = [rule.word]
    if rule.count_rule and not rule.count_rule.startswith(_SAYS_THE_WORD_AGAIN):
        parts.append(rule.count_rule)
    if rule.least and rule.greatest:
        parts.append(f"{rule.least} to {rule.greatest} apart")
    elif rule.greatest:
        parts.append(f"at most {rule.greatest} apart")
    if len(parts) == 1:
        parts.append(f"every {rule.nominal}")
    if rule.provisional:
        parts.append("provisional, not defined by the regime itself")
    return f"{whose}: {', '.join(dict.fromkeys(parts))}."
