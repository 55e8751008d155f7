"""Offsets against closed forms: Steiner's formula, circles, rectangles, corners."""

from __future__ import annotations

import math

import pytest

from foamwright.errors import GeometryError
from foamwright.geometry.offset import offset, parallels
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line

TOL = 0.006
PLATE = Path.polygon([0, 100, 100 + 60j, 60j])


def kinds(path: Path) -> str:
    return "".join(type(s).__name__[0] for s in path.segments)


def test_a_rectangle_grows_by_steiners_formula():
    (grown,) = offset(PLATE, 0.1, TOL)
    assert grown.area == pytest.approx(6000 + 320 * 0.1 + math.pi * 0.01, abs=1e-9)
    assert grown.length == pytest.approx(320 + 2 * math.pi * 0.1, abs=1e-9)
    assert (round(grown.area, 4), round(grown.length, 4)) == (6032.0314, 320.6283)
    assert kinds(grown) in ("LALALALA", "ALALALAL")
    assert grown.corners == frozenset()


def test_a_rectangle_shrinks_to_four_lines_with_sharp_corners():
    (small,) = offset(PLATE, -5, TOL)
    assert kinds(small) == "LLLL"
    assert small.corners == {0, 1, 2, 3}
    for wanted in (5 + 5j, 95 + 5j, 95 + 55j, 5 + 55j):
        assert min(abs(s.start - wanted) for s in small.segments) < 1e-9
    assert offset(PLATE, -30.001, TOL) == ()


def test_an_open_path_has_no_parallel():
    with pytest.raises(GeometryError, match="closed"):
        offset(Path.polygon([0, 1, 1j], closed=False), 1, TOL)


@pytest.mark.parametrize("distance", [-9.9, -1, -0.01, 0.01, 1, 50])
@pytest.mark.parametrize("way", [1, -1])
def test_a_circle_stays_three_arcs(distance, way):
    circle = Path.circle(300 - 200j, 10)
    (made,) = offset(circle if way > 0 else circle.reversed(), way * distance, TOL)
    assert kinds(made) == "AAA"
    assert made.area * way == pytest.approx(math.pi * (10 + distance) ** 2, rel=1e-9)
    for s in made.segments:
        assert isinstance(s, Arc)
        assert abs(s.centre - (300 - 200j)) < 1e-9


def test_a_circle_shrunk_by_more_than_its_radius_is_nothing():
    assert offset(Path.circle(0, 10), -11, TOL) == ()
    assert offset(Path.circle(0, 10).reversed(), 11, TOL) == ()
    assert offset(Path.circle(0, 10), -50, TOL) == ()


def test_a_neck_that_vanishes_leaves_two_parts():
    dumbbell = Path.polygon(
        [0, 10, 10 + 4j, 20 + 4j, 20, 30, 30 + 10j, 20 + 10j, 20 + 6j, 10 + 6j, 10 + 10j, 10j]
    )
    made = parallels(dumbbell, -1.5, TOL)
    assert [p.exact for p in made] == [True, True]
    for p in made:
        # a square of side 7, and a dent towards the neck between the two corners' discs:
        # 2 x the integral of 1.5 - sqrt(1.5^2 - t^2) over 0..1
        dent = 3 - (math.sqrt(1.25) + 2.25 * math.asin(1 / 1.5))
        assert p.path.area == pytest.approx(49 + dent, abs=1e-9)
    assert all(isinstance(s, Line | Arc) for p in made for s in p.path.segments)
