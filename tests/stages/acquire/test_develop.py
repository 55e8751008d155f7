"""Developments against handbook values and by rolling them up again."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.stages.acquire.develop import (
    frustum,
    gore,
    rectangle,
    slant_of,
    smooth_through,
    to_middle,
)

IN = 25.4


def sector(path: Path) -> tuple[float, float, float]:
    """Inner and outer radius and sweep in degrees of a frustum's development."""
    arcs = [s for s in path.segments if isinstance(s, Arc)]
    radii = sorted({round(a.radius, 6) for a in arcs})
    outer = [a for a in arcs if abs(a.radius - radii[-1]) < 1e-3]
    return radii[0], radii[-1], math.degrees(sum(abs(a.sweep) for a in outer))


def test_the_handbooks_frustum() -> None:
    """Published example, diameters 5 and 8 in, height 4 in: 7.12, 11.39 in, 126.4 degrees."""
    slant = slant_of(4 * IN, 2.5 * IN, 4 * IN)
    inner, outer, sweep = sector(frustum(4 * IN, 2.5 * IN, slant))
    assert inner / IN == pytest.approx(7.12, abs=0.005)
    assert outer / IN == pytest.approx(11.39, abs=0.005)
    assert sweep == pytest.approx(126.4, abs=0.05)


def test_a_frustum_in_millimetres() -> None:
    """R 30 and 60, h 80: L1 85.440, L2 170.880, 126.404 degrees, arcs 188.496 and 376.991."""
    path = frustum(60, 30, slant_of(60, 30, 80))
    inner, outer, sweep = sector(path)
    assert (inner, outer) == pytest.approx((85.440, 170.880), abs=5e-4)
    assert sweep == pytest.approx(126.404, abs=5e-4)
    arcs = [s for s in path.segments if isinstance(s, Arc)]
    lengths = [sum(a.length() for a in arcs if a.bulge * sign > 0) for sign in (1, -1)]
    assert lengths == pytest.approx([376.991, 188.496], abs=5e-4)


def rolled(path: Path, bottom: float, top: float, slant: float) -> np.ndarray:
    """The flat outline's points wrapped back on their cone: (n, 3), the axis along z."""
    points = path.flatten(1e-4)
    sine = (bottom - top) / slant
    apex = np.abs(points)
    turn = np.angle(1j * points) / sine
    radius, z = apex * sine, -apex * math.sqrt(1 - sine * sine)
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn), z])


@settings(deadline=None, max_examples=60, derandomize=True)
@given(
    bottom=st.floats(10, 300),
    share=st.floats(0.05, 0.9),
    height=st.floats(10, 600),
)
def test_a_rolled_frustum_closes_and_stands_level(
    bottom: float, share: float, height: float
) -> None:
    top = bottom * share
    slant = slant_of(bottom, top, height)
    path = frustum(bottom, top, slant)
    sides = [s for s in path.segments if isinstance(s, Line)]
    up, down = (Path((s,), False) for s in sides)
    right = rolled(up, bottom, top, slant)
    left = rolled(down, bottom, top, slant)[::-1]
    assert np.abs(right - left).max() < 0.01
    for outwards, radius in ((True, bottom), (False, top)):  # each rim lies in one plane
        rim = [s for s in path.segments if isinstance(s, Arc) and (s.bulge > 0) is outwards]
        spots = np.concatenate([rolled(Path((s,), False), bottom, top, slant) for s in rim])
        level = -radius * height / (bottom - top)  # below the tip, by similar triangles
        assert np.abs(spots[:, 2] - level).max() < 0.01
        assert np.abs(np.hypot(spots[:, 0], spots[:, 1]) - radius).max() < 0.01
    girths = 2 * math.pi * np.array([bottom, top])
    arcs = [s for s in path.segments if isinstance(s, Arc)]
    lengths = [sum(a.length() for a in arcs if a.bulge * sign > 0) for sign in (1, -1)]
    assert lengths == pytest.approx(girths, rel=1e-9)


def test_a_cone_has_one_tip_and_equal_rims_make_a_tube() -> None:
    assert len(frustum(40, 0, 100).corners) == 3
    assert frustum(40, 40, 100) == rectangle(80 * math.pi, 100)
    with pytest.raises(GeometryError):
        frustum(90, 10, 79)


def test_sheet_bends_on_its_middle_surface() -> None:
    """A tube of outer diameter 100 in 12 mm sheet: pi (100 - 12) = 276.46."""
    assert 2 * math.pi * to_middle(50, 0, 12, "outside") == pytest.approx(276.46, abs=0.005)
    assert to_middle(50, 0, 12, "inside") == 56
    assert to_middle(50, math.pi / 3, 12, "outside") == pytest.approx(47)
    with pytest.raises(GeometryError):
        to_middle(5, 0, 12, "outside")


def width_at(path: Path, y: float) -> float:
    points = path.flatten(1e-4)
    right = points[points.real >= 0]
    order = np.argsort(right.imag)
    return 2 * float(np.interp(y, right.imag[order], right.real[order]))


def test_the_gore_of_a_ball() -> None:
    """R = 75, n = 8: length 235.62; widths 58.90, 41.65 at 45 and 29.45 at 60 degrees."""
    path = gore(75, 8)
    low, high = path.bounds[1], path.bounds[3]
    assert high - low == pytest.approx(235.62, abs=0.005)
    for degrees, width in ((0, 58.90), (45, 41.65), (-45, 41.65), (60, 29.45)):
        assert width_at(path, 75 * math.radians(degrees)) == pytest.approx(width, abs=0.005)


def test_a_published_gore() -> None:
    """R 25 cm, n = 12: quarter arc 39.25 (exact 39.27), width 13 (exact 13.09) cm."""
    left, low, right, high = gore(250, 12).bounds
    assert (high - low) / 20 == pytest.approx(39.27, abs=0.005)
    assert (right - left) / 10 == pytest.approx(13.09, abs=0.005)


@pytest.mark.parametrize("count", range(4, 25))
def test_gores_cover_the_ball(count: int) -> None:
    """n gores have the area 4 pi R^2; the edge's length by quadrature of the cosine's slope."""
    path = gore(75, count)
    assert count * path.area == pytest.approx(4 * math.pi * 75**2, rel=1e-6)
    edge = quad(lambda y: math.hypot(1, math.pi / count * math.sin(y / 75)), 0, 75 * math.pi / 2)
    assert path.length == pytest.approx(4 * edge[0], rel=1e-6)


@pytest.mark.parametrize(("count", "per_cent"), [(4, 14.0), (6, 6.5), (8, 3.75), (12, 1.7)])
def test_a_gores_edge_is_longer_than_its_middle(count: int, per_cent: float) -> None:
    assert 100 * (gore(75, count).length / (2 * math.pi * 75) - 1) == pytest.approx(
        per_cent, abs=0.06
    )


def test_an_open_gore_ends_at_its_ring() -> None:
    """The straight lower ends of n gores go once round the opening."""
    path = gore(75, 8, opening=30)
    base = [s for s in path.segments if isinstance(s, Line)]
    assert 8 * sum(s.length() for s in base) == pytest.approx(2 * math.pi * 30, rel=1e-9)
    assert len(path.corners) == 3
    with pytest.raises(GeometryError):
        gore(75, 8, opening=75)


def test_a_smooth_line_through_points_of_a_circle_is_nearly_one() -> None:
    """A closed cubic spline through n points of a circle is off by O(n^-4)."""
    off = []
    for n in (8, 16, 32):
        spots = [100 * np.exp(2j * math.pi * k / n) for k in range(n)]
        path = smooth_through([complex(p) for p in spots], [])
        assert not path.corners
        off.append(float(np.abs(np.abs(path.flatten(1e-5)) - 100).max()))
    assert off[1] < off[0] / 12
    assert off[2] < off[1] / 12


def test_corners_part_the_smooth_line() -> None:
    path = smooth_through([0j, 50 + 10j, 100 + 0j, 50 + 80j], [0, 2])
    assert len(path.corners) == 2
    for spot in (0j, 50 + 10j, 100 + 0j, 50 + 80j):
        assert min(abs(s.start - spot) for s in path.segments) == 0
    with pytest.raises(GeometryError):
        smooth_through([0j, 1j], [])
    with pytest.raises(GeometryError):
        smooth_through([0j, 1j, 1j], [])
