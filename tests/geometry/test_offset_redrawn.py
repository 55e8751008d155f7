"""Wide parallels of curves: as smooth as the curves are, and as near as they must be.

Measured by `dense.py`, which shares no code with the package; the parallel of an ellipse by its own
radius of curvature (b^2 / a at the ends of its longer axis, DLMF 19.30 for its outline).
"""

from __future__ import annotations

import cmath
import math
from itertools import pairwise

import numpy as np
import pytest
from tests.geometry.dense import Edge, places
from tests.geometry.test_true_parallel import ellipse as fine_ellipse

from foamwright.geometry.offset import offset
from foamwright.geometry.offset_redrawn import redrawn
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
    return redrawn(cut, path, distance, TOL)


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


def test_a_part_that_is_mended_is_taken_though_another_is_not():
    # two half ellipses, one of them of arcs that the source has too: nothing can mend those
    path = ellipse(A, B)
    rough = kinked(path, 32, 0.8)
    half = len(rough.segments) // 2
    source = Path.of([*path.segments[:2], *rough.segments[half:]], True)
    (cut,) = offset(rough, -12.0, TOL)
    wide = [k for k in kinks(cut) if k > 1.0]
    made = anew(cut, source, -12.0)
    assert 0 < len([k for k in kinks(made) if k > 1.0]) <= len(wide) / 2 + 1
    assert off(source, made, -12.0) <= TOL + 1e-4
    assert len(made.segments) < 0.75 * len(cut.segments)


def corner(distance: float) -> tuple[float, float]:
    """Where on the long axis an ellipse's inner parallel has a corner, mm, and its turn, degrees.

    The normal at the angle t meets the long axis at the distance b w / a,
    w^2 = b^2 cos^2 t + a^2 sin^2 t; the tangents on both sides turn by 2 atan(a / b tan t).
    """
    square = ((distance * A / B) ** 2 - B * B) / (A * A - B * B)
    turn = 2 * math.degrees(math.atan(A / B * math.tan(math.asin(math.sqrt(square)))))
    return math.sqrt(1 - square) * (A - B * B / A), turn


def in_eighths(path: Path, degrees: float) -> Path:
    """Every arc as eight that meet with kinks."""
    made: list[Segment] = []
    for s in path.segments:
        assert isinstance(s, Arc)
        spots = [s.start, *(s.point(k / 8) for k in range(1, 8)), s.end]
        sweep = s.sweep / 8 - math.radians(degrees)
        made.extend(Arc(a, b, math.tan(sweep / 4)) for a, b in pairwise(spots))
    return Path(tuple(made), True, frozenset())


@pytest.mark.parametrize("distance", [-18.01, -18.02])
def test_where_the_true_parallel_has_a_corner_so_has_what_is_laid_anew(distance):
    path = fine_ellipse(64)
    place, turn = corner(-distance)
    assert turn > 3.0
    (smooth,) = offset(path, distance, TOL)
    assert max(kinks(smooth)) < 1.0
    assert not smooth.corners  # it goes round the corner within the tolerance
    rough = in_eighths(in_eighths(smooth, 0.0), 1.1)
    assert off(path, rough, distance) < 2 * TOL
    made = anew(rough, path, distance)
    assert max(kinks(made)) < 1.0
    assert off(path, made, distance) <= TOL + 1e-4
    assert len(made.corners) == 2
    right = max(made.corner_points(), key=lambda p: p.real)
    assert right == pytest.approx(place, abs=1e-3)
    k = next(i for i in made.corners if made.segments[i].start == right)
    ways = made.segments[k - 1].tangent(1.0), made.segments[k].tangent(0.0)
    # a fit may add a quarter of the turn on either side, and the radius there is hundredths of a mm
    assert math.degrees(cmath.phase(ways[1] / ways[0])) == pytest.approx(turn, rel=0.5, abs=4.0)


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


# What a finer fit mends


def lens(radius: float, aside: float) -> Path:
    """Two arcs of circles whose centres lie `aside` mm below and above, as four cubics each."""
    half = math.acos(aside / radius)
    made: list[Segment] = []
    for way in (1, -1):
        angles = np.linspace(math.pi / 2 - half, math.pi / 2 + half, 5)
        spots = way * (radius * np.exp(1j * angles) - 1j * aside)
        third = way * radius * 1j * np.exp(1j * angles) * 4 / 3 * math.tan(half / 8)
        if way == -1:
            spots[0], spots[-1] = made[-1].end, made[0].start
        told = zip(spots[:-1], third[:-1], spots[1:], third[1:], strict=True)
        made.extend(
            Cubic(complex(a), complex(a + u), complex(b - v), complex(b)) for a, u, b, v in told
        )
    return Path.of(made, True)


@pytest.mark.parametrize("aside", [97.0, 97.8, 97.95])
def test_a_tip_stands_where_the_circles_cross_however_sharp_it_is(aside):
    # radius 98 inside; the sides meet at 16, 7 and 4 degrees
    path = lens(100.0, aside)
    assert len(path.corners) == 2
    (made,) = offset(path, -2.0, TOL)
    tip = math.sqrt(98.0**2 - aside**2)
    assert len(made.corners) == 2
    right = max(made.corner_points(), key=lambda p: p.real)
    assert right == pytest.approx(tip, abs=TOL)
    assert off(path, made, -2.0) <= TOL + 1e-4
    assert len(made.segments) <= 6


def test_without_the_finer_fit_the_tip_would_be_off(monkeypatch):
    monkeypatch.setattr("foamwright.geometry.offset.sharp_tips", lambda _: [])
    (made,) = offset(wavy_lens(), -2.0, TOL)
    rough = max(made.corner_points(), key=lambda p: p.real)
    monkeypatch.undo()
    (made,) = offset(wavy_lens(), -2.0, TOL)
    fine = max(made.corner_points(), key=lambda p: p.real)
    (sure,) = offset(wavy_lens(), -2.0, TOL / 100)
    true = max(sure.corner_points(), key=lambda p: p.real)
    assert abs(rough - true) > 2 * TOL
    assert abs(fine - true) < TOL


@pytest.mark.parametrize(
    ("below", "distance"), [(-15 - 0.6j, -1.0), (-15 - 0.8j, -0.8), (-15 - 1j, -1.0)]
)
def test_both_tips_of_an_uneven_lens_stand_where_a_far_finer_parallel_has_them(below, distance):
    path = wavy_lens(below, 10 - 3j)
    (made,) = offset(path, distance, TOL)
    (sure,) = offset(path, distance, TOL / 100)
    for pick in (min, max):
        tip, true = (pick(p.corner_points(), key=lambda z: z.real) for p in (made, sure))
        assert abs(tip - true) < TOL


def wavy_lens(below: complex = -15 - 1j, on: complex = 10 - 5j) -> Path:
    """A lens that is no circle's: its fit is off by some microns at the tip."""
    right, left = 40 + 0j, -40 + 0j
    return Path.of([Cubic(right, 15 + 1j, -10 + 5j, left), Cubic(left, below, on, right)], True)
