"""Lines, arcs and cubics against quadrature, a second library and closed forms."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from svgpathtools import CubicBezier

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine
from foamwright.geometry.segments import Arc, Cubic, Line, Segment, line_or_arc

BULGES = [1e-9, -1e-9, 1e-5, 0.2, -0.2, 1.0, -1.0, 2.5, -2.5, 12.0, -12.0]

coordinates = st.floats(-100, 100, allow_nan=False).map(lambda v: round(v, 4))
points = st.builds(complex, coordinates, coordinates)
cubics = st.builds(Cubic, points, points, points, points).filter(
    lambda c: abs(c.end - c.start) > 1e-3 and abs(c.control1 - c.start) > 1e-3
)
bulges = st.floats(-4, 4).filter(lambda b: abs(b) > 1e-12)
arcs = st.builds(Arc, points, points, bulges).filter(lambda a: abs(a.end - a.start) > 1e-3)
slow = settings(max_examples=60, deadline=None, derandomize=True)


def quadrature_length(c: Cubic) -> float:
    return float(quad(lambda t: abs(c.derivative(t)), 0, 1, epsabs=1e-11, limit=400)[0])


@slow
@given(cubics)
def test_a_cubics_length_agrees_with_quadrature(c: Cubic) -> None:
    polygon = sum(
        abs(b - a)
        for a, b in [(c.start, c.control1), (c.control1, c.control2), (c.control2, c.end)]
    )
    assert c.length() == pytest.approx(quadrature_length(c), abs=1e-7 * polygon)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(cubics)
def test_a_cubics_length_agrees_with_a_second_library(c: Cubic) -> None:
    other = CubicBezier(c.start, c.control1, c.control2, c.end)
    assert c.length() == pytest.approx(other.length(error=1e-9), rel=1e-6)


def test_a_cubic_that_turns_back_on_itself_has_the_length_of_its_way() -> None:
    # x(t) = 3t - 9t^2 + 6t^3 ... from 0 out and back: total variation by its stationary points
    c = Cubic(0j, 10 + 0j, -10 + 0j, 0j)
    t = [0.0, 0.5 - math.sqrt(1 / 12), 0.5 + math.sqrt(1 / 12), 1.0]
    way = sum(abs(c.point(b) - c.point(a)) for a, b in pairwise(t))
    assert c.length() == pytest.approx(way, abs=1e-6)


@slow
@given(cubics, st.floats(0.01, 0.99))
def test_a_cubics_parts_lie_on_it_and_add_up(c: Cubic, t: float) -> None:
    a, b = c.split(t)
    assert a.end == b.start
    assert (a.start, b.end) == (c.start, c.end)
    assert a.point(0.3) == pytest.approx(c.point(0.3 * t), abs=1e-10)
    assert b.point(0.3) == pytest.approx(c.point(t + 0.3 * (1 - t)), abs=1e-10)
    assert a.length() + b.length() == pytest.approx(c.length(), rel=1e-6)
    assert a.area() + b.area() == pytest.approx(c.area(), abs=1e-7)


@slow
@given(cubics, st.floats(0, 1))
def test_a_cubics_arc_length_is_turned_round(c: Cubic, share: float) -> None:
    s = share * c.length()
    t = c.at_length(s)
    assert 0 <= t <= 1
    assert c.length_between(0.0, t) == pytest.approx(s, abs=1e-6)


@slow
@given(cubics)
def test_a_cubics_box_is_that_of_its_points(c: Cubic) -> None:
    p = c.points(np.linspace(0, 1, 4001))
    x0, y0, x1, y1 = c.bounds()
    eps = 1e-9
    assert x0 - eps <= p.real.min()
    assert p.real.max() <= x1 + eps
    assert y0 - eps <= p.imag.min()
    assert p.imag.max() <= y1 + eps
    assert p.real.min() - x0 < 1e-3
    assert y1 - p.imag.max() < 1e-3


@pytest.mark.parametrize(
    ("c", "first", "last"),
    [
        (Cubic(0j, 0j, 5 + 5j, 10 + 0j), 5 + 5j, 5 - 5j),
        (Cubic(0j, 5 + 5j, 10 + 0j, 10 + 0j), 5 + 5j, 5 - 5j),
        (Cubic(0j, 0j, 10 + 1j, 10 + 1j), 10 + 1j, 10 + 1j),
        (Cubic(0j, 0j, 0j, 3 + 4j), 3 + 4j, 3 + 4j),
        (Cubic(0j, 3 + 4j, 3 + 4j, 3 + 4j), 3 + 4j, 3 + 4j),
    ],
)
def test_a_folded_in_control_point_leaves_the_direction_it_tends_to(
    c: Cubic, first: complex, last: complex
) -> None:
    assert c.tangent(0.0) == pytest.approx(first / abs(first), abs=1e-12)
    assert c.tangent(1.0) == pytest.approx(last / abs(last), abs=1e-12)
    near = c.point(1e-5) - c.start
    assert c.tangent(0.0) == pytest.approx(near / abs(near), abs=1e-4)


@pytest.mark.parametrize("nothing", [Cubic(1j, 1j, 1j, 1j), Line(2 + 0j, 2 + 0j)])
def test_a_point_has_no_direction(nothing: Segment) -> None:
    with pytest.raises(GeometryError):
        nothing.tangent(0.0)


@slow
@given(st.one_of(cubics, arcs))
def test_areas_agree_with_greens_theorem_by_quadrature(s: Cubic | Arc) -> None:
    def turn(t: float) -> float:
        speed = s.derivative(t) if isinstance(s, Cubic) else s.tangent(t) * s.length()
        return 0.5 * (s.point(t).conjugate() * speed).imag

    wanted = quad(turn, 0, 1, epsabs=1e-9, limit=200)[0]
    assert s.area() == pytest.approx(wanted, abs=1e-5, rel=1e-8)


@pytest.mark.parametrize("bulge", BULGES)
def test_an_arc_starts_and_ends_where_it_says_and_keeps_its_radius(bulge: float) -> None:
    arc = Arc(3 + 1j, 7 - 2j, bulge)
    assert arc.point(0.0) == arc.start
    assert arc.point(1.0) == arc.end
    # the middle lies a sagitta of bulge times half the chord to the right of it
    apex = 5 - 0.5j - 1j * bulge * (4 - 3j) / 2
    assert arc.point(0.5) == pytest.approx(apex, abs=1e-12 * (1 + abs(bulge)))
    if abs(bulge) > 1e-6:
        for t in (0.1, 0.37, 0.9):
            assert abs(arc.point(t) - arc.centre) == pytest.approx(arc.radius, rel=1e-9)


@pytest.mark.parametrize("bulge", BULGES)
def test_an_arcs_tangent_is_the_direction_of_its_points(bulge: float) -> None:
    arc = Arc(3 + 1j, 7 - 2j, bulge)
    h = 1e-5
    for t in (0.0, 0.2, 0.5, 0.8, 1.0):
        a, b = arc.point(max(0.0, t - h)), arc.point(min(1.0, t + h))
        way = (b - a) / abs(b - a)
        assert arc.tangent(t) == pytest.approx(way, abs=1e-4)
        assert abs(arc.tangent(t)) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("bulge", BULGES)
def test_an_arcs_length_box_and_split(bulge: float) -> None:
    arc = Arc(3 + 1j, 7 - 2j, bulge)
    p = np.array([arc.point(t) for t in np.linspace(0, 1, 20001)])
    assert arc.length() == pytest.approx(float(np.abs(np.diff(p)).sum()), rel=1e-6)
    x0, y0, x1, y1 = arc.bounds()
    wanted = p.real.min(), p.imag.min(), p.real.max(), p.imag.max()
    assert (x0, y0, x1, y1) == pytest.approx(wanted, abs=1e-6)
    a, b = arc.split(0.3)
    assert a.end == b.start
    assert (a.start, b.end) == (arc.start, arc.end)
    assert a.length() == pytest.approx(0.3 * arc.length(), rel=1e-9)
    assert a.length() + b.length() == pytest.approx(arc.length(), rel=1e-9)
    assert a.tangent(1.0) == pytest.approx(b.tangent(0.0), abs=1e-9)
    assert b.point(0.5) == pytest.approx(arc.point(0.65), abs=1e-9)
    assert arc.point(arc.at_length(0.4 * arc.length())) == pytest.approx(arc.point(0.4), abs=1e-9)


@slow
@given(arcs)
def test_an_arcs_box_is_that_of_its_points(arc: Arc) -> None:
    p = np.array([arc.point(t) for t in np.linspace(0, 1, 2001)])
    wanted = p.real.min(), p.imag.min(), p.real.max(), p.imag.max()
    assert arc.bounds() == pytest.approx(wanted, abs=1e-5 * max(1.0, arc.radius))


@slow
@given(arcs)
def test_an_arc_as_cubics_is_the_same_curve(arc: Arc) -> None:
    parts = arc.cubics()
    assert parts[0].start == arc.start
    assert parts[-1].end == arc.end
    for a, b in pairwise(parts):
        assert a.end == b.start
    if arc.radius < 1e4:
        ring = np.concatenate([c.points(np.linspace(0, 1, 40)) for c in parts])
        off = np.abs(np.abs(ring - arc.centre) - arc.radius)
        assert off.max() <= 7e-8 * arc.radius + 1e-9
    assert sum(c.length() for c in parts) == pytest.approx(arc.length(), rel=1e-6)


@pytest.mark.parametrize("bulge", [1e-9, -1e-9, 1e-7])
def test_a_flat_arc_as_cubics_keeps_its_digits(bulge: float) -> None:
    arc = Arc(3 + 1j, 70 - 20j, bulge)
    for c in arc.cubics():
        assert c.tangent(0.0) == pytest.approx(arc.tangent(0.0), abs=1e-6)
        assert c.length() == pytest.approx(arc.length(), rel=1e-9)


@slow
@given(st.one_of(arcs, cubics), st.sampled_from([0.5, 0.05, 0.002]))
def test_flattening_stays_within_its_tolerance(s: Arc | Cubic, tolerance: float) -> None:
    p = s.flatten(tolerance)
    assert (p[0], p[-1]) == (s.start, s.end)
    for t in np.linspace(0, 1, 301):
        q = s.point(float(t))
        a, b = p[:-1], p[1:]
        along = np.clip(
            ((q - a) * (b - a).conj()).real / np.maximum(np.abs(b - a) ** 2, 1e-300), 0, 1
        )
        assert np.abs(q - a - along * (b - a)).min() <= tolerance * (1 + 1e-6) + 1e-9


@pytest.mark.parametrize("bulge", [1e-9, -1e-9])
def test_a_flat_arc_flattens_to_its_chord(bulge: float) -> None:
    p = Arc(0j, 100 + 0j, bulge).flatten(0.002)
    assert np.abs(p.imag).max() <= 0.002
    assert (p[0], p[-1]) == (0j, 100 + 0j)


MAPS = [
    Affine.rotation(30),
    Affine.translation(5 - 7j) @ Affine.rotation(90),
    Affine.scaling(2.5),
    Affine.mirror_x(),
    Affine.mirror_x() @ Affine.rotation(17),
    Affine.scaling(3, 0.5),
    Affine(1, 0.3, -0.7, 2, 4, 5),
]


@pytest.mark.parametrize("m", MAPS)
@pytest.mark.parametrize("s", [Line(1j, 3 + 0j), Arc(1j, 3 + 0j, 0.7), Arc(1j, 3 + 0j, -1.6)])
def test_a_mapped_segment_is_the_map_of_its_points(s: Line | Arc, m: Affine) -> None:
    made = s.transformed(m)
    assert made[0].start == m(s.start)
    assert made[-1].end == m(s.end)
    dense = np.concatenate([[p.point(v) for v in np.linspace(0, 1, 2001).tolist()] for p in made])
    for t in (0.2, 0.5, 0.8):
        assert np.abs(dense - m(s.point(t))).min() < 5e-3
    if m.is_similarity:
        assert len(made) == 1
        assert made[0].point(0.3) == pytest.approx(m(s.point(0.3)), abs=1e-12)
    area = sum(p.area() for p in made) - 0.5 * (m(s.start).conjugate() * m(s.end)).imag
    own = s.area() - 0.5 * (s.start.conjugate() * s.end).imag
    assert area == pytest.approx(m.determinant * own, rel=7e-8 * 2, abs=1e-9)


@slow
@given(st.one_of(arcs, cubics))
def test_reversing_changes_the_way_and_nothing_else(s: Arc | Cubic) -> None:
    r = s.reversed()
    assert r.reversed() == s
    assert r.point(0.25) == pytest.approx(s.point(0.75), abs=1e-9)
    assert r.tangent(0.0) == pytest.approx(-s.tangent(1.0), abs=1e-9)
    assert r.area() == pytest.approx(-s.area(), abs=1e-6, rel=1e-9)
    assert r.length() == pytest.approx(s.length(), rel=1e-7)


def test_a_semicircle_and_a_three_quarter_circle() -> None:
    half = Arc(1 + 0j, -1 + 0j, 1.0)
    assert half.sweep == pytest.approx(math.pi)
    assert half.length() == pytest.approx(math.pi)
    assert half.point(0.5) == pytest.approx(1j)
    most = Arc(1 + 0j, -1j, math.tan(3 * math.pi / 8))
    assert most.centre == pytest.approx(0j, abs=1e-12)
    assert most.bounds() == pytest.approx((-1, -1, 1, 1), abs=1e-12)
    assert cmath.phase(most.point(0.5)) == pytest.approx(3 * math.pi / 4)
    assert line_or_arc(0j, 1 + 0j, 0.0) == Line(0j, 1 + 0j)
