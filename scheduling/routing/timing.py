"""Timing one technician's day: the order is given, the instants are found.

Work starts as early as the windows allow without making the day longer than it must be or than the
shift is, so that delays on the road meet slack instead of a closing door; starts fall on five
minutes where there is room.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from scheduling.routing.plan import SHOWN_TO, Route, Stop
from scheduling.routing.problem import Problem, Shift, Technician, Visit


class Piece(NamedTuple):
    """A visit on a route with the intervals in which it may start there."""

    visit: Visit
    intervals: tuple[tuple[int, int], ...]
    wish: int | None = None


class _Day(NamedTuple):
    begins: int
    ends: int
    shift: Shift
    legs: list[int]
    pieces: Sequence[Piece]


def timed(
    problem: Problem, technician: Technician, shift: Shift, pieces: Sequence[Piece]
) -> Route | None:
    """Return the route that does the pieces in this order, or None where no timing is legal.

    Checked are intervals, shift, day length and the van's capacity; licences are the caller's.
    A piece's `wish` is a start to come close to, where it costs no time.
    """
    if technician.capacity is not None and load(pieces) > technician.capacity:
        return None
    day = _Day(
        max(shift.begins, problem.now),
        shift.ends,
        shift,
        _legs(problem, technician, shift, pieces),
        pieces,
    )
    found = _shortest(day)
    if found is None:
        return None
    chosen, leaves, returns = found
    room = max(returns - leaves, shift.seconds)
    leaves = max(day.begins, returns - room)
    latest = _backward(day, chosen, min(shift.ends, leaves + room))
    return route_from(problem, technician, shift, pieces, _settle(day, chosen, leaves, latest))


def load(pieces: Sequence[Piece]) -> int:
    """Return what the van carries for the pieces."""
    return sum(piece.visit.load for piece in pieces)


def route_from(
    problem: Problem,
    technician: Technician,
    shift: Shift,
    pieces: Sequence[Piece],
    starts: Sequence[int],
) -> Route:
    """Return the route whose visits start at the given instants, leaving no earlier than needed."""
    legs = _legs(problem, technician, shift, pieces)
    places = _places(technician, shift, pieces)
    metres = [problem.metres[a][b] for a, b in pairwise(places)]
    returns = starts[-1] + pieces[-1].visit.seconds + legs[-1]
    leaves = starts[0] - legs[0]
    early = max(shift.begins, problem.now, leaves // SHOWN_TO * SHOWN_TO)
    if returns - early <= shift.seconds:
        leaves = early
    stops, ready = [], leaves
    for i, piece in enumerate(pieces):
        arrival = ready + legs[i]
        ready = starts[i] + piece.visit.seconds
        stops.append(
            Stop(
                visit=piece.visit.id,
                arrival=arrival,
                start=starts[i],
                end=ready,
                wait=starts[i] - arrival,
                travel=legs[i],
                metres=metres[i],
            )
        )
    return Route(
        technician=technician.id,
        day=shift.day,
        leaves=leaves,
        returns=returns,
        stops=tuple(stops),
        travel=sum(legs),
        metres=sum(metres),
    )


def forced(
    problem: Problem, technician: Technician, shift: Shift, pieces: Sequence[Piece]
) -> Route:
    """Return the route in this order whatever it breaks: each visit starts as soon as it can.

    A visit waits for its window where one is still to come that day, and starts on arrival where
    none is. `verify` names what is broken.
    """
    legs = _legs(problem, technician, shift, pieces)
    ready, starts = max(shift.begins, problem.now), []
    for leg, piece in zip(legs, pieces, strict=False):
        arrival = ready + leg
        hit = _first(piece.intervals, arrival)
        starts.append(max(arrival, hit[0]) if hit else arrival)
        ready = starts[-1] + piece.visit.seconds
    return route_from(problem, technician, shift, pieces, starts)


def _shortest(day: _Day) -> tuple[list[tuple[int, int]], int, int] | None:
    # Leaving later can only help a day that became too long by waiting for a second window.
    for begins in _departures(day):
        walked = _forward(day, begins)
        if walked is None:
            return None
        chosen, returns = walked
        if returns > day.ends:
            return None
        latest = _backward(day, chosen, returns)
        leaves = latest[0] - day.legs[0]
        if returns - leaves <= day.shift.longest:
            return chosen, leaves, returns
    return None


def _departures(day: _Day) -> list[int]:
    later: set[int] = set()
    spent = 0
    for leg, piece in zip(day.legs, day.pieces, strict=False):
        spent += leg
        later.update(a - spent for a, _ in piece.intervals if a - spent > day.begins)
        spent += piece.visit.seconds
    return [day.begins, *sorted(later)]


def _forward(day: _Day, begins: int) -> tuple[list[tuple[int, int]], int] | None:
    ready, chosen = begins, []
    for leg, piece in zip(day.legs, day.pieces, strict=False):
        hit = _first(piece.intervals, ready + leg)
        if hit is None:
            return None
        chosen.append(hit)
        ready = max(ready + leg, hit[0]) + piece.visit.seconds
    return chosen, ready + day.legs[-1]


def _backward(day: _Day, chosen: list[tuple[int, int]], returns: int) -> list[int]:
    latest, due = [0] * len(chosen), returns
    for i in range(len(chosen) - 1, -1, -1):
        due = min(chosen[i][1], due - day.legs[i + 1] - day.pieces[i].visit.seconds)
        latest[i] = due
    return latest


def _settle(day: _Day, chosen: list[tuple[int, int]], leaves: int, latest: list[int]) -> list[int]:
    starts, ready = [], leaves
    for i, piece in enumerate(day.pieces):
        soonest = max(ready + day.legs[i], chosen[i][0])
        wish = -(-soonest // SHOWN_TO) * SHOWN_TO if piece.wish is None else piece.wish
        starts.append(min(max(soonest, wish), latest[i]))
        ready = starts[-1] + piece.visit.seconds
    return starts


def _first(intervals: tuple[tuple[int, int], ...], arrival: int) -> tuple[int, int] | None:
    return next((interval for interval in intervals if arrival <= interval[1]), None)


def _places(technician: Technician, shift: Shift, pieces: Sequence[Piece]) -> list[int]:
    first = technician.home if shift.start_place is None else shift.start_place
    return [first, *(piece.visit.place for piece in pieces), technician.home]


def _legs(
    problem: Problem, technician: Technician, shift: Shift, pieces: Sequence[Piece]
) -> list[int]:
    places = _places(technician, shift, pieces)
    return [problem.seconds[a][b] for a, b in pairwise(places)]
