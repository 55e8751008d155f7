"""What is left of trimmed parallels: nothing so short that a cutter stutters."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise

import pytest

from foamwright.geometry.offset import offset, parallels
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line

TOL = 0.006
#: The shortest segment that is no round join, mm.
SHORT = 0.05
#: The bump's feet: arcs of this radius and sweep beside a corner.
FOOT, FOOT_TURN = 20.0, math.radians(10)


def bump() -> Path:
    """A plate with a bump on its top, which rises square from it: three arcs without a kink."""
    inner = FOOT - 5 / math.cos(FOOT_TURN)
    spoke = cmath.rect(1.0, FOOT_TURN)
    right, left = 25 + 40j + FOOT * spoke, 35 + 40j - FOOT * spoke.conjugate()
    foot, top = math.tan(FOOT_TURN / 4), math.tan((math.pi - 2 * FOOT_TURN) / 4)
    assert abs(abs(right - (25 + 40j + (FOOT - inner) * spoke)) - inner) < 1e-9
    corners = [15 + 40j, 40j, 0j, 60 + 0j, 60 + 40j, 45 + 40j]
    lines = [Line(a, b) for a, b in pairwise(corners)]
    arcs = [Arc(45 + 40j, right, foot), Arc(right, left, top), Arc(left, 15 + 40j, foot)]
    return Path.of([*lines, *arcs], True)


def left_of_foot(distance: float) -> float:
    """mm of a foot's parallel above the plate's, by the circle that it lies on."""
    radius = FOOT + distance
    return radius * (FOOT_TURN - math.asin(distance / radius))


def distance_that_leaves(length: float) -> float:
    low, high = 3.0, 5.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if left_of_foot(middle) > length else (low, middle)
    return low


@pytest.mark.parametrize("length", [0.3, 0.06, 0.049, 0.02, 1e-3, 1e-6])
def test_a_sliver_beside_a_corner_goes_into_its_neighbour(length):
    distance = distance_that_leaves(length)
    (made,) = parallels(bump(), distance, TOL)
    assert made.exact
    feet = [p for p in made.path.corner_points() if p.imag == pytest.approx(40 + distance)]
    assert len(feet) == 2
    for p, centre in zip(sorted(feet, key=lambda p: p.real), (35 + 40j, 25 + 40j), strict=True):
        assert abs(p - centre) == pytest.approx(FOOT + distance, abs=TOL / 2)
    shortest = min(s.length() for s in made.path.segments)
    assert shortest >= SHORT
    if length > SHORT:
        assert shortest == pytest.approx(length, rel=1e-6)


@pytest.mark.parametrize("less", [1e-6, 1e-4, 3e-3])
def test_a_mitre_a_hair_beyond_its_limit_is_not_cut_by_a_hair(less):
    half = math.asin(1 / 4) - less  # a mitre reaches 1 / sin(half the angle) distances
    spike = Path.polygon([0j, cmath.rect(80.0, -half), cmath.rect(80.0, half)])
    (made,) = offset(spike, 6.0, TOL, "mitre", 4.0)
    assert min(s.length() for s in made.segments) >= SHORT - 1e-9
    reach = -min(s.start.real for s in made.segments)
    assert 24 - 0.2 < reach <= 24 + 1e-9


@pytest.mark.parametrize("turn", [0.5, 0.9])
def test_a_mitre_with_legs_of_a_hair_is_where_the_parallels_meet(turn):
    # a lens of two arcs whose other ends are far apart, with one slight corner
    radius, degrees = 30.0, math.radians(turn)
    before = Arc(30j, -30 + 0j, math.tan(math.pi / 8))
    goes = before.tangent(1.0) * cmath.rect(1.0, degrees)
    centre = -30 + 0j + 1j * radius * goes
    far = centre + (-30 + 0j - centre) * 1j
    after = Arc(-30 + 0j, far, math.tan(math.pi / 8))
    path = Path.of([before, after, Line(far, 30 + 0j), Line(30 + 0j, 30j)], True, turn / 2)
    assert 1 in path.corners
    (made,) = offset(path, 6.0, TOL, "mitre")
    assert min(s.length() for s in made.segments) >= SHORT
    apex = min(made.corner_points(), key=lambda p: abs(p + 36))
    assert 36 <= abs(apex) < 36 + TOL
    assert abs(apex - centre) < 36 + TOL
