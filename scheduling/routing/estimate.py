"""Travel times without a road engine: great circle, a detour factor, and speeds by distance."""

from collections.abc import Sequence
from math import asin, ceil, cos, radians, sin, sqrt

from scheduling.routing.problem import accept

EARTH_RADIUS_M = 6_371_009.0
PARKING_S = 120
# (great circle up to, m; road metres for each metre of great circle)
CIRCUITY = ((5_000.0, 1.40), (20_000.0, 1.32), (float("inf"), 1.25))
# (road metres at this speed, km/h), from the door outwards
SPEED_BANDS = ((2_000.0, 25.0), (8_000.0, 45.0), (20_000.0, 80.0), (float("inf"), 100.0))

Matrix = tuple[tuple[int, ...], ...]


def great_circle_m(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Return the distance over the sphere between two points (latitude, longitude; degrees), m.

    Notes
    -----
    Haversine formula with the mean earth radius of 6 371.009 km.
    """
    lat_a, lon_a, lat_b, lon_b = map(radians, (*a, *b))
    h = sin((lat_b - lat_a) / 2) ** 2 + cos(lat_a) * cos(lat_b) * sin((lon_b - lon_a) / 2) ** 2
    return 2 * EARTH_RADIUS_M * asin(min(1.0, sqrt(h)))


def road_m(straight_m: float) -> float:
    """Return road metres for a great-circle distance, m; never less for a longer distance.

    Notes
    -----
    Detours shrink with trip length: 1.40 under 5 km, 1.32 to 20 km, 1.25 beyond; own choice inside
    the published range of 1.2 to 1.43 ("Road network circuity in metropolitan areas", Environment
    and Planning B 42(6), 2015; J. Korean Society of Agricultural Engineers 57(4), 2015). At a
    change of factor the length already reached is kept until the lower factor has caught up.
    """
    reached = 0.0
    for limit, factor in CIRCUITY:
        if straight_m < limit:
            return max(reached, straight_m * factor)
        reached = max(reached, limit * factor)
    raise AssertionError


def drive_s(metres: float) -> float:
    """Return seconds for so many road metres, without parking.

    Notes
    -----
    The first 2 km at 25 km/h, the next 8 at 45, the next 20 at 80, the rest at 100: own choice,
    checked against the mean trips of BMC Health Services Research 7:40 (2007).
    """
    seconds = 0.0
    for band, speed_kmh in SPEED_BANDS:
        part = min(metres, band)
        seconds += part * 3.6 / speed_kmh
        metres -= part
    return seconds


def matrix(points: Sequence[tuple[float, float]], factor: float = 1.0) -> tuple[Matrix, Matrix]:
    """Return estimated travel (seconds, metres) between all points.

    Parameters
    ----------
    points
        Latitude and longitude, degrees.
    factor
        Multiplies the driving time (not the parking); 0.2 to 5, learnt from logged drives.

    Returns
    -------
    tuple
        Two (n, n) matrices of whole numbers, rounded up; two minutes to park and walk in are part
        of the time; identical points get 0.

    Raises
    ------
    ValueError
        When a latitude, a longitude or the factor is out of range.
    """
    accept(0.2 <= factor <= 5, "factor", factor, "0.2 to 5")
    for i, (latitude, longitude) in enumerate(points):
        accept(-90 <= latitude <= 90, f"latitude of point {i}", latitude, "-90 to 90")
        accept(-180 <= longitude <= 180, f"longitude of point {i}", longitude, "-180 to 180")
    n = len(points)
    seconds = [[0] * n for _ in range(n)]
    metres = [[0] * n for _ in range(n)]
    for i in range(n):
        for j in range(i):
            if tuple(points[i]) != tuple(points[j]):
                road = road_m(great_circle_m(points[i], points[j]))
                metres[i][j] = metres[j][i] = ceil(road)
                seconds[i][j] = seconds[j][i] = ceil(drive_s(road) * factor) + PARKING_S
    return tuple(map(tuple, seconds)), tuple(map(tuple, metres))
