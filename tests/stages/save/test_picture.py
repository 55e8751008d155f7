"""The picture of a sheet: it shows the target where it lies, and its words inside the pieces."""

from __future__ import annotations

from dataclasses import replace
from xml.etree.ElementTree import Element, fromstring

import numpy as np
import pytest

from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import parse_path_data
from foamwright.geometry.region import boundary, contains, distance, point, polygon, region
from foamwright.model import OPERATIONS, Opening, Piece, Program
from foamwright.stages.save.picture import (
    DASHES,
    Look,
    edges_of,
    legend_line,
    operations_of,
    page_scale,
    roomiest,
    sheet_picture,
    spans,
    thumbnail,
    widest_place,
)

from .sheet_sample import sample

NS = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def program() -> Program:
    return sample()[1][0]


def drawn(program: Program, **look: object) -> Element:
    plain = Look("sheet-1", (10.0, 10.0, 990.0, 790.0))
    return fromstring(sheet_picture(program, replace(plain, **look)))  # type: ignore[arg-type]


def of_class(root: Element, name: str) -> list[Element]:
    return [e for e in root.iter() if name in (e.get("class") or "").split()]


def test_pieces_are_drawn_where_they_lie(program: Program) -> None:
    root = drawn(program)
    (group,) = [e for e in root.iter(f"{NS}g") if e.get("id") == "sheet-1-drawn"]
    assert group.get("transform") == "matrix(1 0 0 -1 0 800)"
    bodies = of_class(root, "piece")
    for body, placed in zip(bodies, program.sheet.placements, strict=True):
        outline, eye = parse_path_data(body.get("d", ""))
        assert outline.bounds == pytest.approx(placed.piece.outline.bounds, abs=0.01)
        assert outline.area == pytest.approx(placed.piece.outline.area, rel=1e-3)
        assert eye.area == pytest.approx(placed.piece.openings[0].path.area, rel=1e-3)


def test_each_contour_is_drawn_as_its_operation(program: Program) -> None:
    root = drawn(program)
    count = {o: len(of_class(root, o)) for o in OPERATIONS}
    pieces = len(program.sheet.placements)
    assert count == {
        "PEN": 2 * pieces, "SCORE": 0, "HOLE": 0,
        "CUT_SLIT": pieces, "CUT_INNER": pieces, "CUT_OUTER": pieces,
    }  # fmt: skip
    assert of_class(root, "uncut") == []


def test_what_no_tool_cuts_is_shown_as_such(program: Program) -> None:
    cuts = tuple(c for c in program.cuts if c.operation != "PEN")
    root = drawn(replace(program, cuts=cuts))
    assert len(of_class(root, "uncut")) == 2 * len(program.sheet.placements)


def test_operations_are_told_apart_without_colour() -> None:
    dashes = [fromstring(legend_line(o))[0].get("stroke-dasharray") for o in OPERATIONS]
    assert len(set(dashes)) == len(OPERATIONS)
    assert dashes[OPERATIONS.index("CUT_OUTER")] is None
    assert set(DASHES) == {*OPERATIONS, "offcut"} - {"CUT_OUTER"}


def test_contours_are_numbered_in_cutting_order_at_their_starts(program: Program) -> None:
    root = drawn(program)
    numbers = [e.text for e in of_class(root, "order")]
    contours = list(dict.fromkeys((c.copy, c.contour) for c in program.cuts))
    assert numbers == [str(i) for i in range(1, len(contours) + 1)]
    last = of_class(root, "start")[-1]
    start = program.cuts[-1].path.start
    assert float(last.get("cx", "")) == pytest.approx(start.real, abs=0.01)
    assert float(last.get("cy", "")) == pytest.approx(800 - start.imag, abs=0.01)


def test_numbers_lie_inside_their_pieces(program: Program) -> None:
    root = drawn(program)
    for label, placed in zip(of_class(root, "number"), program.sheet.placements, strict=True):
        inside = region(placed.piece.outline, (o.path for o in placed.piece.openings))
        at = complex(float(label.get("x", "")), 800 - float(label.get("y", "")))
        assert contains(inside, at)


def test_a_name_is_written_only_where_it_fits(program: Program) -> None:
    root = drawn(program)
    assert [e.text for e in of_class(root, "name")] == [
        p.copy.name for p in program.sheet.placements
    ]
    first = program.sheet.placements[0]
    long = replace(first, copy=replace(first.copy, name="a name that no piece has room for"))
    sheet = replace(program.sheet, placements=(long,))
    assert of_class(drawn(replace(program, sheet=sheet)), "name") == []


def letter_l() -> Piece:
    corners = [0, 90, 90 + 30j, 30 + 30j, 30 + 80j, 80j]
    hole = Opening("o", Path.circle(15 + 15j, 8).reversed())
    return Piece("l", Path.polygon([complex(c) for c in corners]), (hole,))


@pytest.mark.parametrize("number", [0, 1, 2])
def test_labels_go_where_there_is_most_room(program: Program, number: int) -> None:
    """Against a grid over the piece: nowhere is there much more room."""
    pieces = [letter_l(), program.sheet.placements[0].piece, program.sheet.placements[1].piece]
    piece = pieces[number]
    inside = region(piece.outline, (o.path for o in piece.openings))
    edge = boundary(inside)
    x0, y0, x1, y1 = piece.outline.bounds
    grid = [complex(x, y) for x in np.linspace(x0, x1, 40) for y in np.linspace(y0, y1, 40)]
    best = max(distance(point(p), edge) for p in grid if contains(inside, p))
    at = roomiest(inside)
    assert contains(inside, at)
    assert distance(point(at), edge) >= 0.9 * best


def test_the_widest_place_for_a_name() -> None:
    l_shape = polygon([0, 90, 90 + 30j, 30 + 30j, 30 + 80j, 80j])
    at, room = widest_place(l_shape, 6.0)
    assert (at.real, room) == (pytest.approx(45), pytest.approx(90))
    assert 3 <= at.imag <= 27
    _, room = widest_place(l_shape, 40.0)
    assert room == pytest.approx(30)
    assert widest_place(l_shape, 100.0)[1] == 0
    square = polygon([0, 40, 40 + 40j, 40j])
    assert widest_place(square, 5.0) == (pytest.approx(20 + 20j), pytest.approx(40))


def test_spans_leave_openings_out() -> None:
    piece = letter_l()
    inside = region(piece.outline, (o.path for o in piece.openings))
    assert spans(edges_of(inside), 15.0) == [
        pytest.approx((0, 7), abs=0.01),
        pytest.approx((23, 90), abs=0.01),
    ]
    assert spans(edges_of(inside), 200.0) == []


@pytest.mark.parametrize(
    ("nap", "stretch", "barbs"),
    [
        ("none", "none", []),
        ("one-way", "none", [1]),
        ("none", "across", [2]),
        ("none", "both", [2, 2]),
        ("one-way", "along", [1, 2]),
    ],
)
def test_arrows_for_nap_and_stretch(
    program: Program, nap: str, stretch: str, barbs: list[int]
) -> None:
    """Nap points one way, up the sheet; stretch both ways."""
    root = drawn(program, nap=nap, stretch=stretch)
    arrows = of_class(root, "arrow")
    assert [a.get("d", "").count("M") - 1 for a in arrows] == barbs
    if nap == "one-way":
        tail, tip = arrows[0].get("d", "").split("M")[1].split("L")
        assert float(tip.split()[1]) < float(tail.split()[1])


def test_the_files_zero_is_marked(program: Program) -> None:
    (mark,) = of_class(drawn(program, zero=1000 + 800j), "zero")
    arms = parse_path_data(mark.get("d", ""))
    middle = [(p.start + p.end) / 2 for p in arms]
    assert middle == pytest.approx([1000 + 0j, 1000 + 0j], abs=0.02)


def test_names_are_text(program: Program) -> None:
    first = program.sheet.placements[0]
    for name in ("<b>&\"'", "]]>", "\x00\x1b\u202e"):
        named = replace(first, copy=replace(first.copy, name=name))
        root = drawn(replace(program, sheet=replace(program.sheet, placements=(named,))))
        assert not list(root.iter("b"))
        shown = "\\x00\\x1b\\x202e" if name[0] == "\x00" else name
        assert shown in (root.findtext(f"{NS}title") or "")


def test_sizes_follow_the_page_not_the_stock(program: Program) -> None:
    assert page_scale(147, 10) == pytest.approx(1.0)
    assert page_scale(294, 10) == pytest.approx(2.0)
    assert page_scale(10, 344) == pytest.approx(2.0)
    assert operations_of(program) == ("PEN", "CUT_SLIT", "CUT_INNER", "CUT_OUTER")


def test_a_thumbnail_uses_the_picture(program: Program) -> None:
    small = fromstring(thumbnail(program, "sheet-1"))
    assert small[0].get("href") == "#sheet-1-drawn"
    assert small.get("viewBox") == "0 0 1000 800"
