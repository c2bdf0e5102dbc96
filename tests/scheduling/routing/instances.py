"""Published routing instances and the project's own made ones, read into the product's problem."""

import json
import math
from datetime import date
from pathlib import Path
from typing import Any

from scheduling.routing.problem import (
    DAY,
    Access,
    Appointment,
    Licence,
    Placement,
    Problem,
    Shift,
    Technician,
    Visit,
    Weights,
)

MONDAY = date(2026, 1, 5)
Point = tuple[float, float]

# Leaving a customer out costs more than any detour, in the instance's own unit of length.
DETOURS = 4


def solomon(path: Path) -> Problem:
    """Read a time-window instance of 1987 (or its 200-customer enlargement), times ten.

    Distances and times truncated to one decimal; one technician a vehicle, all from one depot; the
    windows become access windows of the Monday.
    """
    rows = [line.split() for line in path.read_text().splitlines()]
    vehicles, capacity = (int(x) for x in rows[4])
    table = [[int(x) for x in row] for row in rows[9:] if row]
    points = [(float(row[1]), float(row[2])) for row in table]
    matrix = _matrix(points, lambda d: int(10 * d))
    closes = 10 * table[0][5]
    technicians = tuple(
        Technician(
            id=f"{n:02}",
            home=0,
            shifts=(Shift(day=0, start=0, seconds=closes),),
            capacity=capacity,
        )
        for n in range(vehicles)
    )
    visits = tuple(_solomon_visit(row) for row in table[1:])
    return _problem(technicians, visits, matrix)


def _solomon_visit(row: list[int]) -> Visit:
    number, _, _, load, ready, due, service = row
    window = Access(weekday=0, opens=10 * ready, closes=max(10 * (due + service), 10 * ready + 1))
    return Visit(
        id=str(number),
        place=number,
        seconds=10 * service,
        earliest=0,
        due=0,
        access=(window,),
        load=load,
    )


def vrplib(path: Path) -> Problem:
    """Read a site-dependent or multi-depot instance with time windows, lengths times 1 000.

    Which vehicles may serve a customer becomes a licence that just these technicians hold; the
    windows, longer than a day in this unit, become appointments.
    """
    head, tables = _sections(path)
    points = [(row[1], row[2]) for row in tables["NODE_COORD"]]
    matrix = _matrix(points, lambda d: round(1000 * d))
    windows = [(round(1000 * row[1]), round(1000 * row[2])) for row in tables["TIME_WINDOW"]]
    service = [round(1000 * row[1]) for row in tables["SERVICE_TIME"]]
    demand = [int(row[1]) for row in tables["DEMAND"]]
    vehicles = int(head["VEHICLES"])
    home = [int(row[1]) - 1 for row in tables.get("VEHICLES_DEPOT", [])] or [0] * vehicles
    allowed = {
        int(row[0]): {int(x) for x in row[1:]} for row in tables.get("VEHICLES_ALLOWED_CLIENTS", [])
    }
    depots = set(home)
    needs = {
        node: "+".join(str(v) for v, nodes in allowed.items() if node + 1 in nodes)
        for node in range(len(points))
        if allowed
    }
    capacity = [int(row[1]) for row in tables.get("CAPACITY", [])] or [
        int(head.get("CAPACITY", 10**9))
    ] * vehicles
    duration = round(1000 * float(head["VEHICLES_MAX_DURATION"]))
    technicians = tuple(
        Technician(
            id=f"{v + 1:02}",
            home=home[v],
            capacity=capacity[v],
            licences=tuple(
                Licence(name=name)
                for name in sorted(set(needs.values()))
                if str(v + 1) in name.split("+")
            ),
            shifts=(
                Shift(
                    day=0, start=windows[home[v]][0], seconds=duration, home_by=windows[home[v]][1]
                ),
            ),
        )
        for v in range(vehicles)
    )
    visits = tuple(
        Visit(
            id=str(node + 1),
            place=node,
            seconds=service[node],
            earliest=0,
            due=0,
            appointment=Appointment(earliest=windows[node][0], latest=windows[node][1]),
            licences=(needs[node],) if node in needs else (),
            load=demand[node],
        )
        for node in range(len(points))
        if node not in depots
    )
    return _problem(technicians, visits, matrix)


def made(path: Path) -> tuple[Problem, dict[str, Any]]:
    """Read one of the project's own four-week instances, and what is known about it."""
    given = json.loads(path.read_text())
    crew = len(given["technicians"])
    technicians = tuple(
        Technician(
            id=str(t["id"]),
            home=t["id"],
            licences=tuple(Licence(name=skill) for skill in t["skills"]),
            shifts=tuple(
                Shift(day=d, start=t["shift_start"], seconds=t["shift"], overtime=t["max_overtime"])
                for d in t["days"]
            ),
        )
        for t in given["technicians"]
    )
    visits = tuple(_made_visit(v, crew) for v in given["visits"])
    matrix = tuple(map(tuple, given["travel_s"]))
    problem = Problem(
        first_day=MONDAY,
        days=7 * given["weeks"],
        technicians=technicians,
        visits=visits,
        seconds=matrix,
        metres=matrix,
    )
    return problem, given["best_found"]


def _made_visit(row: dict[str, Any], crew: int) -> Visit:
    appointment, fixed = row["appointment"], row["fixed_start"]
    locked = None
    if fixed is not None:
        bound = str(row["bound_technician"])
        locked = Placement(technician=bound, day=fixed // DAY, start=fixed)
    return Visit(
        id=str(row["id"]),
        place=crew + row["id"],
        seconds=row["service"],
        earliest=row["earliest_day"],
        due=row["latest_day"],
        latest=row["latest_day"],
        access=tuple(
            Access(weekday=w, opens=a, closes=b) for w in row["weekdays"] for a, b in row["access"]
        ),
        licences=() if locked else (row["skill"],),
        preferred=None if row["preferred"] is None else str(row["preferred"]),
        appointment=Appointment(earliest=appointment[0], latest=appointment[1])
        if appointment
        else None,
        locked=locked,
    )


def _problem(technicians: Any, visits: Any, matrix: Any) -> Problem:
    return Problem(
        first_day=MONDAY,
        days=1,
        technicians=technicians,
        visits=visits,
        seconds=matrix,
        metres=matrix,
        weights=Weights(unplanned=DETOURS * max(map(max, matrix)), late_most=0),
    )


def _matrix(points: list[Point], rounded: Any) -> tuple[tuple[int, ...], ...]:
    return tuple(tuple(rounded(math.dist(a, b)) for b in points) for a in points)


def _sections(path: Path) -> tuple[dict[str, str], dict[str, list[list[float]]]]:
    head: dict[str, str] = {}
    tables: dict[str, list[list[float]]] = {}
    name = ""
    for line in path.read_text().splitlines():
        if ":" in line:
            key, value = line.split(":", 1)
            head[key.strip()] = value.strip()
        elif line.strip().endswith("_SECTION"):
            name = line.strip().removesuffix("_SECTION")
            tables[name] = []
        elif line.strip() not in ("", "EOF"):
            tables[name].append([float(x) for x in line.split()])
    return head, tables
