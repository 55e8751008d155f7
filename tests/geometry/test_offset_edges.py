"""Allowances edge by edge against places by hand arithmetic and unions made by another library.

By hand: at a corner where the outline turns by t to the left, with a the distance of the edge
before (along +x) and b of the edge after, the parallels meet (b - a cos t) / sin t beyond the
corner; the seam's own line meets the other outer edge b / sin t beyond it.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from foamwright.errors import GeometryError
from foamwright.geometry import region as rg
from foamwright.geometry.affine import Affine
from foamwright.geometry.offset import offset
from foamwright.geometry.offset_edges import offset_edges
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line

TOL = 0.006
PLATE = Path.polygon([0, 100, 100 + 60j, 60j])


def spots(path: Path) -> list[complex]:
    return [s.start for s in path.segments]


def one(path, distances, joins=None, join="mitre", limit=4.0):
    (made,) = offset_edges(path, distances, TOL, joins, join, limit)
    assert made.exact
    assert len(made.edges) == len(made.path.segments)
    return made


def wedge(turn_degrees: float) -> Path:
    """A piece with an edge along +x up to the origin, where it turns left by so much."""
    on = 50 * cmath.rect(1, math.radians(turn_degrees))
    return Path.polygon([-80, 0, on, complex(-80, 40)])


@pytest.mark.parametrize("aside", [0.0, 0.3])
@pytest.mark.parametrize("join", ["mitre", "round"])
def test_a_cubic_with_a_cusp_has_an_allowance_too(aside, join):
    """A pointed arch of one cubic, whose ways cross at its middle: as `offset` has it."""
    arch = Cubic(80 + 10j, 50j + aside, 80 + 50j - aside, 10j)
    path = Path.of([Line(0j, 80 + 0j), Line(80 + 0j, 80 + 10j), arch, Line(10j, 0j)], True)
    made = one(path, [2.0] * 4, join=join)
    (plain,) = offset(path, 2.0, TOL, join)
    assert made.path.area == pytest.approx(plain.area, abs=2 * TOL * plain.length)
    assert set(made.edges) >= {0, 1, 2, 3}
    wide = one(path, [2.0, 3.0, 2.0, 2.0], join=join)
    assert wide.path.area > made.path.area


def test_a_rectangle_with_four_widths():
    made = one(PLATE, [10, 20, 30, 5])
    assert spots(made.path) == pytest.approx([-5 - 10j, 120 - 10j, 120 + 90j, -5 + 90j])
    assert made.edges == (0, 1, 2, 3)
    assert made.path.corners == {0, 1, 2, 3}


def test_equal_widths_are_the_plain_parallel():
    for join in ("round", "mitre", "bevel"):
        made = one(PLATE, [5] * 4, join=join)
        assert made.path == offset(PLATE, 5, TOL, join)[0]


def test_an_edge_without_allowance_stays_where_it_is():
    made = one(PLATE, [10, 0, 10, 0])
    assert spots(made.path) == pytest.approx([-10j, 100 - 10j, 100 + 70j, 70j])
    assert offset_edges(PLATE, [0] * 4, TOL)[0].path == PLATE


def test_a_core_is_inset_on_its_named_sides_only():
    made = one(PLATE, [0, -12.7, 0, -12.7])
    assert spots(made.path) == pytest.approx([12.7, 87.3, 87.3 + 60j, 12.7 + 60j])
    made = one(PLATE, [-3, -12.7, 0, -12.7])
    assert spots(made.path) == pytest.approx([12.7 + 3j, 87.3 + 3j, 87.3 + 60j, 12.7 + 60j])
    assert made.edges == (0, 1, 2, 3)
    assert offset_edges(PLATE, [-31, 0, -31, 0], TOL) == ()


def test_an_opening_shrinks_by_its_edges_and_may_vanish():
    made = one(PLATE.reversed(), [10, 0, 5, 1])
    assert made.path.area == pytest.approx(-(100 - 15) * (60 - 1))
    assert offset_edges(PLATE.reversed(), [20, 31, 20, 31], TOL) == ()


@pytest.mark.parametrize("turn", [60, 75, 90, 110, 140])
@pytest.mark.parametrize(("a", "b"), [(10, 10), (30, 10), (10, 15), (12, 0), (0, 12)])
def test_a_mitre_of_unlike_widths(turn, a, b):
    t = math.radians(turn)
    made = one(wedge(turn), [a, b, 5, 5], limit=9)
    apex = complex((b - a * math.cos(t)) / math.sin(t), -a)
    assert min(abs(p - apex) for p in spots(made.path)) < 1e-9
    assert made.edges == (0, 1, 2, 3)


@pytest.mark.parametrize("turn", [60, 90, 120])
@pytest.mark.parametrize(("a", "b"), [(10, 10), (30, 10), (10, 15), (12, 0)])
def test_a_butted_corner_ends_square_where_its_line_meets_the_other_allowance(turn, a, b):
    t = math.radians(turn)
    made = one(wedge(turn), [a, b, 5, 5], {1: "butt-before"})
    x = b / math.sin(t)
    for wanted in (complex(x, -a), x):
        assert min(abs(p - wanted) for p in [*spots(made.path), made.path.point_at(0)]) < 1e-9 or (
            turn == 90 and wanted == x
        )


def test_two_sewn_edges_have_ends_alike_when_butted():
    # corners of 60 and 120 degrees beside one seam: the outer edges run on across it
    ends = []
    for turn in (60, 120):
        made = one(wedge(turn), [15, 10, 5, 5], {1: "butt-before"}).path
        ends.append(sorted((p for p in spots(made) if p.imag < -14.9), key=lambda p: p.real)[-1])
    assert ends[0] == pytest.approx(ends[1])


@pytest.mark.parametrize("turn", [60, 90, 120])
def test_a_butt_after_is_its_mirror_image(turn):
    flip = Affine(-1, 0, 0, 1, 0, 0)
    path = wedge(turn)
    mirrored = path.transformed(flip).reversed()
    before = one(path, [15, 10, 5, 5], {1: "butt-before"}).path
    k = next(i for i, s in enumerate(mirrored.segments) if abs(s.start) < 1e-12)
    widths = {k: 15.0, (k - 1) % 4: 10.0}
    after = one(mirrored, [widths.get(i, 5.0) for i in range(4)], {k: "butt-after"}).path
    assert {complex(round(-p.real, 9), round(p.imag, 9)) for p in spots(after)} == {
        complex(round(p.real, 9), round(p.imag, 9)) for p in spots(before)
    }


@pytest.mark.parametrize("turn", [60, 75, 90, 105, 120])
@pytest.mark.parametrize(("hem", "side"), [(30, 10), (20, 0), (25, 25)])
def test_a_hem_folded_back_lies_along_the_side(turn, hem, side):
    made = one(wedge(turn), [hem, side, 5, 5], {1: "fold-before"})
    t = math.radians(turn)
    tip = max((p for p in spots(made.path) if p.imag < -hem + 1e-9), key=lambda p: p.real)
    # by hand: side / sin t + hem / tan t beyond the corner; its mirror image on the side's edge
    assert tip == pytest.approx(complex(side / math.sin(t) + hem / math.tan(t), -hem))
    normal = complex(math.sin(t), -math.cos(t))
    assert (tip * normal).real == pytest.approx(side)  # conjugate of the conjugate tip
    folded = shapely.Polygon(
        [(p.real, -p.imag) for p in (complex(side / math.sin(t), 0), tip, complex(-60, -hem), -60)]
    )
    whole = rg.region(made.path)
    assert shapely.difference(folded, shapely.buffer(whole, 1e-9)).area < 1e-9


def test_a_fold_and_a_butt_keep_to_the_limit():
    sharp = wedge(176)
    for join in ("fold-before", "butt-before"):
        made = one(sharp, [10, 10, 5, 5], {1: join}, limit=4)
        assert max(p.real for p in spots(made.path)) == pytest.approx(40)


def test_round_and_bevelled_corners_of_unlike_widths():
    plain = 100 * 60 + 100 * 10 + 60 * 20 + 100 * 10 + 60 * 20
    made = one(PLATE, [10, 20, 10, 20], join="bevel")
    assert made.path.area == pytest.approx(plain + 4 * 10 * 20 / 2)
    made = one(PLATE, [10, 20, 10, 20], join="round")
    assert made.path.area == pytest.approx(plain + math.pi * 20**2)


def test_widths_that_change_on_a_straight_edge_make_a_step():
    plate = Path.of([Line(0, 50), Line(50, 100), *PLATE.segments[1:]], True)
    made = one(plate, [10, 4, 4, 4, 4])
    assert spots(made.path) == pytest.approx(
        [-4 - 10j, 50 - 10j, 50 - 4j, 104 - 4j, 104 + 64j, -4 + 64j]
    )
    assert made.edges == (0, None, 1, 2, 3, 4)
    assert made.path.corners == frozenset(range(6))


def test_curved_edges_keep_their_own_distances():
    path = Path.of(
        [
            Line(0, 80),
            Cubic(80, 110 + 10j, 90 + 50j, 80 + 60j),
            Arc(80 + 60j, 60j, 0.3),
            Cubic(60j, -20 + 40j, 15 + 20j, 0j),
        ],
        True,
    )
    widths = [25.0, 6.0, 10.0, 12.0]
    made = one(path, widths)
    seen = set()
    for s, edge in zip(made.path.segments, made.edges, strict=True):
        if edge is not None:
            seen.add(edge)
            at = np.array([s.point(t) for t in (0.3, 0.5, 0.7)])
            own = rg.curve(Path((path.segments[edge],), False), 1e-4)
            assert rg.directed_deviation(at, own) == pytest.approx(widths[edge], abs=TOL + 1e-3)
    assert seen == {0, 1, 2, 3}
    smaller = one(path, [-w / 4 for w in widths])
    assert smaller.path.area < path.area < made.path.area


def test_an_arc_cut_back_by_a_mitre():
    # a hem that bulges out, wide beside a narrow side at an obtuse corner
    path = Path.of(
        [Arc(0, 100, 0.15), Line(100, 140 + 60j), Line(140 + 60j, -40 + 60j), Line(-40 + 60j, 0)],
        True,
    )
    made = one(path, [30, 5, 5, 5])
    arcs = [s for s in made.path.segments if isinstance(s, Arc)]
    assert len(arcs) == 1
    assert abs(arcs[0].centre - path.segments[0].centre) < 1e-9
    assert made.edges == (0, 1, 2, 3)


def test_what_makes_no_sense_is_refused():
    with pytest.raises(GeometryError, match="closed"):
        offset_edges(Path.polygon([0, 1, 1j], closed=False), [1, 1], TOL)
    with pytest.raises(GeometryError, match="3 distances for 4"):
        offset_edges(PLATE, [1, 1, 1], TOL)
    with pytest.raises(GeometryError, match="both signs"):
        offset_edges(PLATE, [1, -1, 1, 1], TOL)


@st.composite
def polygons(draw: st.DrawFn) -> tuple[Path, list[float]]:
    n = draw(st.integers(3, 10))
    radii = draw(st.lists(st.floats(0.3, 1), min_size=n, max_size=n))
    path = Path.polygon([100 * r * cmath.rect(1, math.tau * k / n) for k, r in enumerate(radii)])
    assume(path.area > 0 and not rg.self_crossings(path, 1e-3))
    widths = draw(st.lists(st.sampled_from([0.0, 2.0, 5.0, 11.0, 30.0]), min_size=n, max_size=n))
    assume(len(path.segments) == n)
    return path, widths


def allowances(path: Path, widths: list[float], join: str) -> list[rg.Region]:
    """The piece, the strips of its edges and what joins them at outside corners."""
    parts = [rg.region(path)]
    for k, s in enumerate(path.segments):
        before, way = path.segments[k - 1].tangent(1), s.tangent(0)
        a, b = -1j * before * widths[k - 1], -1j * way * widths[k]
        ring = [s.start, s.end, s.end + b, s.start + b]
        parts.append(shapely.Polygon([(p.real, p.imag) for p in ring]).buffer(0))
        turn = cmath.phase(way / before)
        if turn > 0:
            fan = [s.start + a, s.start + b]
            if join == "round":
                reach = -1j * before * max(widths[k - 1], widths[k])
                fan = [s.start + reach * cmath.rect(1, turn * i / 400) for i in range(401)]
            parts.append(shapely.Polygon([(p.real, p.imag) for p in [s.start, *fan]]).buffer(0))
    return parts


@settings(max_examples=80, deadline=None, derandomize=True)
@given(polygons(), st.sampled_from(["bevel", "round"]))
def test_what_is_covered_is_the_union_of_the_allowances(drawn, join):
    path, widths = drawn
    made = offset_edges(path, widths, TOL, join=join)
    solid = rg.union([rg.region(p.path, tolerance=1e-4) for p in made if p.path.area > 0])
    ours = rg.minus(solid, rg.union([rg.region(p.path) for p in made if p.path.area < 0]))
    left = ours
    for part in allowances(path, widths, join):
        assert rg.area(rg.minus(part, ours)) < 0.02
        left = rg.minus(left, part)
    assert rg.area(left) < 0.02


@settings(max_examples=80, deadline=None, derandomize=True)
@given(
    polygons(),
    st.sampled_from(["mitre", "butt-before", "butt-after", "fold-before", "fold-after"]),
)
def test_every_join_leaves_closed_paths_that_cover_the_piece(drawn, join):
    path, widths = drawn
    made = offset_edges(path, widths, TOL, join=join)
    outer = max(made, key=lambda p: p.path.area).path
    assert rg.is_valid(rg.region(outer))
    assert rg.area(rg.minus(rg.region(path), rg.grown(rg.region(outer), 1e-6))) < 1e-3
