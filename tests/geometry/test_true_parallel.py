"""The criterion for corners that mathematics makes, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.geometry.true_parallel import TrueParallel

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic

A, B = 50.0, 30.0


def ellipse(parts: int) -> Path:
    """Cubics that share points and derivatives with the ellipse."""
    angle = np.linspace(0, 2 * math.pi, parts + 1)
    p = A * np.cos(angle) + 1j * B * np.sin(angle)
    third = (-A * np.sin(angle) + 1j * B * np.cos(angle)) * (2 * math.pi / parts / 3)
    p[-1] = p[0]
    told = zip(p[:-1], p[:-1] + third[:-1], p[1:] - third[1:], p[1:], strict=True)
    return Path.of([Cubic(*map(complex, one)) for one in told], True)


@pytest.mark.parametrize("distance", [18.002, 18.01, 18.1])
def test_an_ellipse_shrunk_beyond_its_tightest_radius_has_a_corner(distance):
    # the normal at the angle t meets the long axis at the distance b w / a,
    # w^2 = b^2 cos^2 t + a^2 sin^2 t; the tangents on both sides turn by 2 atan(a / b tan t)
    square = ((distance * A / B) ** 2 - B * B) / (A * A - B * B)
    turn = 2 * math.degrees(math.atan(A / B * math.tan(math.asin(math.sqrt(square)))))
    corner = math.sqrt(1 - square) * (A - B * B / A)
    found = TrueParallel(ellipse(256), -distance).turn_near(complex(corner, 0.003))
    assert found == pytest.approx(turn, rel=0.03)


@pytest.mark.parametrize("distance", [-17.9, -5.0, 6.0, 40.0])
def test_a_smooth_parallel_has_none(distance):
    parallel = TrueParallel(ellipse(64), distance)
    assert parallel.turn_near(complex(A + distance, 0)) == 0.0


@pytest.mark.parametrize("degrees", [1.0, 2.5])
def test_a_kink_of_the_drawing_is_a_corner_on_one_side(degrees):
    tip = 1j * 20 * math.tan(math.radians(degrees / 2))
    path = Path.polygon([-20 + 0j, -20 - 30j, 20 - 30j, 20 + 0j, tip])
    assert TrueParallel(path, -6.0).turn_near(tip - 6j) == pytest.approx(degrees, rel=0.01)
    assert TrueParallel(path, 6.0).turn_near(tip + 6j) == 0.0
