"""What a plan costs, recomputed from its routes."""

from collections.abc import Iterable

from scheduling.routing.plan import Cost, Plan, Route, Stop
from scheduling.routing.problem import Problem, Visit
from scheduling.routing.windows import late_price, moved_in_time


def cost(problem: Problem, plan: Plan) -> Cost:
    """Return what the plan costs, term by term, each weighted by the problem's weights.

    A two-technician visit counts once for lateness and being left out, and its preference is met
    when either of the two is the preferred technician.
    """
    weights = problem.weights
    crews: dict[str, list[tuple[Route, Stop]]] = {}
    for route in plan.routes:
        for stop in route.stops:
            crews.setdefault(stop.visit, []).append((route, stop))
    planned = [(problem.visit_by_id[visit], crew) for visit, crew in crews.items()]
    return Cost(
        travel=sum(route.travel for route in plan.routes),
        overtime=weights.overtime * sum(overtime(problem, route) for route in plan.routes),
        not_preferred=weights.not_preferred
        * sum(not _preferred(visit, crew) for visit, crew in planned),
        late=sum(late_price(problem, visit, crew[0][0].day) for visit, crew in planned),
        moved=weights.moved * sum(_moves(visit, crew) for visit, crew in planned),
        unplanned=left_out(problem, (entry.visit for entry in plan.unplanned)),
    )


def left_out(problem: Problem, visits: Iterable[str]) -> int:
    """Return what leaving out these visits costs."""
    return sum(problem.weights.unplanned * problem.visit_by_id[visit].priority for visit in visits)


def overtime(problem: Problem, route: Route) -> int:
    """Return by how many seconds the day is longer than its shift; 0 without a shift."""
    shift = problem.technician_by_id[route.technician].shift_on(route.day)
    return max(0, route.returns - route.leaves - shift.seconds) if shift else 0


def _preferred(visit: Visit, crew: list[tuple[Route, Stop]]) -> bool:
    return visit.preferred is None or visit.preferred in {route.technician for route, _ in crew}


def _moves(visit: Visit, crew: list[tuple[Route, Stop]]) -> int:
    if visit.kept is None:
        return 0
    elsewhere = not {route.technician for route, _ in crew} <= set(visit.kept.crew)
    return elsewhere + moved_in_time(visit, crew[0][1].start)
