"""Convex parts: each convex, together the polygon and no more, few of them."""

from __future__ import annotations

import cmath
import math
import random

import numpy as np
import pytest
import shapely

from foamwright.errors import GeometryError
from foamwright.geometry.convex import convex_parts
from foamwright.geometry.segments import Points


def star(seed: int) -> Points:
    chance = random.Random(seed)
    count = chance.randint(3, 60)
    corners = [
        cmath.rect(chance.uniform(0.2, 1) * 100, 2 * math.pi * k / count) for k in range(count)
    ]
    return np.array(corners)


def area_of(points: Points) -> shapely.Polygon:
    return shapely.Polygon([(p.real, p.imag) for p in points])


@pytest.mark.parametrize("seed", range(30))
def test_parts_are_convex_and_cover_the_polygon_once(seed: int) -> None:
    outline = star(seed)
    parts = [area_of(p) for p in convex_parts(outline)]
    whole = area_of(outline)
    assert sum(p.area for p in parts) == pytest.approx(whole.area)
    assert shapely.union_all(parts).symmetric_difference(whole).area < 1e-6 * whole.area
    for part in parts:
        assert part.convex_hull.area == pytest.approx(part.area)
        assert part.exterior.is_ccw


def test_what_is_convex_is_one_part_and_one_hollow_corner_makes_two() -> None:
    square = np.array([0, 2, 2 + 2j, 1 + 2j, 2j], complex)  # a straight corner, too
    assert len(convex_parts(square)) == 1
    angle = np.array([0, 2, 2 + 1j, 1 + 1j, 1 + 2j, 2j], complex)
    assert len(convex_parts(angle)) == 2


@pytest.mark.parametrize("seed", range(10))
def test_parts_are_no_more_than_hollow_corners_and_one(seed: int) -> None:
    """Each diagonal that is left is needed at a hollow corner, and a corner needs two at most."""
    outline = star(seed)
    ahead, behind = np.roll(outline, -1) - outline, outline - np.roll(outline, 1)
    hollow = int(((behind.conjugate() * ahead).imag < 0).sum())
    assert len(convex_parts(outline)) <= 2 * hollow + 1


def test_a_polygon_that_winds_the_wrong_way_has_none() -> None:
    with pytest.raises(GeometryError):
        convex_parts(np.array([0, 2j, 2 + 2j, 2], complex))
