"""The routing problem in the terms of the solver: one vehicle type a technician and day.

The plan clock runs through the whole horizon. A visit with several intervals becomes one client an
interval in a group of which at most one is served; intervals between which no crew could start
anyway are merged. Who may not serve a place meets edges into it as long as the whole horizon,
in both matrices: longer numbers would overflow inside the solver.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray
from pyvrp import Client, ClientGroup, Depot, Location, ProblemData, Route, Solution, VehicleType

from scheduling.routing.plan import Plan
from scheduling.routing.problem import Placement, Problem, Shift, Technician, Visit
from scheduling.routing.windows import Slot, crew_holds, late_price, slots

# Leaving out a locked visit, or half of a double one, has to cost more than anything it displaces.
FIXED_WORTH = 10

Ints = NDArray[np.int64]


class Task(NamedTuple):
    """A visit as the solver sees it; `technician` where it is bound to one (lock, half a pair)."""

    visit: Visit
    technician: str | None
    slots: tuple[Slot, ...]


class _Crew(NamedTuple):
    technician: Technician
    shift: Shift
    begins: int
    start: int
    home: int
    profile: int


@dataclass(frozen=True, kw_only=True)
class Model:
    """The solver's data with the way back to visits and shifts.

    Attributes
    ----------
    data
        What the solver takes.
    tasks
        Every task that some crew could serve.
    client_task
        The task of each client.
    members
        For each vehicle type, the (technician, day) of its vehicles.
    """

    data: ProblemData
    tasks: tuple[Task, ...]
    client_task: tuple[int, ...]
    members: tuple[tuple[tuple[str, int], ...], ...]

    def planned(self, solution: Solution) -> set[int]:
        """Return the tasks that the solution serves."""
        return {
            self.client_task[act.idx]
            for route in solution.routes()
            for act in route.schedule()
            if act.is_client()
        }

    def solution(self, plan: Plan) -> Solution:
        """Return a plan as a start for the solver; stops it can't express are left out."""
        vehicle = {key: v for v, keys in enumerate(self.members) for key in keys}
        clients: dict[tuple[str, str | None], list[int]] = {}
        for client, task in enumerate(self.client_task):
            of = self.tasks[task]
            clients.setdefault((of.visit.id, of.technician), []).append(client)
        routes, used = [], set()
        for route in plan.routes:
            order = []
            for stop in route.stops:
                bound = clients.get((stop.visit, route.technician), [])
                free = clients.get((stop.visit, None), [])
                at = self._client_at([*bound, *free], stop.start)
                if at is not None and self.client_task[at] not in used:
                    used.add(self.client_task[at])
                    order.append(at)
            key = (route.technician, route.day)
            if order and key in vehicle:
                routes.append(Route(self.data, order, vehicle[key]))
        return Solution(self.data, routes)

    def _client_at(self, clients: list[int], start: int) -> int | None:
        for client in clients:
            row = self.data.client(client)
            if row.tw_early <= start <= row.tw_late:
                return client
        return None


def build(problem: Problem, pairs: Mapping[str, Placement], late: frozenset[str]) -> Model:
    """Return the model of a problem.

    Parameters
    ----------
    problem
        What is to be planned.
    pairs
        Crew and start chosen for each two-technician visit; those without stay out of the model.
    late
        Visits offered their late days too; any other visit is offered them only if no crew could
        do it in time.
    """
    return _Builder(problem, pairs, late).build()


class _Builder:
    def __init__(
        self, problem: Problem, pairs: Mapping[str, Placement], late: frozenset[str]
    ) -> None:
        self.problem, self.late = problem, late
        self.cap = problem.span + 1
        self.places: list[int] = []
        self.wants: list[Task | None] = []
        self.rows: dict[object, int] = {}
        self.homes: list[int] = []
        self.profiles: dict[tuple[bytes, bytes], int] = {}
        self.loads = any(t.capacity is not None for t in problem.technicians)
        self.tasks = [task for visit in problem.visits for task in _tasks(problem, visit, pairs)]

    def build(self) -> Model:
        for technician in self.problem.technicians:
            for shift in technician.shifts:
                self._depot(technician.home if shift.start_place is None else shift.start_place)
                self._depot(technician.home)
        located = [self._locate(task) for task in self.tasks]
        self.travel = np.minimum(np.array(self.problem.seconds, dtype=np.int64), self.cap)[
            np.ix_(self.places, self.places)
        ]
        crews = self._crews()
        if not crews:
            return Model(data=_nothing(), tasks=(), client_task=(), members=())
        self._set_reach(crews)
        clients, groups, kept, client_task = self._clients(located)
        types, members = self._vehicles(crews)
        durations, distances = self._matrices()
        data = ProblemData(
            [Location(0, 0) for _ in self.places],
            clients,
            [Depot(row) for row in self.homes],
            types,
            cast(Any, distances),
            cast(Any, durations),
            groups,
        )
        return Model(
            data=data, tasks=tuple(kept), client_task=tuple(client_task), members=tuple(members)
        )

    def _depot(self, place: int) -> int:
        if ("depot", place) not in self.rows:
            self.rows["depot", place] = len(self.homes)
            self.homes.append(len(self.places))
            self.places.append(place)
            self.wants.append(None)
        return self.rows["depot", place]

    def _locate(self, task: Task) -> int:
        # Surcharges hang on the edges into a location, so visits that carry one can't share theirs.
        visit = task.visit
        own = visit.id if visit.preferred or visit.kept or task.technician else None
        key = (visit.place, tuple(sorted(visit.licences)), own, task.technician)
        if key not in self.rows:
            self.rows[key] = len(self.places)
            self.places.append(visit.place)
            self.wants.append(task)
        return self.rows[key]

    def _crews(self) -> list[_Crew]:
        found = []
        for technician in self.problem.technicians:
            for shift in technician.shifts:
                begins = max(shift.begins, self.problem.now)
                if begins >= shift.ends:
                    continue
                first = technician.home if shift.start_place is None else shift.start_place
                profile = self._profile(technician, shift.day)
                start, home = self._depot(first), self._depot(technician.home)
                found.append(_Crew(technician, shift, begins, start, home, profile))
        return found

    def _profile(self, technician: Technician, day: int) -> int:
        barred = np.zeros(len(self.places), dtype=bool)
        extra = np.zeros(len(self.places), dtype=np.int64)
        for row, task in enumerate(self.wants):
            if task is not None:
                barred[row] = not _may_serve(technician, task, day)
                extra[row] = _surcharge(self.problem, technician, task)
        key = (barred.tobytes(), extra.tobytes())
        return self.profiles.setdefault(key, len(self.profiles))

    def _matrices(self) -> tuple[list[Ints], list[Ints]]:
        durations, distances = [], []
        for barred_bytes, extra_bytes in self.profiles:
            barred = np.frombuffer(barred_bytes, dtype=bool)
            duration, distance = (
                self.travel.copy(),
                self.travel + np.frombuffer(extra_bytes, np.int64),
            )
            for matrix in (duration, distance):
                matrix[:, barred] = self.cap
                np.fill_diagonal(matrix, 0)
            durations.append(duration)
            distances.append(np.minimum(distance, self.cap))
        return durations, distances

    def _set_reach(self, crews: list[_Crew]) -> None:
        homes = np.array(self.homes)
        profiles = np.array([np.frombuffer(barred, dtype=bool) for barred, _ in self.profiles])
        self.may = ~profiles[[crew.profile for crew in crews]]
        begins = np.array([crew.begins for crew in crews])[:, None]
        ends = np.array([crew.shift.ends for crew in crews])[:, None]
        self.soonest = begins + self.travel[homes[[crew.start for crew in crews]], :]
        self.home_by = ends - self.travel[:, homes[[crew.home for crew in crews]]].T

    def _clients(
        self, located: list[int]
    ) -> tuple[list[Client], list[ClientGroup], list[Task], list[int]]:
        clients: list[Client] = []
        groups: list[ClientGroup] = []
        kept: list[Task] = []
        client_task: list[int] = []
        for task, row in zip(self.tasks, located, strict=True):
            slots_of = self._merged(task, row)
            if not slots_of:
                continue
            group = len(groups) if len(slots_of) > 1 else None
            if group is not None:
                groups.append(
                    ClientGroup(
                        list(range(len(clients), len(clients) + len(slots_of))), required=False
                    )
                )
            clients.extend(self._client(task, row, slot, group) for slot in slots_of)
            client_task.extend([len(kept)] * len(slots_of))
            kept.append(task)
        return clients, groups, kept, client_task

    def _client(self, task: Task, row: int, slot: Slot, group: int | None) -> Client:
        worth = self.problem.weights.unplanned * task.visit.priority
        if task.technician is not None:
            worth *= FIXED_WORTH
        return Client(
            row,
            delivery=[task.visit.load] if self.loads else [],
            service_duration=task.visit.seconds,
            tw_early=slot.earliest,
            tw_late=slot.latest,
            prize=worth - slot.price,
            required=False,
            group=group,
        )

    def _merged(self, task: Task, row: int) -> list[Slot]:
        may = self.may[:, row]
        soonest = self.soonest[may, row]
        latest = self.home_by[may, row] - task.visit.seconds

        def reachable(a: int, b: int) -> bool:
            return bool(np.any(np.maximum(soonest, a) <= np.minimum(latest, b)))

        usable = [slot for slot in task.slots if reachable(slot.earliest, slot.latest)]
        in_time = [slot for slot in usable if slot.price == 0]
        if in_time and task.visit.id not in self.late and not task.visit.movable:
            usable = in_time
        merged: list[Slot] = []
        for slot in usable:
            last = merged[-1] if merged else None
            if (
                last
                and last.price == slot.price
                and not reachable(last.latest + 1, slot.earliest - 1)
            ):
                merged[-1] = last._replace(latest=max(last.latest, slot.latest))
            else:
                merged.append(slot)
        return merged

    def _vehicles(
        self, crews: list[_Crew]
    ) -> tuple[list[VehicleType], list[tuple[tuple[str, int], ...]]]:
        alike: dict[tuple[object, ...], list[_Crew]] = {}
        for crew in crews:
            shift = crew.shift
            what = (crew.start, crew.home, crew.begins, shift.ends, shift.seconds, shift.overtime)
            alike.setdefault((*what, crew.technician.capacity, crew.profile), []).append(crew)
        types = [self._vehicle(same[0], len(same)) for same in alike.values()]
        members = [tuple((c.technician.id, c.shift.day) for c in same) for same in alike.values()]
        return types, members

    def _vehicle(self, crew: _Crew, number: int) -> VehicleType:
        capacity = crew.technician.capacity
        total = sum(visit.load for visit in self.problem.visits)
        return VehicleType(
            number,
            capacity=[total if capacity is None else capacity] if self.loads else [],
            start_depot=crew.start,
            end_depot=crew.home,
            tw_early=crew.begins,
            tw_late=crew.shift.ends,
            shift_duration=crew.shift.seconds,
            max_overtime=crew.shift.overtime,
            unit_overtime_cost=self.problem.weights.overtime,
            profile=crew.profile,
        )


def _tasks(problem: Problem, visit: Visit, pairs: Mapping[str, Placement]) -> list[Task]:
    if visit.two_technicians:
        place = visit.locked or pairs.get(visit.id)
        if place is None:
            return []
        crew = tuple(problem.technician_by_id[member] for member in place.crew)
        if not crew_holds(visit, crew, place.day):
            return []
        price = late_price(problem, visit, place.day)
        exact = (Slot(place.day, place.start, place.start, price),)
        return [Task(visit, member, exact) for member in place.crew]
    bound = visit.locked.technician if visit.locked else None
    return [Task(visit, bound, slots(problem, visit))]


def _may_serve(technician: Technician, task: Task, day: int) -> bool:
    if task.technician not in (None, technician.id):
        return False
    return task.visit.two_technicians or crew_holds(task.visit, (technician,), day)


def _surcharge(problem: Problem, technician: Technician, task: Task) -> int:
    if task.technician is not None:
        return 0
    visit, weights = task.visit, problem.weights
    extra = 0 if visit.preferred in (None, technician.id) else weights.not_preferred
    if visit.kept and technician.id not in visit.kept.crew:
        extra += weights.moved
    return extra


def _nothing() -> ProblemData:
    zero = np.zeros((1, 1), dtype=np.int64)
    return ProblemData(
        [Location(0, 0)], [], [Depot(0)], [VehicleType(1)], cast(Any, [zero]), cast(Any, [zero])
    )
