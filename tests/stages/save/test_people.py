"""What is written for people: the check line in the scrap and within reach, names inside pieces."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.path import Path
from foamwright.model import Copy, Cut, FileStyle, Piece, Placement, Program, Sheet, Stock, Tool
from foamwright.stages.save.people import (
    CHECK_GAP,
    CHECK_LENGTH,
    LONGEST_NAME,
    check_line,
    labels,
    lines_for_people,
)
from tests.pieces import rectangle
from tests.stages.save.programs import program

Margins = tuple[float, float, float, float]


def sheet_with(
    boxes: list[tuple[float, float, float, float]], size: tuple[float, float]
) -> Program:
    """A sheet with upright boxes (x, y, width, height), cut along their edges."""
    placed, cuts = [], []
    for k, (x, y, w, h) in enumerate(boxes):
        made = Piece(f"p{k}", rectangle(w, h, complex(x, y)))
        name = f"p{k}/drawn/1"
        placed.append(Placement(Copy(name, made.name, made, False, "c", "b"), 0.0, 0.0, 0.0))
        cuts.append(Cut(name, "outline", "CUT_OUTER", made.outline))
    sheet = Sheet(1, Stock("c", "sheet", *size), "b", *size, tuple(placed))
    return Program(sheet, Tool("laser"), tuple(cuts), 1.0)


SIDES = st.floats(5, 80)
PLACES = st.floats(0, 300)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    st.lists(st.tuples(PLACES, PLACES, SIDES, SIDES), max_size=12),
    st.tuples(*[st.floats(0, 30)] * 4),
)
def test_the_check_line_lies_in_the_scrap_and_within_the_margins(
    boxes: list[tuple[float, float, float, float]], margins: Margins
) -> None:
    made = sheet_with(boxes, (380.0, 380.0))
    line = check_line(made, margins)
    if line is None:
        return
    assert line.length == pytest.approx(CHECK_LENGTH, abs=1e-9)
    x0, y0, x1, y1 = line.bounds
    assert x0 == x1 or y0 == y1
    left, right, near, far = margins
    assert x0 >= left + CHECK_GAP - 1e-9
    assert y0 >= near + CHECK_GAP - 1e-9
    assert x1 <= 380 - right - CHECK_GAP + 1e-9
    assert y1 <= 380 - far - CHECK_GAP + 1e-9
    drawn = shapely.LineString([(x0, y0), (x1, y1)])
    for x, y, w, h in boxes:
        assert shapely.distance(drawn, shapely.box(x, y, x + w, y + h)) >= CHECK_GAP - 0.1


@pytest.mark.parametrize(
    ("size", "room"),
    [((104.0, 4.0), True), ((103.9, 4.0), False), ((4.0, 104.0), True), ((3.9, 104.0), False)],
)
def test_a_sheet_just_large_enough(size: tuple[float, float], room: bool) -> None:
    assert (check_line(sheet_with([], size)) is not None) == room


def test_where_no_row_has_room_a_column_takes_it() -> None:
    line = check_line(sheet_with([(20, 0, 70, 200)], (110.0, 200.0)))
    assert line is not None
    assert line.bounds == (2.0, 2.0, 2.0, 102.0)


def test_a_full_sheet_has_none() -> None:
    assert check_line(sheet_with([(1, 1, 198, 198)], (200.0, 200.0))) is None


def test_margins_push_it_in() -> None:
    line = check_line(sheet_with([], (300.0, 200.0)), (20.0, 5.0, 10.0, 5.0))
    assert line is not None
    assert line.bounds == (22.0, 12.0, 122.0, 12.0)


def test_it_keeps_off_cuts_in_the_scrap() -> None:
    made = sheet_with([(50, 100, 50, 50)], (200.0, 200.0))
    lead = Cut("p0/drawn/1", "outline", "CUT_OUTER", Path.polygon([60 + 0j, 60 + 100j], False))
    line = check_line(replace(made, cuts=(*made.cuts, lead)))
    assert line is not None
    assert line.bounds[0] >= 62 - 1e-3


def test_only_what_the_style_writes() -> None:
    made = program()
    assert lines_for_people(made, FileStyle()) == {}
    assert list(lines_for_people(made, FileStyle(writes=("CHECK", "STOCK")))) == ["STOCK", "CHECK"]
    moved = FileStyle(writes=("CHECK",), margins=(10.0, 10.0, 5.0, 5.0))
    assert lines_for_people(made, moved)["CHECK"].start == 12 + 7j


def test_names_stand_inside_their_pieces_and_not_in_an_opening() -> None:
    made = program(("one/drawn/1", "two/drawn/1"), (200, 180))
    found = list(labels(made))
    assert [x.text for x in found] == ["one/drawn/1", "two/drawn/1"]
    for label, placed in zip(found, made.sheet.placements, strict=True):
        rings = [placed.piece.outline, *(o.path for o in placed.piece.openings)]
        outer, *holes = ([(z.real, z.imag) for z in r.flatten(0.01)] for r in rings)
        inside = shapely.Polygon(outer, holes)
        assert inside.contains(shapely.Point(label.at.real, label.at.imag))


def test_long_names_are_cut_off() -> None:
    (label,) = labels(program(("x" * 500,)))
    assert label.text == "x" * LONGEST_NAME
