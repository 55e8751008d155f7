"""Ovals: distances against a search, sums and parallels against closed forms, another library."""

from __future__ import annotations

import math

import numpy as np
import pyclipr
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe

from foamwright.errors import GeometryError
from foamwright.geometry.offset_oval import offset_oval
from foamwright.geometry.oval import POINT, Oval, closed_by, swollen
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.region import (
    area,
    boundary_points,
    bounds,
    curve,
    directed_deviation,
    polygon,
    region,
)
from foamwright.geometry.segments import Arc, Cubic, Line

TOLERANCE = 0.006
OVALS = (Oval(0.1, 0.2), Oval(0.3, 0.1), Oval(0.11, 0.1), Oval(1.0, 0.2), Oval(4.0, 5.0))


def rectangle(w: float, h: float) -> Path:
    return Path.polygon([0, w, complex(w, h), 1j * h])


def leaf() -> Path:
    cubics = [
        Cubic(0, 6 - 9j, 18 - 7j, 28 - 2j),
        Cubic(28 - 2j, 33.6 + 0.8j, 36 + 2j, 40 + 10j),
        Cubic(40 + 10j, 24 + 18j, 8 + 12j, 0),
    ]
    return Path.of(cubics, True)


def edge_of(oval: Oval, count: int) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return oval.rx * np.cos(turn) + 1j * oval.ry * np.sin(turn)


def support(oval: Oval, outward: np.ndarray) -> np.ndarray:
    """The oval's farthest point in each direction: the closed form of a Minkowski sum's edge."""
    ahead = np.hypot(oval.rx * outward.real, oval.ry * outward.imag)
    return (oval.rx**2 * outward.real + 1j * oval.ry**2 * outward.imag) / ahead


@pytest.mark.parametrize("oval", [Oval(0.1, 0.2), Oval(5, 1), Oval(2, 2)])
@given(x=st.floats(-20, 20), y=st.floats(-20, 20))
@settings(derandomize=True, deadline=None, max_examples=60)
def test_distance_from_an_oval(oval: Oval, x: float, y: float) -> None:
    edge = edge_of(oval, 20_000)
    inside = math.hypot(x / oval.rx, y / oval.ry) <= 1
    found = 0.0 if inside else float(np.abs(edge - complex(x, y)).min())
    assert oval.beyond(complex(x, y)) == pytest.approx(found, abs=1e-4)


def test_the_stretch_makes_a_disc_and_shortens_nothing() -> None:
    for oval in OVALS:
        edge = np.array([oval.stretch(complex(p)) for p in edge_of(oval, 100)])
        assert np.abs(edge) == pytest.approx(oval.radius)
        for turn in np.linspace(0, np.pi, 50):
            size = abs(oval.stretch(complex(np.exp(1j * turn))))
            assert 1 - 1e-12 <= size <= oval.ratio + 1e-12


def test_how_ovals_are_told() -> None:
    assert (str(Oval(0.1, 0.1)), str(Oval(0.1, 0.15))) == ("0.2 mm", "0.2 x 0.3 mm")
    assert POINT.beyond(3 + 4j) == 5


@pytest.mark.parametrize("oval", OVALS)
def test_a_rectangle_grows_by_steiners_mixed_volumes(oval: Oval) -> None:
    """Area A + 2 (w ry + h rx) + pi rx ry, length the rectangle's and the ellipse's together."""
    w, h = 100.0, 60.0
    (path,) = offset_oval(rectangle(w, h), oval, TOLERANCE)
    wanted = w * h + 2 * (w * oval.ry + h * oval.rx) + math.pi * oval.rx * oval.ry
    assert path.area == pytest.approx(wanted, abs=2 * TOLERANCE * 4 * oval.radius)
    flat = 1 - (min(oval.rx, oval.ry) / oval.radius) ** 2
    assert path.length == pytest.approx(2 * (w + h) + 4 * oval.radius * ellipe(flat), rel=1e-3)
    low_x, low_y, high_x, high_y = path.bounds
    assert (-low_x, high_x - w) == pytest.approx([oval.rx] * 2, abs=TOLERANCE)
    assert (-low_y, high_y - h) == pytest.approx([oval.ry] * 2, abs=TOLERANCE)
    grown = swollen(region(rectangle(w, h)), oval, tolerance=0.0005)
    assert area(grown) == pytest.approx(wanted, abs=0.0005 * 7 * oval.radius)


@pytest.mark.parametrize("oval", OVALS)
@pytest.mark.parametrize("outward", [True, False])
def test_an_oval_round_a_circle(oval: Oval, outward: bool) -> None:
    """Each place of the way is a place of the circle and the oval's support in its normal."""
    circle = Path.circle(30 + 40j, 30.0)
    (path,) = offset_oval(circle if outward else circle.reversed(), oval, TOLERANCE)
    normal = np.exp(1j * np.linspace(0, 2 * np.pi, 4000))
    exact = 30 + 40j + 30 * normal + (1 if outward else -1) * support(oval, normal)
    assert directed_deviation(exact, curve(path, 1e-4)).max() <= TOLERANCE
    made = boundary_points(curve(path, 1e-4), 0.5)
    assert directed_deviation(made, polygon(exact)).max() <= TOLERANCE
    assert (path.area > 0) is outward
    turns = [
        turn_degrees(path.segments[i - 1].tangent(1), s.tangent(0))
        for i, s in enumerate(path.segments)
    ]
    assert max(map(abs, turns)) <= 1.0 + 1e-6
    assert all(isinstance(s, Arc) for s in path.segments)
    assert len(path.segments) <= 24


@pytest.mark.parametrize("oval", OVALS[:4])
def test_a_leaf_against_another_librarys_minkowski_sum(oval: Oval) -> None:
    target = leaf()
    made = offset_oval(target, oval, TOLERANCE)
    assert len(made) == 1
    assert all(isinstance(s, Line | Arc) for s in made[0].segments)
    # a polygon's offset in the plane where the oval is a disc is another way to the same sum
    points = target.flatten(0.0003)[:-1]
    k = oval.radius / oval.rx, oval.radius / oval.ry
    other = pyclipr.ClipperOffset()
    other.scaleFactor = 100_000
    other.arcTolerance = 0.0002 * other.scaleFactor
    ring = np.column_stack([points.real * k[0], points.imag * k[1]])
    other.addPath(ring, pyclipr.JoinType.Round, pyclipr.EndType.Polygon)
    (found,) = other.execute(oval.radius)
    theirs = polygon(found[:, 0] / k[0] + 1j * found[:, 1] / k[1])
    ours = curve(made[0], 2e-4)
    assert directed_deviation(boundary_points(theirs, 0.2), ours).max() <= TOLERANCE + 0.001
    assert directed_deviation(boundary_points(ours, 0.2), theirs).max() <= TOLERANCE + 0.001


@given(
    rx=st.floats(0.05, 2.0),
    ratio=st.floats(0.2, 5.0),
    radii=st.lists(st.floats(5, 20), min_size=5, max_size=9),
)
@settings(derandomize=True, deadline=None, max_examples=25)
def test_no_place_of_the_way_is_nearer_than_the_oval_allows(
    rx: float, ratio: float, radii: list[float]
) -> None:
    oval = Oval(rx, rx * ratio)
    n = len(radii)
    target = Path.polygon([r * complex(np.exp(2j * np.pi * i / n)) for i, r in enumerate(radii)])
    for path in offset_oval(target, oval, TOLERANCE):
        stretch = oval.stretch
        way = np.array([stretch(complex(p)) for p in boundary_points(curve(path, 1e-4), 0.3)])
        there = polygon([stretch(s.start) for s in target.segments])
        off = directed_deviation(way, there)
        assert off.min() >= oval.radius - TOLERANCE - 1e-4
        assert off.max() <= oval.radius + TOLERANCE + 1e-4


def test_a_disc_is_a_disc_and_an_opening_may_vanish() -> None:
    (round_,) = offset_oval(rectangle(100, 60), Oval.disc(0.1), TOLERANCE)
    assert round_.area == pytest.approx(6032.0314, abs=5e-5)
    slot = rectangle(30, 0.3).clockwise()
    assert offset_oval(slot, Oval(0.1, 0.2), TOLERANCE) == ()
    (left,) = offset_oval(slot, Oval(0.2, 0.1), TOLERANCE)
    assert left.area == pytest.approx(-29.6 * 0.1, abs=1e-6)
    with pytest.raises(GeometryError):
        offset_oval(Path.polygon([0, 1, 1j], closed=False), Oval(0.1, 0.2), TOLERANCE)


def test_joints_that_turn_a_little_are_kept_where_sharing_would_move_them() -> None:
    """Long arcs that meet at 2 degrees: no corner, yet not to be bent into one curve."""
    bulge = math.tan(math.radians(91) / 4)
    turned = [Arc(20 * 1j**k, 20 * 1j ** (k + 1), bulge) for k in range(4)]
    target = Path.of(turned, True)
    assert not target.corners
    oval = Oval(0.1, 0.2)
    (path,) = offset_oval(target, oval, TOLERANCE)
    grown = swollen(region(target, tolerance=1e-4), oval, tolerance=2e-4)
    assert directed_deviation(boundary_points(grown, 0.2), curve(path, 1e-4)).max() <= 0.0065


def test_closing_by_an_oval_fills_corners_as_far_as_it_is_wide() -> None:
    """An L: in the inside corner the oval rests on both walls; what it leaves is a corner of its
    box less a quarter of it, (1 - pi / 4) rx ry."""
    points = [0, 40, 40 + 20j, 20 + 20j, 20 + 40j, 40j]
    shape = polygon(points)
    for oval in OVALS:
        left = area(closed_by(shape, oval, 0.0005)) - area(shape)
        assert left == pytest.approx((1 - math.pi / 4) * oval.rx * oval.ry, abs=0.002 * oval.radius)
    assert closed_by(shape, POINT) is shape
    assert bounds(swollen(shape, Oval(1.0, 2.0))) == pytest.approx((-1, -2, 41, 42), abs=0.002)
