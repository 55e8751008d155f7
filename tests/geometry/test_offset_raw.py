"""Joins at the corners of curves: they stand where the drawing's own tangents have them.

In closed form: at a corner P whose sides have the unit normals m and n, to the right of travel,
the parallels by d meet at P + d (m + n) / (1 + m . n), a bevel goes from P + d m to P + d n, and a
mitre cut at k distances passes k d from P at right angles to the bisector.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from foamwright.geometry.affine import Affine
from foamwright.geometry.chains import Chains
from foamwright.geometry.fit import fitted_many
from foamwright.geometry.offset import offset
from foamwright.geometry.offset_edges import offset_edges
from foamwright.geometry.offset_raw import Ways
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line

TOL = 0.006
#: A seam allowance, mm.
WIDE = 6.0
some = settings(
    max_examples=25, deadline=None, derandomize=True, phases=(Phase.explicit, Phase.generate)
)


def leaf(lower: float, upper: float, blunt: float = 1.0) -> Path:
    """Two cubics that meet in sharp tips at 0 and 60; other handles at each end."""
    return Path.of(
        [
            Cubic(0, 12 - 16j * lower, 40 - 20j * lower * blunt, 60),
            Cubic(60, 47 + 21j * upper * blunt, 9 + 8j * upper, 0),
        ],
        True,
    )


def bowed_star(points: int, bow: float) -> Path:
    """A star whose sides are cubics that bow in beside the tips and out in the hollows."""
    spots = [cmath.rect(50 if k % 2 == 0 else 28, math.pi * k / points) for k in range(2 * points)]
    made = []
    for k, a in enumerate(spots):
        b = spots[(k + 1) % len(spots)]
        tip, hollow = (a, b) if k % 2 == 0 else (b, a)
        way = hollow - tip
        near, far = tip + way * complex(0.3, bow), tip + way * complex(0.75, -bow / 2)
        made.append(Cubic(a, near, far, b) if k % 2 == 0 else Cubic(a, far, near, b))
    return Path.of(made, True)


def normals(path: Path, i: int) -> tuple[complex, complex, complex]:
    """A corner, and the normals of its sides, to the right of travel."""
    before, after = path.segments[i - 1], path.segments[i]
    return after.start, -1j * before.tangent(1.0), -1j * after.tangent(0.0)


def tip(path: Path, i: int, d: float) -> complex:
    p, m, n = normals(path, i)
    return p + d * (m + n) / (1 + (m * n.conjugate()).real)


def outside(path: Path) -> list[int]:
    turned = {i: normals(path, i)[1:] for i in sorted(path.corners)}
    return [i for i, (m, n) in turned.items() if cmath.phase(n / m) > 0]


def missed(places: list[complex], made: tuple[Path, ...]) -> float:
    """How far the worst of these places is from the nearest corner."""
    corners = [c for path in made for c in path.corner_points()]
    return max(min(abs(c - p) for c in corners) for p in places)


def widest_kink(path: Path) -> float:
    """Degrees, at joints that are no corners."""
    ends = [(s.tangent(0.0), s.tangent(1.0)) for s in path.segments]
    turns = [cmath.phase(ends[i][0] / ends[i - 1][1]) for i in range(len(ends))]
    return max(
        (abs(math.degrees(t)) for i, t in enumerate(turns) if i not in path.corners), default=0.0
    )


def assert_even(made: tuple[Path, ...]) -> None:
    for path in made:
        assert widest_kink(path) <= 1.0
        assert min(s.length() for s in path.segments) >= 0.05


@pytest.mark.parametrize("blunt", [0.6, 1.0, 1.4])
@pytest.mark.parametrize(("lower", "upper"), [(0.4, 0.4), (0.7, 1.0), (1.0, 0.3)])
def test_a_leaf_keeps_the_tips_of_its_own_tangents(lower, upper, blunt):
    shape = leaf(lower, upper, blunt)
    assert shape.corners == {0, 1}
    tips = [tip(shape, i, WIDE) for i in (0, 1)]
    made = offset(shape, WIDE, TOL, "mitre", mitre_limit=20)
    assert missed(tips, made) < 1e-9
    assert_even(made)
    # an opening of that shape, and the material round it grown into it
    assert missed(tips, offset(shape.reversed(), -WIDE, TOL, "mitre", mitre_limit=20)) < 1e-9


def test_the_tips_of_a_vesica_of_ellipses():
    """A lens of circles, drawn flatter: the slopes at its tips are the lens's, made flatter."""
    bulge, flat = 0.35, 0.6
    lens = Path.of([Arc(0j, 80 + 0j, bulge), Arc(80 + 0j, 0j, bulge)], True)
    shape = lens.transformed(Affine.scaling(1.0, flat))
    assert all(isinstance(s, Cubic) for s in shape.segments)
    slope = flat * math.tan(2 * math.atan(bulge))
    reach = WIDE / math.sin(math.atan(slope))
    made = offset(shape, WIDE, TOL, "mitre")
    assert missed([-reach, 80 + reach], made) < 1e-6
    assert_even(made)


@pytest.mark.parametrize("bow", [-0.15, -0.05, 0.05, 0.15])
@pytest.mark.parametrize("points", [5, 7])
def test_a_star_with_bowed_sides(points, bow):
    shape = bowed_star(points, bow)
    tips = [tip(shape, i, WIDE) for i in outside(shape)]
    assert len(tips) == points
    made = offset(shape, WIDE, TOL, "mitre", mitre_limit=20)
    assert missed(tips, made) < 1e-9
    assert_even(made)


def test_a_bevel_goes_between_the_feet_of_the_drawing():
    shape = leaf(0.7, 1.0)
    feet = [p + WIDE * n for i in (0, 1) for p, *both in [normals(shape, i)] for n in both]
    made = offset(shape, WIDE, TOL, "bevel")
    assert missed(feet, made) < 1e-9
    assert_even(made)


def test_a_mitre_is_cut_square_at_its_limit():
    shape, limit = leaf(0.3, 0.4), 1.8
    cuts = []
    for i in (0, 1):
        p, m, n = normals(shape, i)
        axis = (m + n) / abs(m + n)
        assert abs(tip(shape, i, WIDE) - p) > limit * WIDE
        for normal, way in ((m, 1j * m), (n, -1j * n)):
            foot = p + WIDE * normal
            on = (limit * WIDE - ((foot - p) * axis.conjugate()).real) / (
                way * axis.conjugate()
            ).real
            cuts.append(foot + on * way)
    made = offset(shape, WIDE, TOL, "mitre", mitre_limit=limit)
    assert missed(cuts, made) < 1e-9
    assert_even(made)


def test_allowances_of_unlike_widths_meet_on_the_drawing_s_tangents():
    shape, widths = leaf(0.7, 1.0), (15.0, 8.0)
    places = []
    for i in (0, 1):
        p, m, n = normals(shape, i)
        before, after = widths[i - 1], widths[i]
        # x . m = before and x . n = after, x from the corner
        x = np.linalg.solve([[m.real, m.imag], [n.real, n.imag]], [before, after])
        places.append(p + complex(*x))
    (made,) = offset_edges(shape, widths, TOL)
    assert missed(places, (made.path,)) < 1e-9
    assert_even((made.path,))


def test_a_butted_corner_is_square_to_the_drawing_s_tangent():
    shape, widths = leaf(0.4, 0.4), (15.0, 8.0)
    p, m, n = normals(shape, 1)
    out = 1j * m
    assert (n * m.conjugate()).real < 0  # sharp enough that the other allowance is run on
    on = widths[1] / (out * n.conjugate()).real  # where the seam's line meets the other allowance
    (made,) = offset_edges(shape, widths, TOL, {1: "butt-before"})
    assert missed([p + on * out, p + on * out + widths[0] * m], (made.path,)) < 1e-9


@some
@given(
    st.floats(0.05, 1.2),
    st.floats(0.05, 1.2),
    st.floats(0.2, 1.6),
    st.sampled_from([2.0, 6.0, 10.0]),
)
def test_any_leaf_has_its_own_tips(lower, upper, blunt, wide):
    shape = leaf(lower, upper, blunt)
    assume(shape.corners == {0, 1})
    made = offset(shape, wide, TOL, "mitre", mitre_limit=200)
    assert missed([tip(shape, i, wide) for i in (0, 1)], made) < 1e-9
    assert_even(made)


def test_ways_are_the_drawing_s_at_its_corners_and_turn_round_with_it():
    shape = Path.of(
        [
            Line(0, 60),
            Cubic(60, 70 + 10j, 70 + 30j, 60 + 40j),
            Cubic(60 + 40j, 40 + 30j, 20 + 30j, 40j),
            Line(40j, 0),
        ],
        True,
    )
    (fit,) = fitted_many([shape], TOL)
    assert fit.path.corners == {k for k, _, _ in fit.corners}
    ways, chains = Ways.of([fit]), Chains.of([fit.path])
    back, turned = ways.reversed(chains.first), chains.reversed()
    for k, (came, goes) in enumerate(zip(ways.came, ways.goes, strict=True)):
        spot = fit.path.segments[k].start
        own = [i for i in shape.corners if shape.segments[i].start == spot]
        told = [0, 0]
        for i in own:
            for j, (s, t) in enumerate(((shape.segments[i - 1], 1.0), (shape.segments[i], 0.0))):
                told[j] = s.tangent(t) if isinstance(s, Cubic) else 0
        assert [came, goes] == told
        (j,) = np.flatnonzero(turned.start == spot)
        assert (back.came[j], back.goes[j]) == (-goes, -came)
