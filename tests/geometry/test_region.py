"""Regions: areas and distances in closed form, crossings told apart from touches."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.pieces import thin_spike

from foamwright.errors import GeometryError
from foamwright.geometry import region as rg
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line

FINE = 1e-5
SQUARE = Path.polygon([0, 10, 10 + 10j, 10j])


def test_material_is_the_outline_less_its_openings():
    eye = Path.circle(5 + 5j, 2).reversed()
    plate = rg.region(SQUARE, [eye], FINE)
    assert rg.area(plate) == pytest.approx(100 - 4 * math.pi, abs=1e-3)
    assert not rg.contains(plate, 5 + 5j)
    assert rg.contains(plate, 1 + 1j)
    assert rg.contains(plate, 0)
    assert len(rg.rings(plate)) == 2


def test_a_swept_disc_is_a_stadium():
    stadium = rg.swept([Path.polygon([0, 30], closed=False)], 2.0, FINE)
    assert rg.area(stadium) == pytest.approx(120 + 4 * math.pi, abs=1e-3)
    low_x, low_y, high_x, high_y = rg.bounds(stadium)
    assert (low_x, low_y, high_x, high_y) == pytest.approx((-2, -2, 32, 2), abs=1e-4)


def test_a_swept_closed_path_leaves_its_middle():
    kerf = rg.swept([SQUARE], 0.1, FINE)
    (ring,) = rg.parts(kerf)
    # Steiner's formula outside, a square 0.2 narrower inside
    assert rg.area(ring) == pytest.approx(100 + 40 * 0.1 + math.pi * 0.01 - 9.8**2, abs=1e-4)
    freed = rg.parts(rg.minus(rg.box((-5, -5, 15, 15)), kerf))
    assert sorted(round(rg.area(p), 3) for p in freed) == [
        round(9.8**2, 3),
        round(400 - 104 - math.pi * 0.01, 3),
    ]


def test_a_hair_along_a_closed_line_leaves_its_middle_wherever_it_begins():
    """These five corners were once filled: the line begins where it runs almost straight on."""
    corners = [(22.8809051, 78.451306), (23.0104889, 78.3742171), (34.1714394, 78.1281565)]
    corners += [(35.0478331, 78.6450502), (22.5773066, 78.6319158)]
    for k in range(5):
        begun = [*corners[k:], *corners[: k + 1]]
        for spots in (begun, begun[::-1]):
            line = shapely.LineString(spots)
            hair = rg.grown(line, 0.005, 0.00025)
            assert rg.area(hair) == pytest.approx(0.01 * line.length, rel=1e-3)
            assert not rg.contains(hair, rg.inside_point(shapely.Polygon(spots)))


@pytest.mark.parametrize("radius", [0.1, 2.0, 20.0, 50.0])
@pytest.mark.parametrize("tolerance", [0.01, 0.001])
def test_a_disc_swept_along_an_arc_is_an_annulus_within_tolerance(radius, tolerance):
    ring = rg.swept([Path.circle(3 - 4j, 60)], radius, tolerance)
    outer, inner = rg.rings(ring)
    for points, size in ((outer, 60 + radius), (inner, 60 - radius)):
        middles = (points[1:] + points[:-1]) / 2
        for spots in (points, middles):
            assert np.abs(np.abs(spots - (3 - 4j)) - size).max() <= tolerance


def test_growing_with_mitres_keeps_corners():
    assert rg.area(rg.grown(rg.region(SQUARE), 1, FINE, "mitre")) == pytest.approx(144)
    assert rg.area(rg.grown(rg.region(SQUARE), -1, FINE)) == pytest.approx(64)
    assert rg.is_empty(rg.grown(rg.region(SQUARE), -6, FINE))


def test_an_opening_smaller_than_the_disc_closes_for_good():
    plate = rg.region(SQUARE, [Path.circle(5 + 5j, 2).reversed()], FINE)
    for distance in (2.5, 4.5, 30):
        assert len(rg.rings(rg.grown(plate, distance, 1e-3))) == 1
    assert len(rg.rings(rg.grown(plate, 1.5, 1e-3))) == 2
    narrow = rg.grown(plate, -0.5, FINE)
    assert rg.area(narrow) == pytest.approx(81 - math.pi * 2.5**2, abs=1e-3)
    assert rg.is_empty(rg.grown(plate, -3.1, FINE))  # nothing but four spots is left at 5 sqrt(2)-2


def test_what_is_narrower_than_half_the_tolerance_has_vanished():
    strip = rg.box((0, 0, 10, 1))
    assert rg.is_empty(rg.grown(strip, -0.4999, 0.002))
    assert len(rg.parts(rg.grown(strip, -0.499, 0.002))) == 1
    frame = rg.minus(rg.box((-5, -5, 15, 6)), strip)
    assert len(rg.rings(rg.grown(frame, 0.4999, 0.002))) == 1
    assert len(rg.rings(rg.grown(frame, 0.499, 0.002))) == 2


@pytest.mark.parametrize("chord", [0.01, 1e-3, 1e-4])
def test_a_finely_flattened_hollow_grows_by_no_more_than_asked(chord):
    # a half-round hollow of radius 300 becomes a concentric one of 250
    rim = Line(400 - 350j, 400), Line(400, 300), Arc(300 + 0j, -300 + 0j, -1.0), Line(-300, -400)
    hollow = Path.of([Line(-400 - 350j, 400 - 350j), *rim, Line(-400, -400 - 350j)], True)
    grown = rg.grown(rg.region(hollow, tolerance=chord), 50, 1e-3)
    (ring,) = rg.rings(grown)
    wall = np.abs(ring[(np.abs(ring) < 290) & (ring.imag < -60)])
    assert len(wall) > 50
    assert np.abs(wall - 250).max() <= chord + 1e-3
    # the plate's box grown with four round corners, less the half disc, less the rim's gap of
    # 2 x 300 - 2 sqrt(50^2 - y^2) above it
    rim_gap = 2 * (300 * 50 - math.pi * 50**2 / 4)
    area = 900 * 450 - (4 - math.pi) * 50**2 - math.pi * 250**2 / 2 - rim_gap
    assert rg.area(grown) == pytest.approx(area, abs=(chord + 1e-3) * 4000)


def test_closing_a_star_of_fine_arcs_leaves_no_slivers():
    star = Path.polygon([r * cmath.rect(1, k * math.pi / 20) for k, r in enumerate([100, 60] * 20)])
    closed = rg.closing(rg.region(star), 10, 0.002)
    assert len(rg.rings(closed)) == 1
    # each inside corner gets the fillet of a wedge: r^2 (cot(phi / 2) - (pi - phi) / 2)
    tip, dip = star.segments[0].start, star.segments[0].end
    phi = 2 * abs(cmath.phase((tip - dip) / dip))
    fillet = 10**2 * (1 / math.tan(phi / 2) - (math.pi - phi) / 2)
    assert rg.area(closed) == pytest.approx(star.area + 20 * fillet, abs=0.002 * star.length)


def test_closing_fills_an_inside_corner_and_opening_rounds_an_outside_one():
    ell = rg.polygon([0, 10, 10 + 5j, 5 + 5j, 5 + 10j, 10j])
    corner = 1 - math.pi / 4  # of a square of side 1, outside its inscribed quarter disc
    assert rg.area(rg.closing(ell, 1, FINE)) == pytest.approx(75 + corner, abs=1e-3)
    assert rg.area(rg.opening(ell, 1, FINE)) == pytest.approx(75 - 5 * corner, abs=1e-3)


def test_parts_union_common_and_minus():
    a, b = rg.box((0, 0, 2, 2)), rg.box((1, 1, 3, 3))
    assert rg.area(rg.union([a, b])) == pytest.approx(7)
    assert rg.area(rg.common(a, b)) == pytest.approx(1)
    cross = rg.minus(rg.box((0, 0, 3, 1)), rg.box((1, -1, 2, 2)))
    assert [rg.area(p) for p in rg.parts(cross)] == pytest.approx([1, 1])
    assert rg.parts(rg.union([rg.point(1 + 1j), a, rg.box((5, 5, 6, 6))])) != ()
    assert len(rg.parts(rg.union([rg.polyline([8, 9]), a, rg.box((5, 5, 6, 6))]))) == 2


def test_predicates_tell_area_from_touch():
    a, b, c = rg.box((0, 0, 1, 1)), rg.box((1, 0, 2, 1)), rg.box((0.5, 0.5, 3, 3))
    assert rg.touches_or_overlaps(a, b)
    assert not rg.overlaps(a, b)
    assert rg.overlaps(a, c)
    assert rg.covers(a, rg.box((0, 0, 0.5, 1)))
    assert not rg.covers(a, c)
    assert rg.distance(a, rg.point(4 + 5j)) == pytest.approx(5)
    assert rg.distance(a, rg.common(a, rg.point(9))) == math.inf
    inside = rg.contains_points(a, np.array([0.5 + 0.5j, 1 + 1j, 1.1 + 1j]))
    assert inside.tolist() == [True, True, False]


def test_an_inside_point_lies_off_the_boundary():
    horseshoe = rg.minus(rg.box((0, 0, 10, 10)), rg.box((1, 1, 9, 10)))
    p = rg.inside_point(horseshoe)
    assert rg.distance(rg.boundary(horseshoe), rg.point(p)) > 0.1
    empty = rg.common(rg.box((0, 0, 1, 1)), rg.box((2, 2, 3, 3)))
    with pytest.raises(GeometryError):
        rg.inside_point(empty)
    with pytest.raises(GeometryError):
        rg.bounds(empty)


@given(st.floats(0.01, 300), st.floats(0.2, 0.8))
def test_the_deepest_point_of_an_ell(size, part):
    """The circle that fits its corner touches both outer sides and the inner corner."""
    ell = rg.minus(rg.box((0, 0, size, size)), rg.box((part * size, part * size, size, size)))
    p = rg.deepest_point(ell)
    in_corner = part * size * math.sqrt(2) / (1 + math.sqrt(2))
    assert rg.contains(ell, p)
    width = 2 * rg.area(ell) / rg.boundary(ell).length
    off = rg.distance(rg.boundary(ell), rg.point(p))
    assert in_corner - rg.DEEPEST_WITHIN * width - 1e-9 <= off <= in_corner + 1e-9


def test_an_empty_region_has_no_deepest_point():
    with pytest.raises(GeometryError):
        rg.deepest_point(rg.common(rg.box((0, 0, 1, 1)), rg.box((2, 2, 3, 3))))


def test_boundary_points_are_no_farther_apart_than_the_step():
    plate = rg.region(SQUARE, [Path.circle(5 + 5j, 2).reversed()])
    points = rg.boundary_points(plate, 0.25)
    gaps = np.abs(np.diff(points))
    assert (gaps > 0.2500001).sum() == 1  # from the outline to the opening
    assert {0j, 10 + 0j, 10 + 10j, 10j} <= set(points.tolist())


def test_directed_deviation_is_the_distance_to_the_boundary():
    edge = rg.region(SQUARE)
    found = rg.directed_deviation(np.array([5 + 5j, 13 + 14j, 10 + 5j, 9.5 + 5j]), edge)
    assert found == pytest.approx([5, 5, 0, 0.5])
    empty = rg.common(rg.box((0, 0, 1, 1)), rg.box((2, 2, 3, 3)))
    assert rg.directed_deviation(np.array([1 + 1j]), empty).tolist() == [math.inf]


@settings(max_examples=50, deadline=None, derandomize=True)
@given(st.lists(st.complex_numbers(max_magnitude=100, allow_nan=False), min_size=1, max_size=30))
def test_directed_deviation_agrees_with_the_distance_one_by_one(spots):
    edge = rg.region(SQUARE, [Path.circle(5 + 5j, 2).reversed()])
    found = rg.directed_deviation(np.array(spots), edge)
    alone = [rg.distance(rg.boundary(edge), rg.point(p)) for p in spots]
    assert found == pytest.approx(alone, abs=1e-12)


def test_an_index_finds_the_near_ones():
    row = rg.near([rg.box((3.0 * k, 0, 3.0 * k + 2, 1)) for k in range(5)])
    assert row.within(rg.box((0, 0, 4, 1))) == (0, 1)
    assert row.within(rg.point(2.5 + 0.5j)) == ()
    assert row.within(rg.point(2.5 + 0.5j), 0.5) == (0, 1)
    assert row.nearest(rg.point(7 + 9j)) == 2
    assert row.pairs() == ()
    assert row.pairs(1.0) == ((0, 1), (1, 2), (2, 3), (3, 4))
    with pytest.raises(GeometryError):
        rg.near([]).nearest(rg.point(0j))


def test_a_figure_of_eight_crosses_itself_once():
    eight = Path.polygon([0, 4 + 4j, 4, 4j])
    assert rg.self_crossings(eight) == pytest.approx([2 + 2j])
    assert rg.self_touches(eight) == ()


def test_a_crossing_at_a_corner_counts_and_a_touch_does_not():
    through = Path.polygon([0, 2 + 2j, 4 + 4j, 4, 2 + 2j, 4j])
    assert rg.self_crossings(through) == pytest.approx([2 + 2j])
    bounced = Path.polygon([0, 4, 2 + 2j, 4 + 4j, 4j, 2 + 2j])
    assert rg.self_crossings(bounced) == ()
    assert rg.self_touches(bounced) == pytest.approx([2 + 2j])


def test_a_spike_that_runs_back_along_itself_is_a_touch():
    spike = Path.polygon([0, 10, 10 + 5j, 15 + 5j, 10 + 5j, 10 + 10j, 10j])
    assert rg.self_crossings(spike) == ()
    assert len(rg.self_touches(spike)) >= 1


def test_curves_that_cross_are_found_and_plain_ones_are_not():
    assert rg.self_crossings(Path.circle(0, 5)) == ()
    arcs = Path.of(
        [Line(0, 10), Arc(10 + 0j, 10 + 6j, 1.0), Line(10 + 6j, 5 - 2j), Line(5 - 2j, 0)], True
    )
    assert len(rg.self_crossings(arcs)) == 1
    assert rg.self_crossings(arcs)[0].imag == pytest.approx(0)


def test_an_open_path_may_end_on_itself():
    hook = Path.polygon([0, 10, 10 + 10j, 5 + 10j, 5], closed=False)
    assert rg.self_crossings(hook) == ()
    assert rg.self_touches(hook) == pytest.approx([5])


@given(st.lists(st.builds(complex, st.integers(0, 6), st.integers(0, 6)), min_size=4, max_size=9))
@settings(deadline=None, derandomize=True, max_examples=300)
def test_a_ring_meets_itself_where_the_polygon_library_says_that_it_is_not_simple(corners):
    ring = [c for c, after in zip(corners, [*corners[1:], corners[0]], strict=True) if c != after]
    assume(len(ring) > 2)
    path = Path.polygon(ring)
    met = rg.self_crossings(path) + rg.self_touches(path)
    line = shapely.LineString([(c.real, c.imag) for c in [*ring, ring[0]]])
    assert bool(met) != bool(shapely.is_simple(line))


def test_a_scribble_is_looked_at_no_longer_than_it_takes_to_see_that_it_is_one():
    """Each of its strokes crosses all others: 2e8 meetings."""
    heights = np.random.default_rng(4).uniform(0, 100, 20_000)
    path = Path.polygon([complex(1000 * (k % 2), h) for k, h in enumerate(heights)])
    assert len(rg.self_crossings(path)) == rg.MOST_MEETINGS
    assert len(rg.loops(path)) == rg.MOST_MEETINGS


def test_a_long_outline_that_runs_nearly_along_itself_is_looked_at_as_its_size_bears():
    """Two arcs 400 m long whose sagittas differ by a micron: 1e5 chords each at 0.1 um."""
    there, back = Arc(0j, 400e3 + 0j, 1.0), Arc(400e3 + 0j, 0j, -1.0 - 1e-8)
    path = Path.of([there, back], True)
    assert rg.loops(path) == ()
    crossed = Path.of(
        [there, Arc(400e3 + 0j, 1j, -1.0), Line(1j, 10 - 5j), Line(10 - 5j, 0j)], True
    )
    assert 1 <= len(rg.loops(crossed)) <= rg.MOST_MEETINGS


def test_an_opening_that_runs_there_and_back_opens_nothing():
    plate = shapely.Polygon(
        [(0, 0), (10, 0), (10, 10), (0, 10)], [[(5, 5), (6, 6), (5, 5), (5, 5)]]
    )
    assert rg.area(rg.grown(plate, 1e-3, 1e-3, "mitre")) == pytest.approx(10.002**2, abs=1e-6)
    assert rg.area(rg.grown(plate, -1e-3, 1e-3, "mitre")) == pytest.approx(9.998**2, abs=3e-2)


def test_cuts_part_a_region_or_do_not():
    box = rg.polygon([0j, 10 + 0j, 10 + 10j, 10j])
    across = rg.polyline(np.array([4 + 0j, 4 + 10j]))
    into = rg.polyline(np.array([4 + 0j, 4 + 9j]))
    assert [round(rg.area(p), 2) for p in rg.parted(box, [across], 0.002)] == [59.99, 39.99]
    assert len(rg.parted(box, [into], 0.002)) == 1
    corner = rg.polyline(np.array([4 + 9j, 10 + 9j]))
    assert len(rg.parted(box, [into, corner], 0.002)) == 2


def test_a_loop_is_found_though_its_sides_are_nearer_than_is_usually_looked():
    """The chord from the tip to the crossing: x = 2 R sin(lean), lean^2 = 2 depth / R."""
    spike = thin_spike(2e-4)
    assert rg.self_crossings(spike, 0.002) == ()
    (spot,) = rg.loops(spike)
    assert spot == pytest.approx(2 * 20.0 * math.sqrt(2 * 2e-4 / 20.0), abs=0.02)
    assert rg.loops(thin_spike(0.0)) == ()


def test_an_index_finds_what_each_distance_finds():
    spots = [complex(7 * k % 40, 11 * k % 40) for k in range(30)]
    discs = [rg.region(Path.circle(p, 1 + k % 3), (), 0.01) for k, p in enumerate(spots)]
    index = rg.near(discs)
    for reach in (0.0, 0.5, 4.0):
        for asked in (rg.point(20 + 20j), rg.polyline([3 + 3j, 30 + 9j]), discs[5]):
            found = [k for k, d in enumerate(discs) if rg.distance(d, asked) <= reach]
            assert list(index.within(asked, reach)) == found
    assert index.within(rg.polygon([0j, 1 + 0j, 1j]).buffer(-9), 1.0) == ()


MICRONS = st.integers(-100_000, 100_000).map(lambda n: n / 1000)
PLACES = st.builds(complex, MICRONS, MICRONS)


@given(st.lists(PLACES, min_size=2, max_size=400, unique=True), st.lists(PLACES, min_size=1))
@settings(deadline=None, derandomize=True, max_examples=150)
def test_distances_to_an_edge_are_the_polygon_library_s(corners, spots):
    """Boxes tell which chords can't be nearest; GEOS looks at all of them."""
    edge = shapely.LineString([(c.real, c.imag) for c in corners])
    due = shapely.distance(shapely.points([(p.real, p.imag) for p in spots]), edge)
    assert rg.directed_deviation(np.array(spots), edge) == pytest.approx(due, abs=1e-9)


def test_nothing_lies_near_an_edge_without_chords():
    assert rg.directed_deviation(np.array([1j]), rg.polygon([0j, 1 + 0j, 1j]).buffer(-9)) == np.inf
