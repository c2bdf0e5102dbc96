"""The open window of a task under everything that bounds it. Pure: dates in, dates out.

A task may be bounded by several regimes at once (the adopted standard, a state's or federal rule,
an insurer, a hospital's accreditor), by a season, by time for which its item was out of service by
leave, and by a day that a person set to catch up by.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache

from inspections.intervals import Span, WindowRule
from scheduling.recurrence import (
    STANDARD,
    Clock,
    Policy,
    Season,
    Window,
    counted,
    intersect,
    next_window,
    resumed,
    seasonal_window,
)

_DAY = timedelta(days=1)
# Intervals nearer than this are one frequency told in other words, such as P12M and P365D.
_SAME_DAYS = 5
_YEAR_BEFORE = Span(months=-12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """Time for which an item, or the whole building, was out of service by leave.

    Attributes
    ----------
    from_on
        First day out.
    back_on
        First day back; None while nobody knows it.
    authority
        Who gave leave.
    reason
        Why, in words.
    """

    from_on: date
    back_on: date | None
    authority: str = ""
    reason: str = ""

    def holds(self, day: date) -> bool:
        """Say whether the item is out on a day."""
        return self.from_on <= day and (self.back_on is None or day < self.back_on)

    def __str__(self) -> str:
        leave = f", by leave of {self.authority}" if self.authority else ""
        until = f" until {self.back_on - _DAY}" if self.back_on else ""
        return f"Out of service since {self.from_on}{until}{leave}: {self.reason or 'no reason'}."


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFree:
    """Days on which work is not wanted: a ban on using water, a school's term.

    Attributes
    ----------
    from_on, until_on
        First and last day, less than a year apart where they come back.
    yearly
        They come back on the same days each year.
    why
        By whose word and why.
    """

    from_on: date
    until_on: date
    yearly: bool = False
    why: str = ""

    def holds(self, day: date) -> bool:
        """Say whether work is not wanted on a day."""
        if not self.yearly:
            return self.from_on <= day <= self.until_on
        first, last = ((one.month, one.day) for one in (self.from_on, self.until_on))
        at = (day.month, day.day)
        return first <= at <= last if first <= last else at >= first or at <= last


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """An item's place among those of which every other one has its turn in each cycle.

    Attributes
    ----------
    passed
        Days on which a cycle began without it.
    waited
        Those, and days on which it was done in a cycle though it was not its turn.
    opened
        Days on which a finding elsewhere made it owed out of turn, each with its latest day.
    waits
        It is not its turn in the cycle to come.
    why
        In words.
    """

    passed: tuple[date, ...] = ()
    waited: tuple[date, ...] = ()
    opened: tuple[tuple[date, date], ...] = ()
    waits: bool = False
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """A rule on how often a task repeats, and whose it is.

    Attributes
    ----------
    name
        As reasons name it, such as ``joint_commission`` or the insurer's name.
    activity
        The row of the catalogue that brings it: the task's own, or one that restates it.
    """

    name: str
    rule: WindowRule
    activity: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """All that decides when a task is due, besides when it was done.

    Attributes
    ----------
    rules
        At least one; the first is that of the activity itself.
    season
        When in the year it is wanted; None for any time.
    pauses
        Past time out of service; one that is not over puts nothing off.
    catch_up_by
        The day that a person set for what was never seen done.
    kept_free
        Days on which it is not wanted.
    turn
        Its place among like items that take turns; None where it is owed in every cycle.
    """

    rules: tuple[Bound, ...]
    clock: Clock
    policy: Policy = STANDARD
    season: Season | None = None
    pauses: tuple[Pause, ...] = ()
    catch_up_by: date | None = None
    kept_free: tuple[KeptFree, ...] = ()
    turn: Turn | None = None

    def __hash__(self) -> int:
        # Tells most apart, in a fraction of the time that every field of every rule takes.
        return hash((self.rules[0].activity, self.clock.start, self.clock.born, self.catch_up_by))

    @property
    def rule(self) -> WindowRule:
        """Return the most frequent of the rules, by which performances are counted.

        Work oftener than a rule asks is always allowed, so an insurer's shorter interval takes the
        place of the standard's, and a longer one changes nothing but the latest day.
        """
        return min((one.rule for one in self.rules), key=lambda rule: rule.nominal.nominal_days)

    @property
    def by_age(self) -> bool:
        """Say whether the first performance is due by age."""
        return self.clock.first_after is not None and self.clock.born is not None


def open_window(bounds: Bounds, done: Sequence[date] = ()) -> Window:
    """Return the window of the performance that is owed next.

    Parameters
    ----------
    done
        Days on which the task was done, ascending.

    Notes
    -----
    What was never seen done is open for one greatest gap from take-over: the yearly count and the
    anchor bring its due day forward, never its latest.
    """
    return _opened(bounds, tuple(done))


# The items of a building mostly share their dates, so most windows are asked for many times.
@lru_cache(maxsize=20_000)
def _opened(bounds: Bounds, done: tuple[date, ...]) -> Window:
    if bounds.turn is not None:
        return _in_turn(bounds, bounds.turn, done)
    shortest = bounds.rule.nominal.nominal_days
    windows = []
    for bound in bounds.rules:
        window = _wanted(bounds, bound.rule, done)
        if bound.rule.nominal.nominal_days > shortest + _SAME_DAYS:
            window = replace(window, earliest=None)
        windows.append((bound.name, window))
    found = intersect(windows)
    if bounds.catch_up_by and not done:
        found = Window(
            earliest=None,
            due=min(found.due, bounds.catch_up_by),
            latest=bounds.catch_up_by,
            reason=f"A person set {bounds.catch_up_by} as the day to catch up by.",
        )
    for pause in bounds.pauses:
        if pause.back_on is not None:
            found = resumed(found, pause.from_on, pause.back_on)
    return kept_off(found, bounds.kept_free) if bounds.kept_free else found


def _in_turn(bounds: Bounds, turn: Turn, done: tuple[date, ...]) -> Window:
    """Return the window of an item that takes turns; the reason tells its own performances."""
    alone = replace(bounds, turn=None)
    told = f"{turn.why} {_opened(alone, done).reason}".strip()
    history = _history(bounds, done)
    window = _opened(alone, history)
    opened = next((one for one in turn.opened if not done or done[-1] <= one[0]), None)
    if opened is not None:
        due, latest = opened
        window = replace(window, earliest=None, due=min(window.due, due))
        window = replace(window, latest=min(window.latest, latest))
    elif turn.waits:
        window = _after(alone, history, window)
    return replace(window, reason=told)


def _after(bounds: Bounds, done: Sequence[date], window: Window) -> Window:
    """Return the window that follows one in which the item has not its turn."""
    return _opened(bounds, (*done, max((window.due, *done[-1:]))))


def _history(bounds: Bounds, done: Sequence[date]) -> tuple[date, ...]:
    """Return the days from which time ran anew: those of its own, and those it was passed over."""
    if bounds.turn is None or not bounds.turn.passed:
        return tuple(done)
    return tuple(sorted({*done, *bounds.turn.passed}))


def kept_off(window: Window, kept_free: Sequence[KeptFree]) -> Window:
    """Return a window whose wanted day lies off the days that are kept free, where one does.

    The day nearest to the wanted one is taken. It is a wish as a season is: the earliest and the
    latest day of the rules stay, and where no day is free the window stays and says so.
    """
    hit = next((one for one in kept_free if one.holds(window.due)), None)
    if hit is None:
        return window
    opens = window.earliest or min(window.due, _YEAR_BEFORE.after(window.latest))
    near = sorted(
        (opens + timedelta(days=count) for count in range((window.latest - opens).days + 1)),
        key=lambda day: (abs((day - window.due).days), day),
    )
    free = next((day for day in near if not any(one.holds(day) for one in kept_free)), None)
    if free is None:
        return replace(window, reason=f"{window.reason} No day of it is free of this: {hit.why}.")
    return replace(window, due=free, reason=f"{window.reason} Kept off {window.due}: {hit.why}.")


def free_part(
    first: date | None, last: date, kept_free: Sequence[KeptFree]
) -> tuple[date | None, date]:
    """Return the free days nearest to the end of a span; the span itself where none is free.

    Parameters
    ----------
    first
        None for no bound; then a year back is looked at.
    """

    def free(day: date) -> bool:
        return not any(one.holds(day) for one in kept_free)

    bound = first or _YEAR_BEFORE.after(last)
    end = last
    while end > bound and not free(end):
        end -= _DAY
    if not free(end):
        return first, last
    start = end
    while start > bound and free(start - _DAY):
        start -= _DAY
    return (start if start > bound else first), end


def performed(bounds: Bounds, done: Sequence[date]) -> tuple[date, ...]:
    """Return the performances that count, leaving out those that came too early."""
    return counted(bounds.rule, bounds.clock, _history(bounds, done), bounds.policy)


@dataclass(frozen=True, slots=True)
class Run:
    """A window and the days from which and up to which it was the open one; None: it still is.

    Attributes
    ----------
    never
        Nothing had been seen done yet.
    """

    window: Window
    begun: date
    closed: date | None
    never: bool


def runs(bounds: Bounds, done: Sequence[date], today: date) -> list[Run]:
    """Return the windows that were open one after another, up to a day."""
    alone = bounds if bounds.turn is None else replace(bounds, turn=None)
    waited = bounds.turn.waited if bounds.turn else ()
    open_now, credited = open_window(bounds, done), performed(bounds, done)
    seen = _history(bounds, done)[:1]
    found: list[Run] = []
    for place, begun in enumerate((bounds.clock.start, *credited)):
        if begun > today:
            continue
        window = open_window(alone, credited[:place])
        closed = next((day for day in credited if day > begun), None)
        if window == open_now or closed is None:
            window, closed = open_now, None
        elif closed in waited:
            window = _after(alone, credited[:place], window)
        never = not bounds.by_age and (not seen or begun < seen[0])
        found += _parted(bounds, done, Run(window, begun, closed, never))
    return found


def _parted(bounds: Bounds, done: Sequence[date], run: Run) -> list[Run]:
    """Return a run, in two parts where a finding elsewhere made the item owed meanwhile."""
    opened = bounds.turn.opened if bounds.turn else ()
    cut = next(
        (one for one in opened if run.begun <= one[0] and (not run.closed or one[0] < run.closed)),
        None,
    )
    if cut is None or bounds.turn is None:
        return [run]
    day, latest = cut
    before, after = run.window, run.window
    if run.closed is None:
        before = open_window(replace(bounds, turn=replace(bounds.turn, opened=())), done)
    else:
        after = replace(after, earliest=None, due=min(after.due, day))
        after = replace(after, latest=min(after.latest, latest))
    if before.latest < day:
        return [run]
    first = replace(run, window=before, closed=day)
    return [*([first] if run.begun < day else []), replace(run, window=after, begun=day)]


def following(
    bounds: Bounds, done: Sequence[date], on: date, last: date, most: int = 800
) -> list[Window]:
    """Return the open window and those after it, each taken to be done on its wanted day.

    Parameters
    ----------
    on
        The day of asking: what is late by then is taken to be done on it.
    last
        Windows whose due day lies beyond are left out, but the open one never is.
    most
        How many at most, so that a daily task of many years ends.
    """
    history = list(done)
    found = [open_window(bounds, history)]
    kept = 2 * (bounds.rule.per_year or 1) + 1
    while len(found) < most:
        history.append(max(found[-1].due, on, *(history[-1:] or (date.min,))))
        if bounds.turn is not None:
            bounds = replace(bounds, turn=replace(bounds.turn, opened=(), waits=True, why=""))
        window = open_window(bounds, history[-kept:])
        if window.due > last or window.due <= found[-1].due:
            break
        found.append(window)
    return found


def _wanted(bounds: Bounds, rule: WindowRule, done: tuple[date, ...]) -> Window:
    clock, policy, season = bounds.clock, bounds.policy, bounds.season
    window = next_window(rule, clock, done, policy)
    if season is not None:
        wanted, _fits = seasonal_window(rule, clock, season, done, policy)
        # A season is a wish: only a calendar slot rests outside it, a latest day stays.
        latest = wanted.latest if rule.slot else max(wanted.latest, window.latest)
        window = replace(wanted, latest=latest)
    if done or bounds.by_age:
        return window
    whole = (rule.greatest or rule.nominal).after(clock.start)
    return replace(window, latest=whole) if window.latest < whole else window
