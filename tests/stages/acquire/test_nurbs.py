"""Splines against the Cox-de Boor recursion (scipy's BSpline) and against circles."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import BSpline, CubicSpline

from foamwright.errors import GeometryError
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.stages.acquire.nurbs import closed_through, segments_of

TOLERANCE = 1e-4


def clamped(degree: int, count: int) -> list[float]:
    inner = count - degree
    return [0.0] * degree + [float(k) for k in range(inner + 1)] + [float(inner)] * degree


def spans(knots: list[float], degree: int, count: int) -> list[tuple[float, float]]:
    pairs = zip(knots[degree:count], knots[degree + 1 : count + 1], strict=True)
    return [(a, b) for a, b in pairs if a < b]


def farthest_from(segments: list[Segment], points: np.ndarray) -> float:
    """The greatest distance from a point to the segments, sampled densely."""
    sampled = np.concatenate([s.flatten(1e-6) for s in segments])
    starts, steps = sampled[:-1], np.diff(sampled)
    worst = 0.0
    for p in points:
        share = ((p - starts) * steps.conj()).real / np.maximum(np.abs(steps) ** 2, 1e-300)
        worst = max(worst, np.abs(p - starts - np.clip(share, 0, 1) * steps).min())
    return float(worst)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.integers(1, 3),
    st.lists(
        st.complex_numbers(max_magnitude=200, allow_nan=False, allow_infinity=False),
        min_size=4,
        max_size=9,
        unique=True,
    ),
    st.lists(st.floats(0.05, 3.0), min_size=20, max_size=20),
    st.booleans(),
)
def test_low_degrees_are_exact_on_any_rising_knots(
    degree: int, points: list[complex], steps: list[float], uneven: bool
) -> None:
    count = len(points)
    knots = (
        [float(v) for v in np.cumsum(steps[: count + degree + 1])]
        if uneven
        else clamped(degree, count)
    )
    segments = segments_of(degree, knots, points, [], TOLERANCE)
    truth = BSpline(knots, np.array(points), degree)
    assert all(isinstance(s, Line if degree == 1 else Cubic) for s in segments)
    for s, (a, b) in zip(segments, spans(knots, degree, count), strict=True):
        for t in (0.0, 0.3, 0.7, 1.0):
            assert abs(s.point(t) - complex(truth(a + (b - a) * t))) < 1e-9 * 400


def test_neighbours_share_their_point_bit_by_bit() -> None:
    points = [complex(7 * k, 13 * math.sin(k)) for k in range(12)]
    segments = segments_of(3, clamped(3, 12), points, [], TOLERANCE)
    assert len(segments) == 9
    assert all(a.end == b.start for a, b in pairwise(segments))


@pytest.mark.parametrize("degree", [4, 5, 7])
def test_high_degrees_lie_within_the_tolerance(degree: int) -> None:
    count = degree + 5
    points = [complex(20 * k, 60 * math.sin(2.1 * k)) for k in range(count)]
    knots = clamped(degree, count)
    segments = segments_of(degree, knots, points, [], TOLERANCE)
    truth = BSpline(knots, np.array(points), degree)(np.linspace(0, knots[-1], 400))
    assert farthest_from(segments, truth) < TOLERANCE


def test_rational_curves_lie_within_the_tolerance() -> None:
    points = [0j, 30 + 80j, 90 + 10j, 120 + 90j, 160 + 0j]
    weights = [1.0, 0.2, 5.0, 2.0, 1.0]
    knots = clamped(3, 5)
    segments = segments_of(3, knots, points, weights, TOLERANCE)
    at = np.linspace(0, knots[-1], 500)
    top = BSpline(knots, np.array(points) * weights, 3)(at)
    truth = top / BSpline(knots, np.array(weights), 3)(at)
    assert farthest_from(segments, truth) < TOLERANCE
    assert len(segments) < 200


def test_a_rational_circle_is_read_as_arcs() -> None:
    """The nine-point circle of the textbooks: weight cos 45 degrees at the corners."""
    c = math.sqrt(0.5)
    points = [50 + 0j, 50 + 50j, 50j, -50 + 50j, -50 + 0j, -50 - 50j, -50j, 50 - 50j, 50 + 0j]
    knots = [0.0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]
    segments = segments_of(2, knots, points, [1, c, 1, c, 1, c, 1, c, 1], TOLERANCE)
    assert len(segments) == 4
    assert all(isinstance(s, Arc) for s in segments)
    assert sum(s.length() for s in segments) == pytest.approx(100 * math.pi, rel=1e-12)
    assert [s.radius for s in segments if isinstance(s, Arc)] == pytest.approx([50.0] * 4)


def test_a_clockwise_rational_arc_keeps_its_way() -> None:
    points = [50j, 50 + 50j, 50 + 0j]
    (arc,) = segments_of(2, [0, 0, 0, 1, 1, 1], points, [1, math.sqrt(0.5), 1], TOLERANCE)
    assert isinstance(arc, Arc)
    assert arc.bulge == pytest.approx(-math.tan(math.pi / 8))


def test_a_weight_off_the_circle_is_no_arc() -> None:
    points = [50j, 50 + 50j, 50 + 0j]
    segments = segments_of(2, [0, 0, 0, 1, 1, 1], points, [1, 0.72, 1], TOLERANCE)
    assert all(isinstance(s, Cubic) for s in segments)


def test_a_periodic_spline_closes_smoothly() -> None:
    ring = [complex(40 * math.cos(k), 40 * math.sin(k)) for k in np.arange(6) * math.pi / 3]
    points = [*ring, *ring[:3]]
    segments = segments_of(3, [float(k) for k in range(-3, 10)], points, [], TOLERANCE)
    assert len(segments) == 6
    assert abs(segments[-1].end - segments[0].start) < 1e-12
    assert abs(segments[-1].tangent(1) - segments[0].tangent(0)) < 1e-9


@pytest.mark.parametrize(
    ("degree", "knots", "count", "weights", "says"),
    [
        (3, [0, 0, 0, 0, 1], 4, [], "knots"),
        (3, [0, 0, 0, 0, 1, 1, 1, 1], 3, [], "control points"),
        (0, [0, 1], 1, [], "degree 0"),
        (2, [0, 0, 0, 1, 0.5, 1], 3, [], "rise"),
        (2, [0, 0, 0, 0, 0, 0], 3, [], "span nothing"),
        (2, [0, 0, 0, math.nan, 1, 1], 3, [], "rise"),
        (2, [0, 0, 0, 1, 1, 1], 3, [1, 0, 1], "weights"),
        (2, [0, 0, 0, 1, 1, 1], 3, [1, math.inf, 1], "weights"),
        (2, [0, 0, 0, 1, 1, 1], 3, [1, 1], "2 weights"),
        (2, [0, 0, 0, 1, 1, 1], 3, [1, 1e308, 1], "differ"),
        (2, [-1e308, -1e308, -1e308, 1e308, 1e308, 1e308], 3, [], "span nothing"),
    ],
)
def test_what_defines_no_curve_is_refused(
    degree: int, knots: list[float], count: int, weights: list[float], says: str
) -> None:
    points = [complex(k, k * k) for k in range(count)]
    with pytest.raises(GeometryError, match=says):
        segments_of(degree, knots, points, weights, TOLERANCE)


def test_a_closed_curve_through_points_is_the_periodic_cubic_spline() -> None:
    points = [0j, 40 + 5j, 70 + 60j, 10 + 80j, -30 + 30j]
    segments = closed_through(points)
    ring = np.array([*points, points[0]])
    at = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(ring)))])
    truth = CubicSpline(at, np.column_stack([ring.real, ring.imag]), bc_type="periodic")
    for s, a, b in zip(segments, at, at[1:], strict=False):
        for t in (0.0, 0.25, 0.6, 1.0):
            x, y = truth(a + (b - a) * t)
            assert abs(s.point(t) - complex(x, y)) < 1e-9


def test_too_few_points_close_nothing() -> None:
    with pytest.raises(GeometryError, match="three"):
        closed_through([0j, 1 + 0j, 1 + 0j, 0j])
