"""Pattern exchange files: layers are roles, by two secondary descriptions of ASTM D6673-10."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from dxf_files import built, faults, read
from tests.stages.alter.test_alter import altered

from foamwright.stages.acquire.pieces import sort_shapes

OUTLINE = [(0, 0), (200, 0), (200, 100), (0, 100)]


def piece(space: Any, units: str = "METRIC") -> None:
    block = space.doc.blocks.new("SLEEVE")
    block.add_polyline2d(OUTLINE, close=True, dxfattribs={"layer": "1"})
    inner = [(50, 40), (60, 40), (60, 50)]
    block.add_polyline2d(inner, close=True, dxfattribs={"layer": "11"})
    block.add_line((20, 20), (20, 80), dxfattribs={"layer": "7"})
    block.add_line((100, 10), (100, 90), dxfattribs={"layer": "8"})
    block.add_point((150, 0, 6), dxfattribs={"layer": "4"})
    block.add_point((170, 50), dxfattribs={"layer": "13"})
    for x, y in OUTLINE:
        block.add_point((x, y), dxfattribs={"layer": "2"})
    block.add_polyline2d(OUTLINE, close=True, dxfattribs={"layer": "84"})
    space.add_blockref("SLEEVE", (1000, 0))
    space.add_text(f"UNITS: {units}", dxfattribs={"insert": (0, 0)})


def test_layers_become_roles(tmp_path: Path) -> None:
    shapes, findings, unit = read(built(tmp_path / "a.dxf", piece, "R2000", 0))
    assert faults(findings) == []
    assert unit == "mm"
    found = sort_shapes(shapes, "a.dxf")
    assert [f for f in found.findings if f.is_fault] == []
    (sleeve,) = found.pieces
    assert sleeve.name == "SLEEVE"
    assert sleeve.outline.area == pytest.approx(20_000)
    assert [o.path.area for o in sleeve.openings] == [pytest.approx(-50)]
    assert sleeve.grain == pytest.approx(90)
    assert dict(sleeve.points) == {"notch": 1150 + 0j}
    assert sorted(m.shape for m in sleeve.marks) == ["dot", "line"]
    left_out = next(f for f in findings if f.code == "R305")
    assert "4 turn points" in left_out.what
    assert "1 validation curves" in left_out.what


def test_english_units_are_inches(tmp_path: Path) -> None:
    file = built(tmp_path / "a.dxf", lambda space: piece(space, "ENGLISH"), "R2000", 0)
    shapes, _, unit = read(file)
    assert unit == "in"
    assert shapes[0].path.length == pytest.approx(600 * 25.4)


def test_numbers_as_layers_alone_mean_nothing(tmp_path: Path) -> None:
    """A drawing whose layer 8 holds an outline is no exchange file."""

    def draw(space: Any) -> None:
        space.add_lwpolyline(OUTLINE, close=True, dxfattribs={"layer": "8"})

    shapes, _, _ = read(built(tmp_path / "a.dxf", draw))
    assert [s.role for s in shapes] == [None]


def test_a_mirror_line_opens_its_half(tmp_path: Path) -> None:
    """A quarter disc of radius 40 against its mirror line is a half disc, area pi 40^2 / 2."""

    def draw(space: Any) -> None:
        block = space.doc.blocks.new("YOKE")
        quarter = [(0, 0, 0), (40, 0, math.tan(math.pi / 8)), (0, 40, 0)]
        at = {"layer": "1"}
        block.add_polyline2d(quarter, format="xyb", close=True, dxfattribs=at)
        block.add_line((0, 0), (0, 40), dxfattribs={"layer": "6"})
        block.add_point((20, 0), dxfattribs={"layer": "4"})
        space.add_blockref("YOKE", (0, 0))

    shapes, _, _ = read(built(tmp_path / "a.dxf", draw, "R2000"))
    (half,) = sort_shapes(shapes, "a.dxf").pieces
    assert half.half == half.marks[0].name
    whole, told = altered(half, drawn="cut-line")
    assert told == []
    assert whole.outline.area == pytest.approx(800 * math.pi, rel=1e-12)
    assert whole.marks == ()
    assert whole.points["notch"] == pytest.approx(20)
    assert whole.points["notch'"] == pytest.approx(-20)
