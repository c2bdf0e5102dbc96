"""Random small planning problems, and a plain one to build examples from."""

from datetime import date, timedelta

from hypothesis import strategies as st

from scheduling.routing.estimate import matrix
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
)

MONDAY = date(2026, 3, 2)
HOUR = 3600
WORKDAYS = (0, 1, 2, 3, 4)
# A made-up town: the depot, a second home, and six buildings up to some 20 km away.
TOWN = (
    (48.00, 9.00),
    (48.05, 9.10),
    (48.01, 9.02),
    (48.02, 9.05),
    (47.97, 8.95),
    (48.10, 9.12),
    (48.00, 9.20),
    (47.90, 9.01),
)
SECONDS, METRES = matrix(TOWN)


def office_hours(*weekdays, opens=8 * HOUR, closes=17 * HOUR):
    return tuple(Access(weekday=w, opens=opens, closes=closes) for w in weekdays or WORKDAYS)


def shifts(*days, start=7 * HOUR, seconds=8 * HOUR, overtime=HOUR):
    return tuple(Shift(day=d, start=start, seconds=seconds, overtime=overtime) for d in days)


def technician(name="ann", *, home=0, days=WORKDAYS, licences=("riser",), **shift):
    return Technician(
        id=name,
        home=home,
        shifts=shifts(*days, **shift),
        licences=tuple(Licence(name=x) if isinstance(x, str) else x for x in licences),
    )


def visit(name, place=2, **changes):
    facts = {"seconds": HOUR, "earliest": 0, "due": 4, "access": office_hours()}
    return Visit(id=name, place=place, **(facts | changes))


def problem(technicians, visits, **changes):
    facts = {"first_day": MONDAY, "days": 5, "seconds": SECONDS, "metres": METRES}
    return Problem(technicians=tuple(technicians), visits=tuple(visits), **(facts | changes))


@st.composite
def technicians(draw, name, days):
    licences = draw(st.sets(st.sampled_from(("riser", "pump")), min_size=0))
    return Technician(
        id=name,
        home=draw(st.sampled_from((0, 1))),
        licences=tuple(
            Licence(name=x, expires=draw(st.none() | st.integers(-1, days)))
            for x in sorted(licences)
        ),
        shifts=tuple(
            Shift(
                day=day,
                start=draw(st.sampled_from((6, 7, 9, 20))) * HOUR,
                seconds=draw(st.sampled_from((3, 6, 8))) * HOUR,
                overtime=draw(st.sampled_from((0, 1))) * HOUR,
            )
            for day in sorted(draw(st.sets(st.integers(0, days - 1), min_size=1)))
        ),
    )


@st.composite
def visits(draw, name, days, crew):
    earliest = draw(st.integers(-10, days))
    due = earliest + draw(st.integers(0, 6))
    access = draw(
        st.lists(
            st.builds(
                lambda w, o, n: Access(weekday=w, opens=o * HOUR, closes=min(48, o + n) * HOUR),
                st.integers(0, 6),
                st.integers(0, 22),
                st.integers(1, 12),
            ),
            max_size=8,
        )
    )
    double = draw(st.sampled_from((False, False, False, True)))
    return Visit(
        id=name,
        place=draw(st.integers(0, len(TOWN) - 1)),
        seconds=draw(st.sampled_from((0, 900, HOUR, 2 * HOUR, 4 * HOUR))),
        earliest=earliest,
        due=due,
        latest=draw(st.none() | st.just(due) | st.just(due + 3)),
        access=tuple(access),
        closed=tuple(draw(st.lists(st.integers(0, days), max_size=2))),
        licences=tuple(sorted(draw(st.sets(st.sampled_from(("riser", "pump")), max_size=2)))),
        preferred=draw(st.none() | st.sampled_from(crew)),
        appointment=draw(st.none() | appointments(days)),
        two_technicians=double,
        locked=draw(st.none() | st.none() | locks(days, crew, double)),
        priority=draw(st.sampled_from((1, 1, 3, 4))),
    )


def appointments(days):
    def build(day, hour, width):
        start = day * DAY + hour * HOUR
        return Appointment(earliest=start, latest=start + width * HOUR)

    return st.builds(build, st.integers(0, days - 1), st.integers(6, 18), st.integers(0, 2))


@st.composite
def locks(draw, days, crew, double):
    pair = draw(st.permutations(crew))
    if double and len(pair) < 2:
        return None
    day = draw(st.integers(0, days - 1))
    start = day * DAY + draw(st.integers(6, 18)) * HOUR
    return Placement(technician=pair[0], day=day, start=start, partner=pair[1] if double else None)


@st.composite
def problems(draw):
    """Problems of every kind of trouble: overdue, closed, unlicensed, too far, locked, double."""
    days = draw(st.integers(2, 10))
    crew = ["ann", "ben", "cat"][: draw(st.integers(1, 3))]
    count = draw(st.integers(0, 9))
    return Problem(
        first_day=MONDAY + timedelta(days=draw(st.integers(0, 6))),
        days=days,
        technicians=tuple(draw(technicians(name, days)) for name in crew),
        visits=tuple(draw(visits(f"v{i}", days, crew)) for i in range(count)),
        seconds=SECONDS,
        metres=METRES,
        now=draw(st.sampled_from((0, 10 * HOUR, DAY + 9 * HOUR))),
    )
