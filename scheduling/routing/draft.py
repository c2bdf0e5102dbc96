"""A plan being worked on: routes as lists of pieces, with the cheapest legal place for one more."""

from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise
from typing import NamedTuple

from scheduling.routing.cost import overtime
from scheduling.routing.plan import Plan, Route
from scheduling.routing.problem import DAY, Placement, Problem, Shift, Technician, Visit
from scheduling.routing.timing import Piece, timed
from scheduling.routing.windows import Slot, crew_holds, late_price, slots

Key = tuple[str, int]
ROUND_TO = 900
USUAL_STARTS = (8 * 3600, 13 * 3600)
SLOTS_TRIED = 60


class Place(NamedTuple):
    """A legal place for one more piece: what it adds to the cost, and the route."""

    cost: int
    key: Key
    pieces: tuple[Piece, ...]
    route: Route


class Draft:
    """Routes under construction; every one of them can be driven as it stands."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self._shifts: dict[Key, tuple[Technician, Shift]] = {
            (technician.id, shift.day): (technician, shift)
            for technician in problem.technicians
            for shift in technician.shifts
        }
        self._pieces: dict[Key, tuple[Piece, ...]] = {}
        self._routes: dict[Key, Route] = {}
        self._slots: dict[str, tuple[Slot, ...]] = {}

    def slots(self, visit: Visit) -> tuple[Slot, ...]:
        """Return the intervals in which the visit may start."""
        if visit.id not in self._slots:
            self._slots[visit.id] = slots(self.problem, visit)
        return self._slots[visit.id]

    def piece(self, visit: Visit, key: Key, wish: int | None = None) -> Piece | None:
        """Return the visit as a piece of that shift, or None if no interval touches it."""
        _, shift = self._shifts[key]
        intervals = tuple(
            (slot.earliest, slot.latest)
            for slot in self.slots(visit)
            if slot.earliest <= shift.ends and slot.latest >= shift.begins
        )
        return Piece(visit, intervals, wish) if intervals else None

    def has(self, key: Key) -> bool:
        """Say whether the technician works a shift that begins on that day."""
        return key in self._shifts

    def put(self, key: Key, pieces: Sequence[Piece]) -> bool:
        """Make the pieces that shift's route, in this order, and say whether that is legal."""
        if key not in self._shifts:
            return False
        if not pieces:
            self._pieces.pop(key, None)
            self._routes.pop(key, None)
            return True
        route = timed(self.problem, *self._shifts[key], pieces)
        if route is None:
            return False
        self._pieces[key], self._routes[key] = tuple(pieces), route
        return True

    def append(self, key: Key, piece: Piece) -> bool:
        """Put a piece at the end of a route, where that is legal."""
        return self.put(key, [*self._pieces.get(key, ()), piece])

    def append_visit(self, key: Key, visit: Visit) -> bool:
        """Put a visit at the end of a route, where that is legal and its licences are held."""
        technician, shift = self._shifts[key]
        piece = self.piece(visit, key)
        suits = piece is not None and self._suits(visit, technician, shift)
        return piece is not None and suits and self.append(key, piece)

    def remove(self, visit_id: str) -> None:
        """Take a visit off its routes."""
        for key, pieces in list(self._pieces.items()):
            kept = [piece for piece in pieces if piece.visit.id != visit_id]
            if len(kept) < len(pieces) and not self.put(key, kept):  # a longer drive without it
                self.put(key, [])
                for piece in kept:
                    self.append(key, piece)

    def placed(self) -> dict[str, int]:
        """Return on how many routes each visit stands."""
        found: dict[str, int] = {}
        for pieces in self._pieces.values():
            for piece in pieces:
                found[piece.visit.id] = found.get(piece.visit.id, 0) + 1
        return found

    def missing(self) -> list[Visit]:
        """Return the visits that stand on too few routes, most pressing first."""
        placed = self.placed()
        left = [v for v in self.problem.visits if placed.get(v.id, 0) < 1 + v.two_technicians]
        return sorted(left, key=lambda v: (-v.priority, v.due, v.id))

    def fill(self) -> None:
        """Put each missing visit at its cheapest legal place, where that is worth it."""
        for visit in self.missing():
            self.remove(visit.id)
            self.insert(visit)

    def insert(self, visit: Visit) -> bool:
        """Put a visit at its cheapest legal place, and say whether there was one."""
        places = self.cheapest_pair(visit) if visit.two_technicians else self.cheapest(visit)
        worth = self.problem.weights.unplanned * visit.priority
        if not places or sum(place.cost for place in places) >= worth:
            return False
        self.take(places)
        return True

    def take(self, places: tuple[Place, ...]) -> None:
        """Put a visit at the places found for it."""
        for place in places:
            self._pieces[place.key], self._routes[place.key] = place.pieces, place.route

    def cheapest(self, visit: Visit) -> tuple[Place, ...]:
        """Return the cheapest legal place of a visit for one technician; empty: there is none."""
        best: Place | None = None
        for bound, key, at, piece in sorted(self._openings(visit), key=lambda o: o[:3]):
            if best is not None and bound >= best.cost:
                break
            place = self._try(key, at, piece)
            if place is None:
                continue
            cost = place.cost + self._price(visit, key)
            if best is None or cost < best.cost:
                best = place._replace(cost=cost)
        return (best,) if best else ()

    def cheapest_pair(self, visit: Visit) -> tuple[Place, ...]:
        """Return the cheapest start and pair for a two-technician visit; empty: there is none."""
        best: tuple[Place, ...] = ()
        least = self.problem.weights.unplanned * visit.priority
        for slot in self.slots(visit)[:SLOTS_TRIED]:
            for start in self._starts(visit, slot):
                pair = self._pair_at(visit, start)
                if pair and sum(place.cost for place in pair) < least:
                    best, least = pair, sum(place.cost for place in pair)
            if best and slot.price >= least:
                break
        return best

    def pair_as(self, visit: Visit, old: Placement) -> tuple[Place, ...]:
        """Return the places of a two-technician visit with an earlier crew and start, if legal."""
        in_slot = any(slot.earliest <= old.start <= slot.latest for slot in self.slots(visit))
        keys = [(member, old.day) for member in old.crew]
        if not in_slot or len(keys) < 2 or not all(key in self._shifts for key in keys):
            return ()
        if not self._pair_holds(visit, *keys):
            return ()
        piece = Piece(visit, ((old.start, old.start),))
        places = [self._cheapest_at(key, piece) for key in keys]
        return tuple(place for place in places if place) if all(places) else ()

    def cheapest_position(self, visit: Visit, key: Key, order: list[str]) -> int:
        """Return where on a route of these visits one more makes the shortest detour."""
        technician, shift = self._shifts[key]
        first = technician.home if shift.start_place is None else shift.start_place
        visits = self.problem.visit_by_id
        places = [first, *(visits[other].place for other in order), technician.home]
        travel = self.problem.seconds
        detours = [
            travel[a][visit.place] + travel[visit.place][b] - travel[a][b]
            for a, b in pairwise(places)
        ]
        return detours.index(min(detours))

    def piece_anyhow(self, visit: Visit, key: Key, wish: int | None) -> Piece:
        """Return the visit as a piece of that shift, held to no interval where none touches it."""
        piece = self.piece(visit, key, wish)
        return piece or Piece(visit, (), wish)

    def plan(self) -> Plan:
        """Return the routes as a plan that says nothing yet of what is left out."""
        routes = sorted(self._routes.values(), key=lambda r: (r.day, r.technician))
        return Plan(routes=tuple(routes))

    def _openings(self, visit: Visit) -> Iterator[tuple[int, Key, int, Piece]]:
        travel = self.problem.seconds
        for key, (technician, shift) in self._shifts.items():
            if not self._suits(visit, technician, shift):
                continue
            piece = self.piece(visit, key)
            if piece is None:
                continue
            extra = self._price(visit, key)
            stands = self._pieces.get(key, ())
            first = technician.home if shift.start_place is None else shift.start_place
            places = [first, *(p.visit.place for p in stands), technician.home]
            spared = travel[first][technician.home] if not stands else None
            for at, (a, b) in enumerate(pairwise(places)):
                direct = 0 if spared is not None else travel[a][b]
                detour = travel[a][visit.place] + travel[visit.place][b] - direct
                yield detour + extra, key, at, piece

    def _suits(self, visit: Visit, technician: Technician, shift: Shift) -> bool:
        if visit.locked and technician.id not in visit.locked.crew:
            return False
        return visit.two_technicians or crew_holds(visit, (technician,), shift.day)

    def _price(self, visit: Visit, key: Key) -> int:
        weights = self.problem.weights
        price = late_price(self.problem, visit, key[1])
        if visit.preferred not in (None, key[0]):
            price += weights.not_preferred
        if visit.kept and key[0] not in visit.kept.crew:
            price += weights.moved
        return price

    def _try(self, key: Key, at: int, piece: Piece) -> Place | None:
        stands = self._pieces.get(key, ())
        pieces = (*stands[:at], piece, *stands[at:])
        route = timed(self.problem, *self._shifts[key], pieces)
        if route is None:
            return None
        before = self._routes.get(key)
        cost = self._route_cost(route) - (self._route_cost(before) if before else 0)
        return Place(cost, key, pieces, route)

    def _route_cost(self, route: Route) -> int:
        return route.travel + self.problem.weights.overtime * overtime(self.problem, route)

    def _starts(self, visit: Visit, slot: Slot) -> list[int]:
        # The door's opening, the crew's own earliest arrivals, the usual hours, the last moment.
        midnight = slot.day * DAY
        wanted = {slot.earliest, slot.latest, *(midnight + hour for hour in USUAL_STARTS)}
        for technician, shift in self._shifts.values():
            if shift.begins <= slot.latest and shift.ends >= slot.earliest:
                first = technician.home if shift.start_place is None else shift.start_place
                leg = self.problem.seconds[first][visit.place]
                arrival = max(shift.begins, self.problem.now) + leg
                wanted.add(-(-arrival // ROUND_TO) * ROUND_TO)
        return sorted(start for start in wanted if slot.earliest <= start <= slot.latest)

    def _pair_at(self, visit: Visit, start: int) -> tuple[Place, ...]:
        piece = Piece(visit, ((start, start),))
        places = []
        for key, (technician, shift) in self._shifts.items():
            there = shift.begins <= start <= shift.ends
            if there and self._suits(visit, technician, shift):
                place = self._cheapest_at(key, piece)
                if place is not None:
                    places.append(place)
        places.sort(key=lambda place: (place.cost, place.key))
        pairs = [
            (one.cost + two.cost + self._pair_price(visit, one.key, two.key), one, two)
            for one, two in combinations(places, 2)
            if self._pair_holds(visit, one.key, two.key)
        ]
        if not pairs:
            return ()
        cost, one, two = min(pairs, key=lambda pair: pair[0])
        return one, two._replace(cost=cost - one.cost)

    def _pair_holds(self, visit: Visit, *keys: Key) -> bool:
        crew = tuple(self._shifts[key][0] for key in keys)
        return crew_holds(visit, crew, keys[0][1])

    def _cheapest_at(self, key: Key, piece: Piece) -> Place | None:
        tries = (self._try(key, at, piece) for at in range(len(self._pieces.get(key, ())) + 1))
        return min((t for t in tries if t), key=lambda t: t.cost, default=None)

    def _pair_price(self, visit: Visit, one: Key, two: Key) -> int:
        weights, crew = self.problem.weights, (one[0], two[0])
        price = late_price(self.problem, visit, one[1])
        if visit.preferred is not None and visit.preferred not in crew:
            price += weights.not_preferred
        if visit.kept and not set(crew) <= set(visit.kept.crew):
            price += weights.moved
        return price


def placement_of(places: tuple[Place, ...], visit: Visit) -> Placement:
    """Return where the given places put the visit."""
    stop = next(s for s in places[0].route.stops if s.visit == visit.id)
    partner = places[1].key[0] if len(places) > 1 else None
    return Placement(
        technician=places[0].key[0], day=places[0].key[1], start=stop.start, partner=partner
    )
