"""Boundaries of fills: exact, whichever kind of edge, and once where an outline is drawn too."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from dxf_files import built, codes, faults, read

from foamwright.geometry.segments import Arc
from foamwright.stages.acquire.dxf_hatch import TEXT_BOX
from foamwright.stages.acquire.pieces import sort_shapes


def test_a_bulged_boundary_and_its_hole(tmp_path: Path) -> None:
    """A stadium 40 x 20 (closed form: 20 x 20 + pi 100) with a square hole."""

    def draw(space: Any) -> None:
        fill = space.add_hatch()
        stadium = [(0, 0, 0), (20, 0, 1), (20, 20, 0), (0, 20, 1)]
        fill.paths.add_polyline_path(stadium, is_closed=True)
        fill.paths.add_polyline_path([(5, 5), (10, 5), (10, 10), (5, 10)], is_closed=True)

    shapes, findings, _ = read(built(tmp_path / "a.dxf", draw))
    assert faults(findings) == []
    assert shapes[0].path.area == pytest.approx(400 + 100 * math.pi, rel=1e-12)
    found = sort_shapes(shapes, "a.dxf")
    (piece,) = found.pieces
    assert [o.path.area for o in piece.openings] == [pytest.approx(-25)]
    assert codes(found.findings) == ["R116"]


@pytest.mark.parametrize("ccw", [True, False])
def test_edges_of_every_kind_meet(tmp_path: Path, ccw: bool) -> None:
    """A half disc of radius 10, its arc stored in either direction; area pi 10^2 / 2."""

    def draw(space: Any) -> None:
        path = space.add_hatch().paths.add_edge_path()
        path.add_line((10, 0), (-10, 0))
        path.add_arc((0, 0), 10, 180, 360, ccw=ccw)

    shapes, findings, _ = read(built(tmp_path / "a.dxf", draw))
    assert faults(findings) == []
    (shape,) = shapes
    assert abs(shape.path.area) == pytest.approx(50 * math.pi, rel=1e-9)
    assert any(isinstance(s, Arc) for s in shape.path.segments)


def test_ellipse_and_spline_edges(tmp_path: Path) -> None:
    """Half an ellipse of half axes 30 and 10 (area pi 30 10 / 2) closed by a straight spline."""

    def draw(space: Any) -> None:
        path = space.add_hatch().paths.add_edge_path()
        path.add_ellipse((0, 0), (30, 0), 10 / 30, 0, 180)
        path.add_spline(
            control_points=[(-30, 0), (-10, 0), (10, 0), (30, 0)],
            degree=3,
            knot_values=[0, 0, 0, 0, 1, 1, 1, 1],
        )

    shapes, findings, _ = read(built(tmp_path / "a.dxf", draw))
    assert faults(findings) == []
    (shape,) = shapes
    assert abs(shape.path.area) == pytest.approx(150 * math.pi, rel=1e-6)


def test_a_fill_over_its_outline_is_one_piece(tmp_path: Path) -> None:
    square = [(0, 0), (30, 0), (30, 30), (0, 30)]

    def draw(space: Any) -> None:
        space.add_hatch().paths.add_polyline_path(square, is_closed=True)
        space.add_lwpolyline(square, close=True)

    shapes, _, _ = read(built(tmp_path / "a.dxf", draw))
    found = sort_shapes(shapes, "a.dxf")
    assert len(found.pieces) == 1
    assert codes(found.findings) == []


def test_a_labels_box_is_nobodys_outline(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        fill = space.add_hatch()
        fill.paths.add_polyline_path([(0, 0), (30, 0), (30, 30)], is_closed=True)
        box = [(5, 1), (9, 1), (9, 3), (5, 3)]
        fill.paths.add_polyline_path(box, is_closed=True, flags=TEXT_BOX)

    shapes, _, _ = read(built(tmp_path / "a.dxf", draw))
    assert len(shapes) == 1


def test_edges_that_do_not_meet_are_told(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        path = space.add_hatch().paths.add_edge_path()
        path.add_line((0, 0), (10, 0))
        path.add_line((10, 5), (0, 5))

    _, findings, _ = read(built(tmp_path / "a.dxf", draw))
    assert "R307" in faults(findings)
