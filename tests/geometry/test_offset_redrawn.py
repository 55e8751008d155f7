"""Wide parallels of curves: as smooth as the curves are, and as near as they must be.

Measured by `dense.py`, which shares no code with the package; the parallel of an ellipse by its own
radius of curvature (b^2 / a at the ends of its longer axis, DLMF 19.30 for its outline).
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from tests.geometry.dense import Edge, places

from foamwright.geometry.affine import Affine
from foamwright.geometry.offset import offset
from foamwright.geometry.offset_redrawn import _is_sound, redrawn
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

TOL = 0.006
#: Half axes, mm: the tightest radius is 18 mm, at the ends of the longer one.
A, B = 50.0, 30.0
QUARTER = 4 / 3 * (math.sqrt(2) - 1)


def ellipse(a: float, b: float) -> Path:
    """Four cubics, as drawings have them."""
    made: list[Segment] = []
    for k in range(4):
        at, to = 1j**k, 1j ** (k + 1)
        unit = (at, at + QUARTER * 1j * at, to - QUARTER * 1j * to, to)
        made.append(Cubic(*(complex(p.real * a, p.imag * b) for p in unit)))
    return Path.of(made, True)


def kinks(path: Path) -> list[float]:
    """Degrees at every joint that is no corner."""
    joints = [i for i in range(len(path.segments)) if i not in path.corners]
    ways = [(path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0)) for i in joints]
    return [abs(math.degrees(cmath.phase(after / before))) for before, after in ways]


def off(path: Path, made: Path, distance: float) -> float:
    """How far a place of the parallel misses its distance at worst, mm."""
    return float(np.abs(Edge([path]).off(places([made])[0]) - abs(distance)).max())


@pytest.mark.parametrize("distance", [-12.0, -15.0, -16.5, -17.5])
def test_inside_a_bend_the_parallel_has_no_more_kinks_than_a_fit(distance):
    path = ellipse(A, B)
    (made,) = offset(path, distance, TOL)
    assert max(kinks(made)) < 1.0
    assert min(s.length() for s in made.segments) >= 0.05
    assert made.corners == frozenset()
    assert off(path, made, distance) <= TOL + 1e-4


def kinked(path: Path, each: int, degrees: float) -> Path:
    """Cubics as arcs, so many each, that meet with kinks of so many degrees."""
    made: list[Segment] = []
    for c in path.segments:
        if not isinstance(c, Cubic):
            made.append(c)
            continue
        for k in range(each):
            t, u = k / each, (k + 1) / each
            a, b = c.point(t), c.point(u) if k + 1 < each else c.end
            sweep = cmath.phase(c.tangent(u) / c.tangent(t)) - math.radians(degrees)
            made.append(Arc(a, b, math.tan(sweep / 4)))
    return Path.of(made, True)


def anew(cut: Path, path: Path, distance: float) -> Path:
    (made,) = redrawn([cut], [path], distance, TOL)
    return made


@pytest.mark.parametrize("degrees", [-0.8, 0.8])
@pytest.mark.parametrize("distance", [-10.0, -15.0])
def test_arcs_with_kinks_are_laid_anew(degrees, distance):
    # the parallels of arcs that meet with a kink turn by (1 + d / r) times as much
    path = ellipse(A, B)
    rough = kinked(path, 32, degrees)
    assert 0.7 < max(kinks(rough)) < 1.0
    (cut,) = offset(rough, distance, TOL)
    assert max(kinks(cut)) > 1.0
    made = anew(cut, path, distance)
    assert max(kinks(made)) < 1.0
    assert min(s.length() for s in made.segments) >= 0.05
    assert off(path, made, distance) <= TOL + 1e-4
    assert len(made.segments) < len(cut.segments) / 2
    assert anew(made, path, distance) is made


def test_the_ends_of_what_is_laid_anew_stay():
    # half an ellipse and a chord: its parallel has two corners
    tall = ellipse(A, B).segments
    path = Path.of([tall[3], tall[0], Line(B * 1j, -B * 1j)], True)
    rough = kinked(path, 32, 0.8)
    (cut,) = offset(rough, -12.0, TOL)
    assert max(kinks(cut)) > 1.0
    made = anew(cut, path, -12.0)
    assert max(kinks(made)) < 1.0
    assert len(made.corners) == len(cut.corners) == 2
    for p in made.corner_points():
        assert min(abs(p - q) for q in cut.corner_points()) < 1e-9
        assert p.real == pytest.approx(12.0, abs=1e-9)
    assert off(path, made, -12.0) <= TOL + 1e-4


def test_what_strays_or_goes_round_twice_is_not_taken():
    path = ellipse(A, B)
    (made,) = offset(path, -12.0, TOL)
    assert _is_sound(made, made, path, -12.0, TOL)
    for moved in (3 * TOL, 3j * TOL, -3 * TOL):
        aside = made.transformed(Affine.translation(moved))
        assert off(path, aside, -12.0) > 2 * TOL
        assert not _is_sound(aside, made, path, -12.0, TOL)
    twice = Path.of([*made.segments, *made.segments], True)
    assert not _is_sound(twice, made, path, -12.0, TOL)


@pytest.mark.parametrize("degrees", [-1.5, -0.4, 0.4, 1.5])
def test_a_slight_kink_of_the_drawing_is_gone_round_or_kept(degrees):
    # the lower half turned a little about its ends' middle: kinks at both ends of the long axis
    up, left, down, right = ellipse(A, B).segments
    lean = math.tan(math.radians(degrees / 2))

    def leaning(c: Cubic) -> Cubic:
        """With its handles on the long axis aslant, so that they meet with a kink."""
        first, last = c.control1, c.control2
        if abs(c.start.imag) < 1e-9:
            first += abs(first - c.start) * lean * math.copysign(1.0, -c.start.real)
        if abs(c.end.imag) < 1e-9:
            last += abs(last - c.end) * lean * math.copysign(1.0, -c.end.real)
        return Cubic(c.start, first, last, c.end)

    assert all(isinstance(c, Cubic) for c in (up, left, down, right))
    path = Path.of([leaning(c) for c in (up, left, down, right) if isinstance(c, Cubic)], True)
    assert path.corners == frozenset()
    assert max(kinks(path)) == pytest.approx(abs(degrees), rel=0.01)
    for distance in (-14.0, 14.0):
        for made in offset(path, distance, TOL):
            # a kink towards the parallel is its own and grows with the bend beside it
            outwards = degrees * distance > 0
            own = 0.0 if outwards else abs(degrees) * 18 / (18 - 14)
            assert max(kinks(made)) < max(1.0, own + 0.1)
            assert off(path, made, distance) <= TOL + 1e-4
