"""The true parallel of cubics: its feet, its loops, and cubics along it, against closed forms."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from tests.geometry.dense import Edge, places
from tests.geometry.test_offset_redrawn import corner, fine_ellipse

from foamwright.geometry.offset_course import Course, _loops, along
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic

TOL = 0.006
PARTS = 256


def course(distance: float) -> Course:
    """Beside an ellipse that begins at the end of its long axis."""
    cubics = tuple(c for c in fine_ellipse(PARTS).segments if isinstance(c, Cubic))
    return Course(cubics, distance, True)


@pytest.mark.parametrize("distance", [-18.01, -18.1, -19.0])
def test_a_bend_tighter_than_the_distance_makes_a_loop(distance):
    # the middle of it is where the radius is least, at the end of the long axis
    place, turn = corner(-distance)
    (loop,) = _loops(course(distance), PARTS - 32.0, PARTS + 32.0) or [None]
    assert loop is not None
    spots = [course(distance).spot(u)[0] for u in (loop.leaves, loop.returns)]
    assert abs(spots[0] - spots[1]) < 1e-6
    assert spots[0] == pytest.approx(place, abs=1e-4)
    assert math.degrees(loop.turn) == pytest.approx(turn, rel=0.03)
    assert loop.leaves + loop.returns == pytest.approx(2 * PARTS, abs=1e-3)


@pytest.mark.parametrize("distance", [-17.9, -5.0, 30.0])
def test_a_wider_bend_makes_none(distance):
    assert _loops(course(distance), 0.0, float(PARTS)) == []


@pytest.mark.parametrize("distance", [-19.0, -12.0, 4.0])
def test_cubics_along_a_course_keep_its_distance_and_its_corners(distance):
    one = course(distance)
    low, high = PARTS - 32.0, PARTS + 32.0
    made = along(one, low, high, one.spot(low)[0], one.spot(high)[0], TOL)
    assert made is not None
    path = Path.of([a.cubic for a in made], False)
    away = Edge([fine_ellipse(PARTS)]).off(places([path])[0])
    assert np.abs(away - abs(distance)).max() < 0.05 * TOL
    corners = [a.cubic.start for a in made if a.corner]
    assert len(corners) == (1 if distance == -19.0 else 0)
    assert all(p == pytest.approx(corner(19.0)[0], abs=1e-4) for p in corners)


def test_what_lies_aside_is_not_led_to():
    one = course(-12.0)
    ends = [one.spot(u)[0] for u in (0.0, 4.0)]
    assert along(one, 0.0, 4.0, ends[0] + 0.5 * TOL, ends[1], TOL) is not None
    assert along(one, 0.0, 4.0, ends[0] + 2.0 * TOL, ends[1], TOL) is None


def bent(degrees: float) -> Course:
    """Two straight cubics of unlike speed that meet at the origin, travelled to the right."""
    way = cmath.rect(1.0, math.radians(degrees))
    before = Cubic(-10 + 0j, -7 + 0j, -3 + 0j, 0j)
    after = Cubic(0j, 2 * way, 5 * way, 40 * way)
    return Course((before, after), -2.0, False)


def test_the_foot_of_a_point_beside_a_joint_is_the_joint():
    # to the left of a turn to the right: a wedge of places is nearest to the joint
    one = bent(-2.0)
    inside = 2j * cmath.rect(1.0, math.radians(-1.0))
    for u in (0.2, 0.9, 1.1, 1.8):
        assert one.foot(inside, u) == 1.0
    for x in (-6.0, -0.1):
        assert one.foot(x + 2j, 0.9) == pytest.approx(one.foot(x + 2j, 0.3), abs=1e-9)
        assert one.spot(one.foot(x + 2j, 1.4))[0] == pytest.approx(x + 2j, abs=1e-6)


@pytest.mark.parametrize("degrees", [0.5, 2.0])
def test_at_a_kink_towards_it_a_course_crosses_itself(degrees):
    one = bent(degrees)
    (loop,) = _loops(one, 0.0, 2.0) or [None]
    assert loop is not None
    # both sides lose half of the angle times the distance
    assert abs(one.spot(loop.leaves)[0].real) == pytest.approx(
        2 * math.tan(math.radians(degrees) / 2), rel=1e-3
    )
    assert math.degrees(loop.turn) == pytest.approx(degrees, rel=1e-6)
