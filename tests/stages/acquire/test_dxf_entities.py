"""Each entity type: exact lines and arcs in every version, flipped, turned, broken."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
from dxf_files import built, codes, faults, read, tagged
from scipy.integrate import quad

from foamwright.geometry.path import Path as Curve
from foamwright.geometry.segments import Arc, Cubic, Line

VERSIONS = ("R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018")
ATTRIBS = {"layer": "CUT"}


def ellipse_arc(a: float, b: float, start: float, end: float) -> float:
    """Length by quadrature of the textbook's integrand."""
    return quad(lambda t: math.hypot(a * math.sin(t), b * math.cos(t)), start, end, limit=200)[0]


def one(file: Path, units: str | None = None) -> Curve:
    shapes, findings, _ = read(file, units)
    assert faults(findings) == []
    (shape,) = shapes
    return shape.path


def draw_basics(space: Any) -> None:
    """Apart from each other, so that nothing joins; only what every version holds."""
    space.add_line((0, 0), (30, 40))
    space.add_circle((100, 0), 25)
    space.add_arc((200, 0), 30, 350, 80)
    space.add_polyline2d([(300, 0, 0.5), (340, 0, 0), (340, 30, -0.25)], format="xyb", close=True)


@pytest.mark.parametrize("version", VERSIONS)
def test_every_version_reads_the_same(tmp_path: Path, version: str) -> None:
    file = built(tmp_path / "a.dxf", draw_basics, version)
    shapes, findings, unit = read(file, "mm")
    assert codes(findings) == []
    assert unit == "mm"
    line, circle, arc, poly = (s.path for s in shapes)
    assert line.segments == (Line(0j, 30 + 40j),)
    assert circle.closed
    assert [type(s) for s in circle.segments] == [Arc] * 3
    assert circle.area == pytest.approx(625 * math.pi, rel=1e-13)
    assert [type(s) for s in arc.segments] == [Arc]
    assert arc.length == pytest.approx(30 * math.radians(90), rel=1e-13)
    assert abs(arc.start - (200 + 30 * np.exp(-1j * math.radians(10)))) < 1e-12
    assert [getattr(s, "bulge", 0) for s in poly.segments] == [0.5, 0, -0.25]
    assert poly.closed


@pytest.mark.parametrize("version", VERSIONS[1:])
def test_newer_entities_read_the_same_in_every_version(tmp_path: Path, version: str) -> None:
    def draw(space: Any) -> None:
        bulged = [(0, 0, 1), (10, 0, 0), (10, 5, 0)]
        space.add_lwpolyline(bulged, format="xyb", close=True, dxfattribs=ATTRIBS)
        space.add_ellipse((100, 0), (30, 0), 0.5, 0, math.pi, dxfattribs=ATTRIBS)
        space.add_open_spline([(200, 0), (220, 50), (240, -50), (260, 0)], dxfattribs=ATTRIBS)

    shapes, findings, _ = read(built(tmp_path / "a.dxf", draw, version))
    assert codes(findings) == []
    poly, ellipse, spline = (s.path for s in shapes)
    assert isinstance(poly.segments[0], Arc)
    assert poly.segments[0].radius == pytest.approx(5)
    assert ellipse.length == pytest.approx(ellipse_arc(30, 15, 0, math.pi), rel=1e-7)
    assert spline.segments == (Cubic(200 + 0j, 220 + 50j, 240 - 50j, 260 + 0j),)
    assert {s.groups for s in shapes} == {("CUT",)}
    assert {s.role for s in shapes} == {"cut"}


def test_a_circle_at_a_radius_where_polygons_show(tmp_path: Path) -> None:
    """Approximated at r = 500 an arc would be 0.136 mm off."""
    path = one(built(tmp_path / "a.dxf", lambda m: m.add_arc((7, 9), 500, 15, 300)))
    distances = np.abs(path.flatten(1e-3) - (7 + 9j))
    assert distances.min() > 500 - 1e-9
    assert path.length == pytest.approx(500 * math.radians(285), rel=1e-13)


@pytest.mark.parametrize(("start", "end"), [(0, 360), (30, 30), (90, 450), (0, 359.99999999)])
def test_an_arc_of_a_full_turn_is_closed(tmp_path: Path, start: float, end: float) -> None:
    path = one(built(tmp_path / "a.dxf", lambda m: m.add_arc((0, 0), 10, start, end)))
    assert path.closed
    assert path.length == pytest.approx(20 * math.pi, rel=1e-8)


def test_a_polyline_that_ends_where_it_started_is_closed(tmp_path: Path) -> None:
    spots = [(0, 0), (10, 0), (10, 10), (0, 0)]
    path = one(built(tmp_path / "a.dxf", lambda m: m.add_lwpolyline(spots)))
    assert path.closed
    assert len(path.segments) == 3
    twice = [*spots[:2], spots[1], *spots[2:]]
    path = one(built(tmp_path / "b.dxf", lambda m: m.add_lwpolyline(twice, close=True)))
    assert len(path.segments) == 3


@pytest.mark.parametrize("ratio", [1.0, 0.3, 1e-3])
def test_whole_ellipses_close(tmp_path: Path, ratio: float) -> None:
    path = one(built(tmp_path / "a.dxf", lambda m: m.add_ellipse((5, 5), (30, 40), ratio)))
    assert path.closed
    assert path.area == pytest.approx(math.pi * 50 * 50 * ratio, rel=1e-7)
    assert all(isinstance(s, Arc if ratio == 1 else Cubic) for s in path.segments)


def test_an_ellipse_whose_end_is_rounded_to_six_digits_closes(tmp_path: Path) -> None:
    path = one(
        built(tmp_path / "a.dxf", lambda m: m.add_ellipse((0, 0), (30, 0), 0.5, 0, 6.283185))
    )
    assert path.closed


# the entity's own coordinates


def flipped(name: str, *args: object, **attribs: object) -> Callable[[Any], object]:
    def draw(space: Any) -> None:
        entity = getattr(space, name)(*args)
        entity.dxf.extrusion = (0, 0, -1)
        for key, value in attribs.items():
            entity.dxf.set(key, value)

    return draw


def test_negative_extrusion_mirrors_an_arc(tmp_path: Path) -> None:
    path = one(built(tmp_path / "a.dxf", flipped("add_arc", (10, 5), 3, 0, 90)))
    assert isinstance(path.segments[0], Arc)
    assert path.segments[0].centre == pytest.approx(-10 + 5j)
    assert path.start == pytest.approx(-13 + 5j)
    assert path.end == pytest.approx(-10 + 8j)
    assert path.segments[0].bulge < 0


def test_negative_extrusion_mirrors_a_bulged_polyline(tmp_path: Path) -> None:
    draw = flipped("add_lwpolyline", [(1, 0, 0, 0, 1), (3, 0, 0, 0, 0)])
    path = one(built(tmp_path / "a.dxf", draw))
    assert (path.start, path.end) == (-1, -3)
    x_min, y_min, x_max, y_max = path.bounds
    assert (x_min, x_max) == pytest.approx((-3, -1))
    assert (y_min, y_max) == pytest.approx((-1, 0))


def test_an_ellipse_keeps_its_axis_and_turns_its_way(tmp_path: Path) -> None:
    """Centre and axis are in world coordinates; only the sense of turning follows the extrusion."""
    draw = flipped("add_ellipse", (10, 0), (5, 0), 0.5, 0, math.pi / 2)
    path = one(built(tmp_path / "a.dxf", draw))
    assert path.start == pytest.approx(15)
    assert path.end == pytest.approx(10 - 2.5j)


def test_a_line_is_in_world_coordinates(tmp_path: Path) -> None:
    path = one(built(tmp_path / "a.dxf", flipped("add_line", (1, 2), (3, 4))))
    assert (path.start, path.end) == (1 + 2j, 3 + 4j)


def test_heights_are_left_out_and_counted(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.add_circle((0, 0, 5), 10)
        space.add_line((50, 0, -2), (60, 0, -2))
        space.add_lwpolyline([(80, 0), (90, 0), (90, 9)], dxfattribs={"elevation": 3})

    shapes, (told,), _ = read(built(tmp_path / "a.dxf", draw))
    assert len(shapes) == 3
    assert (told.code, told.is_fault) == ("R312", False)
    assert "3 entities" in told.what


def test_what_leans_out_of_the_plane_is_told_and_left_out(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.add_line((0, 0, 0), (10, 0, 10))
        space.add_polyline3d([(0, 0, 0), (1, 0, 0), (1, 1, 5)])
        space.add_circle((0, 0), 5).dxf.extrusion = (0, 1, 1)
        space.add_ellipse((0, 0), (3, 0, 3), 0.5)
        space.add_circle((0, 0), 7)

    shapes, (told,), _ = read(built(tmp_path / "a.dxf", draw))
    assert [s.path.length for s in shapes] == pytest.approx([14 * math.pi])
    assert told.code == "R309"
    assert "4 entities" in told.what


def test_a_level_3d_polyline_is_read(tmp_path: Path) -> None:
    spots = [(0, 0, 2), (10, 0, 2), (10, 10, 2)]
    file = built(tmp_path / "a.dxf", lambda m: m.add_polyline3d(spots, close=True))
    (shape,), _, _ = read(file)
    assert shape.path.closed
    assert shape.path.area == pytest.approx(50)


def test_a_spline_fitted_polyline_leaves_its_frame_out(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        poly = space.add_polyline2d([(0, 0), (5, 50), (1, 1), (2, 2), (10, 0)])
        poly.dxf.flags = 4
        for v, flags in zip(poly.vertices, (16, 16, 8, 8, 8), strict=True):
            v.dxf.flags = flags

    path = one(built(tmp_path / "a.dxf", draw))
    assert path.start == 1 + 1j
    assert len(path.segments) == 2


# splines


def test_a_periodic_spline_closes(tmp_path: Path) -> None:
    ring = [(40 * math.cos(k), 40 * math.sin(k), 0) for k in np.arange(6) * math.pi / 3]

    def draw(space: Any) -> None:
        space.add_spline().set_closed(ring)

    path = one(built(tmp_path / "a.dxf", draw))
    assert path.closed
    assert len(path.segments) == 6
    assert path.corners == frozenset()


def test_a_rational_spline_has_its_true_length(tmp_path: Path) -> None:
    """A circle of radius 50 as nine weighted points: approximators are wrong by half on such."""
    c = math.sqrt(0.5)
    ring = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]

    def draw(space: Any) -> None:
        spots = [(50 * x, 50 * y) for x, y in ring]
        knots = [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]
        space.add_rational_spline(spots, [1, c] * 4 + [1], degree=2, knots=knots)

    path = one(built(tmp_path / "a.dxf", draw))
    assert path.closed
    assert path.length == pytest.approx(100 * math.pi, rel=1e-9)


def test_a_spline_of_fit_points_passes_through_them_and_is_told(tmp_path: Path) -> None:
    spots = [(0, 0), (30, 40), (70, 10), (90, 60)]
    shapes, (told,), _ = read(built(tmp_path / "a.dxf", lambda m: m.add_spline(spots)))
    assert told.code == "R311"
    path = shapes[0].path
    flat = path.flatten(1e-4)
    assert all(np.abs(flat - complex(*p)).min() < 0.05 for p in spots)
    assert abs(path.start) < 1e-9
    assert abs(path.end - (90 + 60j)) < 1e-9


def test_a_closed_spline_of_fit_points_closes_smoothly(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        spline = space.add_spline([(0, 0), (30, -10), (60, 20), (20, 50)])
        spline.closed = True

    shapes, _, _ = read(built(tmp_path / "a.dxf", draw))
    path = shapes[0].path
    assert path.closed
    assert path.corners == frozenset()
    assert len(path.segments) == 4


# what defines no curve


def lwpolyline(*vertices: tuple[object, object, object]) -> list[object]:
    head = [0, "LWPOLYLINE", 5, "1F", 100, "AcDbEntity", 8, "CUT", 100, "AcDbPolyline"]
    rows = [v for x, y, b in vertices for v in (10, x, 20, y, 42, b)]
    return [*head, 90, len(vertices), 70, 1, *rows]


HEADER = (9, "$ACADVER", 1, "AC1015", 9, "$INSUNITS", 70, 4)


@pytest.mark.parametrize(
    ("entity", "says"),
    [
        ([0, "LINE", 8, "0", 10, "nan", 20, 0, 11, 5, 21, 5], "not a finite number"),
        ([0, "LINE", 8, "0", 10, 0, 20, "inf", 11, 5, 21, 5], "not a finite number"),
        ([0, "LINE", 8, "0", 10, 0, 20, "1e308", 11, 5, 21, 5], "1e+308 mm"),
        ([0, "CIRCLE", 8, "0", 10, 0, 20, 0, 40, "nan"], "radius of nan"),
        ([0, "CIRCLE", 8, "0", 10, 0, 20, 0, 40, "1e300"], "mm"),
        ([0, "CIRCLE", 8, "0", 10, 0, 20, 0, 40, 0], "radius of 0"),
        ([0, "CIRCLE", 8, "0", 10, 0, 20, 0, 40, -3], "radius of -3"),
        ([0, "ARC", 8, "0", 10, 0, 20, 0, 40, 5, 50, "nan", 51, 90], "finite"),
        (lwpolyline((0, 0, "1e12"), (10, 0, 0), (10, 10, 0)), "bulge of 1e+12"),
        (lwpolyline((0, 0, "nan"), (10, 0, 0), (10, 10, 0)), "bulge of nan"),
        (lwpolyline(("inf", 0, 0), (10, 0, 0), (10, 10, 0)), "finite"),
    ],
)
def test_broken_numbers_are_faults_with_their_place(
    tmp_path: Path, entity: list[object], says: str
) -> None:
    good = [0, "CIRCLE", 8, "0", 10, 90, 20, 90, 40, 5]
    shapes, findings, _ = read(tagged(tmp_path / "a.dxf", entity, good, header=HEADER))
    (fault,) = [f for f in findings if f.is_fault]
    assert fault.code == "R307"
    assert says in fault.what
    assert str(entity[1]) in fault.where
    assert len(shapes) == 1


def test_an_extrusion_of_no_length_is_a_fault(tmp_path: Path) -> None:
    entity = [0, "CIRCLE", 8, "0", 10, 3, 20, 4, 40, 5, 210, 0, 220, 0, 230, 0]
    shapes, findings, _ = read(tagged(tmp_path / "a.dxf", entity, header=HEADER))
    assert shapes == ()
    assert faults(findings) == ["R307"]


def test_axes_of_no_length_are_a_fault(tmp_path: Path) -> None:
    rows = [0, "ELLIPSE", 100, "AcDbEntity", 8, "0", 100, "AcDbEllipse", 10, 0, 20, 0, 30, 0]
    rows += [11, 0, 21, 0, 31, 0, 40, 0.5, 41, 0, 42, 3]
    shapes, findings, _ = read(tagged(tmp_path / "a.dxf", rows, header=HEADER))
    assert shapes == ()
    assert faults(findings) == ["R307"]


def test_lengthless_lines_are_counted(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.add_line((1, 1), (1, 1))
        space.add_lwpolyline([(2, 2), (2, 2)])
        space.add_circle((0, 0), 3)

    shapes, (told,), _ = read(built(tmp_path / "a.dxf", draw))
    assert len(shapes) == 1
    assert told.code == "R402"
    assert "2 entities" in told.what


def test_many_broken_entities_are_told_in_few_lines(tmp_path: Path) -> None:
    bad = [0, "CIRCLE", 8, "0", 10, 0, 20, 0, 40, -1]
    _, findings, _ = read(tagged(tmp_path / "a.dxf", *[bad] * 500, header=HEADER))
    told = [f for f in findings if f.code == "R307"]
    assert len(told) == 21
    assert "480 more" in told[-1].what


def test_nearly_flat_arcs_become_lines(tmp_path: Path) -> None:
    spots = [(0, 0, 1e-11), (100, 0, 0), (100, 50, 0)]
    path = one(built(tmp_path / "a.dxf", lambda m: m.add_lwpolyline(spots, "xyb", close=True)))
    assert [type(s) for s in path.segments] == [Line] * 3


def test_the_library_agrees_on_lengths(tmp_path: Path) -> None:
    """The library's own flattening, which is right on plain splines, as a second opinion."""
    spots = [(0, 0), (10, 80), (60, -40), (90, 70), (130, 0), (150, 60)]
    file = built(tmp_path / "a.dxf", lambda m: m.add_open_spline(spots, degree=3))
    entity = next(iter(ezdxf.readfile(file).modelspace()))
    flat = np.array([complex(p.x, p.y) for p in entity.flattening(1e-5)])
    assert one(file).length == pytest.approx(np.abs(np.diff(flat)).sum(), rel=1e-6)
