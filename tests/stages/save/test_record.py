"""The record: what it says of pieces, sheets and files, and that it can be read back exactly."""

from __future__ import annotations

import cmath
import hashlib
import json
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import parse_path_data, split_wide_arcs
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.model import Copy, FileStyle, Opening, Piece, Placement, Program
from foamwright.record import Record, checksum_of
from foamwright.stages.save.dxf import dxf_text
from foamwright.stages.save.record import (
    file_entry,
    layout_summary,
    piece_entry,
    sheet_entry,
    total_time,
)
from foamwright.stages.save.svg import svg_text
from tests.stages.save.programs import piece, program

#: Relative error of a bulge after its arc was written as a radius.
BULGE_EPS = 1e-9


def record_of(made: Program, style: FileStyle) -> Record:
    texts = {"dxf": dxf_text(made, style), "svg": svg_text(made, style)}
    return Record(
        version="0",
        job="Füße & <b>",
        sheets=(sheet_entry(made, 2.0, (5.0, 5.0, 195.0, 115.0)),),
        pieces=tuple(piece_entry(p, 1) for p in made.sheet.placements),
        files=tuple(
            file_entry(f"job-1.{kind}", kind, made, style, text.encode())  # type: ignore[arg-type]
            for kind, text in texts.items()
        ),
        layout=layout_summary([made]),
        time_s=total_time([made]),
    )


RECORD = record_of(program(), FileStyle(dxf="r12", dxf_units="in", origin="centre"))


def test_a_sheet_tells_its_time_by_operation() -> None:
    times = (("CUT_SLIT", 2.50044), ("CUT_OUTER", 10.0))
    made = replace(program(), times=times)  # type: ignore[arg-type]
    entry = sheet_entry(made, 2.0, (5.0, 5.0, 195.0, 115.0))
    assert entry.times_s == {"CUT_SLIT": 2.5, "CUT_OUTER": 10.0}
    assert list(entry.times_s) == ["CUT_SLIT", "CUT_OUTER"]


def test_a_record_is_read_back_as_it_was() -> None:
    text = RECORD.to_text()
    again = Record.model_validate_json(text)
    assert again.model_copy(update={"checksum": ""}) == RECORD
    assert again.to_text() == text
    assert text.endswith("}\n")
    assert "\r" not in text


def test_the_checksum_is_over_all_but_itself() -> None:
    data = json.loads(RECORD.to_text())
    bare = {k: v for k, v in data.items() if k != "checksum"}
    plain = json.dumps(bare, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert data["checksum"] == hashlib.sha256(plain.encode()).hexdigest()
    assert checksum_of(data) == data["checksum"]


def _leaves(data: object, at: tuple[object, ...] = ()) -> list[tuple[object, ...]]:
    if isinstance(data, dict):
        return [k for key, v in data.items() for k in _leaves(v, (*at, key))]
    if isinstance(data, list) and data:
        return [k for i, v in enumerate(data) for k in _leaves(v, (*at, i))]
    return [at]


def test_any_change_shows_in_the_checksum() -> None:
    text = RECORD.to_text()
    whole = json.loads(text)
    places = [p for p in _leaves(whole) if p != ("checksum",)]
    assert len(places) > 100
    for place in places:
        data = json.loads(text)
        inner = data
        for key in place[:-1]:
            inner = inner[key]
        inner[place[-1]] = "changed"
        assert checksum_of(data) != whole["checksum"], place


def test_a_checksum_of_letters_that_are_none() -> None:
    assert len(checksum_of({"layout": {"x": "\ud800"}})) == 64


def test_numbers_that_are_none_are_not_written() -> None:
    broken = RECORD.model_copy(update={"time_s": math.nan})
    with pytest.raises(ValueError, match="JSON"):
        broken.to_text()


def test_unknown_keys_are_refused() -> None:
    data = json.loads(RECORD.to_text())
    data["more"] = 1
    with pytest.raises(ValidationError, match="more"):
        Record.model_validate(data)


def test_files_are_told_with_unit_origin_layers_and_hash() -> None:
    dxf, svg = RECORD.files
    made, style = program(), FileStyle(dxf="r12", dxf_units="in", origin="centre")
    assert (dxf.format, dxf.version, dxf.unit, dxf.scale) == ("dxf", "r12", "in", 25.4)
    assert dxf.origin == (100.0, 60.0)
    assert (svg.format, svg.version, svg.unit, svg.scale) == ("svg", "1.1", "mm", 1.0)
    assert svg.origin == (0.0, 120.0)  # the far left corner
    assert dxf.sha256 == hashlib.sha256(dxf_text(made, style).encode()).hexdigest()
    assert svg.sha256 == hashlib.sha256(svg_text(made, style).encode()).hexdigest()
    assert list(dxf.layers) == [c.operation for c in made.cuts]
    assert [(c.copy_name, c.contour, c.operation) for c in svg.contours] == [
        (c.copy, c.contour, c.operation) for c in made.cuts
    ]
    assert dxf.tool["method"] == "laser"
    assert dxf.tool["applies"] == []


def test_layers_are_those_in_the_file() -> None:
    style = FileStyle(layers={"CUT_OUTER": "THROUGH"}, writes=("CHECK", "TEXT"))
    entry = file_entry("x.svg", "svg", program(), style, b"")
    assert entry.layers["CUT_OUTER"] == "THROUGH"
    assert list(entry.layers)[-2:] == ["TEXT", "CHECK"]
    small = file_entry("x.svg", "svg", program(size=(100.0, 60.0)), style, b"")
    assert "CHECK" not in small.layers  # no room for the line


def test_the_sheet_s_sizes() -> None:
    made = program()
    (sheet,) = RECORD.sheets
    assert (sheet.width, sheet.length, sheet.thickness) == (200.0, 120.0, 2.0)
    # the tab: 60 x 30 box, half a disc of radius 15, less an eye of radius 5
    area = 60 * 30 + math.pi * 15**2 / 2 - math.pi * 5**2
    assert sheet.density == pytest.approx(area / (200 * 120), abs=1e-6)
    assert sheet.used_length_mm == 50.0
    two = replace(made, sheet=replace(made.sheet, width=400.0))
    summary = layout_summary([made, two])
    assert summary["sheets"] == 2
    assert summary["used_length_mm"] == 100.0
    assert summary["density"] == pytest.approx(2 * area / (600 * 120), abs=1e-6)
    assert total_time([made, made]) == 25.0


def test_a_piece_is_told_as_it_lies() -> None:
    made = piece("sole")
    placed = Placement(Copy("sole/mirrored/1", "sole", made, True, "card", "b"), 90.0, 100.0, 7.5)
    entry = piece_entry(placed, 3)
    assert (entry.name, entry.copy_name, entry.mirrored, entry.sheet) == (
        "sole",
        "sole/mirrored/1",
        True,
        3,
    )
    assert (entry.rotation, entry.x, entry.y) == (90.0, 100.0, 7.5)
    outline, eye = parse_path_data(entry.target)
    # a quarter turn about the origin takes (20, 20) to (-20, 20), then it is moved
    assert outline.start == pytest.approx(80 + 27.5j, abs=1e-12)
    assert eye.area == pytest.approx(-math.pi * 25, rel=1e-12)
    assert len(entry.slits) == 1
    assert [len(parse_path_data(m)) for m in entry.marks] == [2, 1]


POINTS = st.complex_numbers(max_magnitude=1500, allow_nan=False, allow_infinity=False)
#: Bulges of arcs up to 350 degrees, none so flat that it is a line.
BULGES = st.floats(1e-6, math.tan(math.radians(350) / 4)).flatmap(
    lambda b: st.sampled_from([b, -b])
)


@st.composite
def outlines(draw: st.DrawFn) -> Path:
    """Closed chains of lines, arcs and cubics, whether or not they cross themselves."""
    spots = draw(st.lists(POINTS, min_size=3, max_size=6, unique_by=lambda p: round(abs(p), 3)))
    made: list[Segment] = []
    for a, b in zip(spots, [*spots[1:], spots[0]], strict=True):
        kind = draw(st.sampled_from(["line", "arc", "cubic"]))
        if kind == "line":
            made.append(Line(a, b))
        elif kind == "arc":
            made.append(Arc(a, b, draw(BULGES)))
        else:
            made.append(Cubic(a, draw(POINTS), draw(POINTS), b))
    return Path(tuple(made), True)


def assert_same(found: Path, wanted: Path) -> None:
    """Every digit of every point the same; arcs as bent to BULGE_EPS."""
    assert found.closed == wanted.closed
    assert len(found.segments) == len(wanted.segments)
    for a, b in zip(found.segments, wanted.segments, strict=True):
        assert type(a) is type(b)
        assert (a.start, a.end) == (b.start, b.end)
        if isinstance(a, Arc) and isinstance(b, Arc):
            assert a.bulge == pytest.approx(b.bulge, rel=BULGE_EPS)
        elif isinstance(a, Cubic) and isinstance(b, Cubic):
            assert (a.control1, a.control2) == (b.control1, b.control2)


@settings(derandomize=True, deadline=None, max_examples=80)
@given(outlines(), outlines(), st.floats(-360, 360), POINTS)
def test_targets_are_read_back_exactly(
    outline: Path, opening: Path, turn: float, move: complex
) -> None:
    made = Piece("p", outline, (Opening("o", opening),))
    copy = Copy("p/drawn/1", "p", made, False, "card", "bench")
    placed = Placement(copy, turn, move.real, move.imag)
    entry = piece_entry(placed, 1)
    first, second = parse_path_data(entry.target)
    assert_same(first, split_wide_arcs(placed.piece.outline))
    assert_same(second, split_wide_arcs(placed.piece.openings[0].path))


def test_a_joint_that_rounding_parted_gets_no_speck() -> None:
    start = 10 + 0j
    near = complex(math.nextafter(10.0, 11.0), 0.0)
    arcs = [Arc(start, -10 + 0j, 1.0), Arc(-10 + 0j, near, 1.0)]
    made = Piece("p", Path(tuple(arcs), True))
    placed = Placement(Copy("p/drawn/1", "p", made, False, "c", "b"), 0.0, 0.0, 0.0)
    (found,) = parse_path_data(piece_entry(placed, 1).target)
    assert len(found.segments) == 4
    assert found.corners == frozenset()
    assert cmath.isclose(found.end, start, abs_tol=1e-12)
