from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.routing.estimate import (
    EARTH_RADIUS_M,
    PARKING_S,
    drive_s,
    great_circle_m,
    matrix,
    road_m,
)

points = st.tuples(st.floats(-90, 90), st.floats(-180, 180))


def test_a_quarter_of_a_meridian_is_a_quarter_of_the_circumference():
    assert great_circle_m((0, 0), (90, 0)) == pytest.approx(EARTH_RADIUS_M * pi / 2)


def test_opposite_points_are_half_the_circumference_apart():
    assert great_circle_m((0, 0), (0, 180)) == pytest.approx(EARTH_RADIUS_M * pi)


@given(points, points)
def test_the_way_there_is_as_far_as_the_way_back(a, b):
    assert great_circle_m(a, b) == pytest.approx(great_circle_m(b, a), abs=1e-3)


@given(st.floats(0, 1e6), st.floats(0, 1e6))
def test_a_longer_straight_line_is_never_a_shorter_road_or_drive(a, b):
    near, far = sorted((a, b))
    assert road_m(near) <= road_m(far)
    assert drive_s(road_m(near)) <= drive_s(road_m(far))


def test_identical_places_take_no_time_and_others_at_least_the_parking():
    seconds, metres = matrix([(48.0, 9.0), (48.0, 9.0), (48.0, 9.00001)])
    assert seconds[0][1] == metres[0][1] == 0
    assert seconds[0][2] > PARKING_S
    assert metres[0][2] >= 1


def test_seconds_and_metres_are_whole_and_rounded_up():
    seconds, metres = matrix([(48.0, 9.0), (48.0, 9.01)])
    road = road_m(great_circle_m((48.0, 9.0), (48.0, 9.01)))
    assert 0 <= metres[0][1] - road < 1
    assert 0 <= seconds[0][1] - PARKING_S - drive_s(road) < 1


def test_the_factor_stretches_the_drive_and_not_the_parking():
    places = [(48.0, 9.0), (48.2, 9.3)]
    plain, slow = matrix(places)[0][0][1], matrix(places, factor=2.0)[0][0][1]
    assert abs((slow - PARKING_S) - 2 * (plain - PARKING_S)) <= 2


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        (([(91.0, 0.0)],), "latitude of point 0"),
        (([(0.0, 0.0), (0.0, 181.0)],), "longitude of point 1"),
        (([(float("nan"), 0.0)],), "latitude of point 0"),
        (([], 0.0), "factor"),
    ],
)
def test_impossible_points_and_factors_are_refused_by_name(arguments, name):
    with pytest.raises(ValueError, match=name):
        matrix(*arguments)
