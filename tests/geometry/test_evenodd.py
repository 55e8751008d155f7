"""Outlines of a path that crosses itself, by the even-odd rule, against the polygon library's."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise

import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from foamwright.errors import GeometryError
from foamwright.geometry.evenodd import even_odd
from foamwright.geometry.path import Path
from foamwright.geometry.region import self_crossings
from foamwright.geometry.segments import Arc, Cubic, Line

FINE = 1e-4


def star(points: int, step: int, radius: float = 50.0) -> Path:
    return Path.polygon(
        [cmath.rect(radius, math.tau * step * k / points + 0.1) for k in range(points)]
    )


def odd_area(path: Path) -> float:
    """Area of the faces of the flattened path round which it winds an odd number of times.

    A ray to the right from inside each face is crossed an odd number of times.
    """
    points = path.flatten(1e-4)
    line = shapely.LineString([(p.real, p.imag) for p in points])
    faces = shapely.get_parts(shapely.polygonize([shapely.union_all(line)]))
    total = 0.0
    for face in faces:
        at = face.representative_point()
        crossed = sum(
            (a.imag > at.y) != (b.imag > at.y)
            and at.x < a.real + (at.y - a.imag) * (b.real - a.real) / (b.imag - a.imag)
            for a, b in pairwise(points)
        )
        total += face.area * (crossed % 2)
    return total


def test_a_figure_of_eight_is_two_triangles() -> None:
    made = even_odd(Path.polygon([0j, 40 + 40j, 40 + 0j, 40j]), FINE)
    assert sorted(p.area for p in made) == pytest.approx([400, 400])
    assert all(20 + 20j in [pytest.approx(s.start) for s in p.segments] for p in made)


def test_a_pentagram_is_five_points_without_its_middle() -> None:
    """Its tips: ten sides of the regular star, the pentagon inside twice wound round."""
    made = even_odd(star(5, 2), FINE)
    assert len(made) == 5
    inner = 50 * math.cos(math.radians(72)) / math.cos(math.radians(36))  # of the pentagon, mm
    side = 2 * inner * math.sin(math.pi / 5)
    tip = side / 2 * (side / 2 / math.tan(math.radians(18)))
    assert [p.area for p in made] == [pytest.approx(tip)] * 5
    assert all(len(p.corners) == 3 for p in made)


def test_a_small_loop_at_a_corner_becomes_an_outline_of_its_own() -> None:
    """Two sides that overshoot their corner by a millimetre."""
    path = Path.polygon([0j, 51 + 0j, 51 - 1j, 50 - 1j, 50 + 50j, 50j])
    assert len(self_crossings(path)) == 1
    made = sorted(even_odd(path, FINE), key=lambda p: p.area)
    assert [p.area for p in made] == pytest.approx([1, 2500])
    assert all(p.area > 0 for p in made)


def test_arcs_and_cubics_stay_what_they_are() -> None:
    """A circle from the right, then a cubic bow that crosses it twice."""
    bow = Cubic(10 + 0j, -40 + 30j, -40 - 30j, 10 + 0j)
    path = Path.of([Arc(10 + 0j, -10 + 0j, 1.0), Arc(-10 + 0j, 10 + 0j, 1.0), bow], True)
    made = even_odd(path, FINE)
    assert {type(s) for p in made for s in p.segments} == {Arc, Cubic}
    assert sum(p.area for p in made) == pytest.approx(odd_area(path), rel=1e-5)
    assert sum(p.length for p in made) == pytest.approx(path.length, rel=1e-9)


def test_a_loop_inside_is_left_out_and_touches() -> None:
    """Limacon, r = 20 + 40 cos: outer less inner loop (closed form of its areas)."""
    spots = [
        cmath.rect(20 + 40 * math.cos(t), t) for t in (k * math.tau / 4000 for k in range(4000))
    ]
    made = even_odd(Path.polygon(spots), FINE)
    # r = b + a cos t with a = 2 b: outer b^2 (2 pi + 3 sqrt(3) / 2), inner b^2 (pi - 3 sqrt(3) / 2)
    outer = 400 * (2 * math.pi + 3 * math.sqrt(3) / 2)
    inner = 400 * (math.pi - 3 * math.sqrt(3) / 2)
    assert sum(p.area for p in made) == pytest.approx(outer - inner, rel=1e-4)


def test_what_runs_along_itself_is_not_mended() -> None:
    path = Path.polygon([0j, 20 + 0j, 20 + 20j, 10 + 20j, 10 + 0j, 30 + 0j, 30 + 30j, 30j])
    with pytest.raises(GeometryError, match=r"runs along itself at \(\d+.\d\d, 0.00\) mm"):
        even_odd(path, FINE)


def test_a_sound_outline_comes_back() -> None:
    (made,) = even_odd(Path.circle(0j, 5).reversed(), FINE)
    assert made == Path.circle(0j, 5).reversed().counter_clockwise()


SPOTS = st.builds(complex, st.integers(-50, 50), st.integers(-50, 50))


@given(st.lists(SPOTS, min_size=4, max_size=9, unique=True), st.integers(0, 8))
@settings(deadline=None, derandomize=True, max_examples=200)
def test_area_and_length_are_those_of_the_odd_faces(corners: list[complex], bent: int) -> None:
    """Every run is kept, and the insides are those that a ray counts."""
    sides: list[Line | Arc] = [
        Line(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)
    ]
    k = bent % len(sides)
    sides[k] = Arc(sides[k].start, sides[k].end, 0.3)
    path = Path.of(sides, True)
    try:
        made = even_odd(path, FINE)
    except GeometryError:
        assume(False)
    assert all(p.area > 0 and not self_crossings(p, 1e-3) for p in made)
    assert sum(p.area for p in made) == pytest.approx(odd_area(path), rel=1e-3, abs=0.05)
    assert sum(p.length for p in made) == pytest.approx(path.length, rel=1e-6)
