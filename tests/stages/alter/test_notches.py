"""Notches in the allowance, marks where there is none, reliefs in foam, marks on the face."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from foamwright.geometry.path import Path
from foamwright.model import Mark
from tests.pieces import piece, rectangle, square
from tests.stages.alter.test_alter import codes, made

EDGES = {"bottom": ("1", "2"), "side": ("2", "3")}


def test_a_v_notch_takes_its_triangle_out_of_the_allowance() -> None:
    part = piece("part", rectangle(100, 60))
    plain = made(part, allowance={"default": 6})
    notched = made(
        part,
        allowance={"default": 6},
        edges=EDGES,
        notch=({"edge": "bottom", "at": "50 %", "shape": "v", "depth": 4, "width": 3},),
    )
    assert plain.outline.area - notched.outline.area == pytest.approx(4 * 3 / 2, abs=1e-6)
    low = min(notched.outline.corner_points(), key=lambda p: abs(p - (50 - 2j)))
    assert low == pytest.approx(50 - 2j, abs=1e-9)


@pytest.mark.parametrize(("shape", "taken"), [("castle", 3 * 2), ("u", 2 * 2 + math.pi / 2)])
def test_a_shaped_notch_takes_out_its_area(shape: str, taken: float) -> None:
    part = piece("part", rectangle(100, 60))
    plain = made(part, allowance={"default": 6})
    notch = {"edge": "bottom", "at": "30 mm", "shape": shape, "depth": 3, "width": 2}
    notched = made(part, allowance={"default": 6}, edges=EDGES, notch=(notch,))
    assert plain.outline.area - notched.outline.area == pytest.approx(taken, abs=1e-6)


def test_a_slit_notch_starts_on_the_cut_line_and_stays_in_the_allowance() -> None:
    notch = {"edge": "bottom", "at": "25 mm", "shape": "slit", "depth": 4}
    target = made(
        piece("part", rectangle(100, 60)), allowance={"default": 6}, edges=EDGES, notch=(notch,)
    )
    slit = target.slits[0].path
    assert slit.start == pytest.approx(25 - 6j, abs=1e-6)
    assert slit.end == pytest.approx(25 - 2j, abs=1e-6)


def test_without_an_allowance_a_notch_is_a_mark_on_the_face() -> None:
    notch = {"edge": "bottom", "at": "25 mm", "shape": "v", "depth": 4}
    part = piece("part", rectangle(100, 60))
    target = made(part, edges=EDGES, notch=(notch,))
    assert target.outline == part.outline
    assert [m.shape for m in target.marks] == ["notch"]
    assert codes(part, edges=EDGES, notch=(notch,)) == ["A305"]


def test_a_notch_as_deep_as_the_allowance_is_refused() -> None:
    notch = {"edge": "bottom", "at": "25 mm", "depth": 6}
    part = piece("part", rectangle(100, 60))
    assert codes(part, allowance={"default": 6}, edges=EDGES, notch=(notch,)) == ["A304"]


def test_a_relief_over_a_corner_is_refused() -> None:
    relief = {"edge": "side", "at": "100 %", "depth": 4, "width": 4}
    assert codes(piece("part", square(60)), edges=EDGES, relief=(relief,)) == ["A306"]


def test_a_notch_on_an_edge_that_is_not_there_is_named() -> None:
    notch = {"edge": "hem", "at": "25 mm", "depth": 4}
    assert codes(piece("part", square(50)), allowance={"default": 6}, notch=(notch,)) == ["A303"]


def test_overlapping_notches_are_refused() -> None:
    notches = ({"edge": "bottom", "at": "25 mm"}, {"edge": "bottom", "at": "27 mm"})
    part = piece("part", rectangle(100, 60))
    assert codes(part, allowance={"default": 6}, edges=EDGES, notch=notches) == ["A308"]


def test_knee_reliefs_are_cut_from_both_sides_of_foam() -> None:
    edges = {"right": ("2", "3"), "left": ("4", "1")}
    reliefs = tuple(
        {"edge": e, "at": "50 %", "depth": 25.4, "width": 20} for e in ("right", "left")
    )
    target = made(piece("part", rectangle(88.9, 330)), edges=edges, relief=reliefs)
    # common practice, no source: a knee notch about 1 in deep from each side
    assert target.outline.area == pytest.approx(88.9 * 330 - 2 * 25.4 * 20 / 2, abs=1e-6)
    tips = [p for p in target.outline.corner_points() if abs(p.imag - 165) < 1e-6]
    assert sorted(p.real for p in tips) == pytest.approx([25.4, 88.9 - 25.4])


def test_reliefs_that_meet_in_the_middle_are_refused() -> None:
    edges = {"right": ("2", "3"), "left": ("4", "1")}
    reliefs = tuple({"edge": e, "at": "50 %", "depth": 30, "width": 20} for e in edges)
    assert "A310" in codes(piece("part", rectangle(50, 330)), edges=edges, relief=reliefs)


def test_a_mark_keeps_its_size_and_moves_with_the_scale() -> None:
    mark = {"shape": "cross", "at": (20, 20), "size": 10, "keep": 8}
    target = made(piece("part", square(60)), 2.0, mark=(mark,))
    cross = target.marks[0]
    assert cross.at == 40 + 40j
    assert [p.length for p in cross.paths] == pytest.approx([10, 10])


@pytest.mark.parametrize("at", [(10, 30), (59, 30), (80, 30)])
def test_a_mark_too_near_an_edge_or_outside_is_refused(at: tuple[float, float]) -> None:
    mark = {"shape": "cross", "at": at, "size": 10, "keep": 8}
    assert codes(piece("part", square(60)), mark=(mark,)) == ["A302"]


def test_a_mark_too_near_an_opening_is_refused() -> None:
    mark = {"shape": "hole", "at": (30, 30), "size": 4, "keep": 5}
    part = piece("part", square(60), [Path.circle(40 + 30j, 5)])
    assert codes(part, mark=(mark,)) == ["A302"]


def test_a_mark_at_a_point_that_is_not_drawn_is_named() -> None:
    assert codes(piece("part", square(60)), mark=({"point": "toe"},)) == ["A301"]


def test_a_slit_notch_inside_another_notch_is_refused() -> None:
    notches = (
        {"edge": "bottom", "at": "50 mm", "shape": "v"},
        {"edge": "bottom", "at": "51 mm", "shape": "slit"},
    )
    part = piece("part", rectangle(100, 60))
    assert codes(part, allowance={"default": 6}, edges=EDGES, notch=notches) == ["A308"]


def test_two_slits_at_one_place_are_refused() -> None:
    slit = {"edge": "bottom", "at": "50 mm", "shape": "slit"}
    part = piece("part", rectangle(100, 60))
    assert codes(part, allowance={"default": 6}, edges=EDGES, notch=(slit, slit)) == ["A308"]


def test_a_t_notch_whose_bar_would_leave_the_piece_is_refused() -> None:
    notch = {"edge": "bottom", "at": "0 mm", "shape": "t", "width": 30}
    part = piece("part", rectangle(100, 60))
    assert codes(part, allowance={"default": 6}, edges=EDGES, notch=(notch,)) == ["A306"]


@pytest.mark.parametrize(
    ("edge", "at", "foot"),
    [("bottom", "0 %", -6j), ("left", "100 %", -6 + 0j), ("bottom", "100 %", 100 - 6j)],
)
def test_a_notch_at_an_edge_s_end_stands_square_to_that_edge(
    edge: str, at: str, foot: complex
) -> None:
    edges = {**EDGES, "left": ("4", "1")}
    notch = {"edge": edge, "at": at, "shape": "slit"}
    part = piece("part", rectangle(100, 60))
    target = made(part, allowance={"default": 6}, edges=edges, notch=(notch,))
    assert target.slits[0].path.start == pytest.approx(foot, abs=1e-4)


@pytest.mark.parametrize("depth", [60, 60.001, 90])
def test_a_relief_as_deep_as_the_piece_or_deeper_is_refused(depth: float) -> None:
    relief = {"edge": "bottom", "at": "50 %", "depth": depth, "width": 20}
    found = codes(piece("part", rectangle(100, 60)), edges=EDGES, relief=(relief,))
    assert set(found) == {"A310"}


@pytest.mark.parametrize(("height", "radius"), [(30, 12), (20, 3), (40, 10)])
def test_a_relief_into_an_opening_is_refused(height: float, radius: float) -> None:
    """It crosses the opening's edge, swallows it, or ends on it."""
    part = piece("part", rectangle(100, 60), [Path.circle(50 + 1j * height, radius)])
    relief = {"edge": "bottom", "at": "50 %", "depth": 30, "width": 30}
    assert codes(part, edges=EDGES, relief=(relief,)) == ["A314"]


def test_a_relief_through_a_drawn_mark_is_told() -> None:
    line = Path.polygon([40 + 10j, 60 + 10j], closed=False)
    part = piece("part", rectangle(100, 60))
    part = replace(part, marks=(Mark("fold", "line", 40 + 10j, (line,)),))
    relief = {"edge": "bottom", "at": "50 %", "depth": 20, "width": 10}
    assert codes(part, edges=EDGES, relief=(relief,)) == ["A315"]
    assert codes(part, edges=EDGES, relief=({**relief, "at": "80 %"},)) == []


def test_a_notch_s_mark_on_the_face_keeps_out_of_openings() -> None:
    part = piece("part", rectangle(100, 60), [Path.circle(50 + 8j, 4)])
    notch = {"edge": "bottom", "at": "50 %", "depth": 5}
    assert codes(part, edges=EDGES, notch=(notch,)) == ["A305", "A302"]


def test_a_notch_on_a_resized_cut_line_is_measured_along_its_stitch_line() -> None:
    """Scaled by 2, an allowance of 5 mm stays: the drawn 100 mm edge becomes 190 mm, its stitch
    line 180 mm.
    """
    part = piece("part", rectangle(100, 60, 10 + 20j))
    notch = {"edge": "bottom", "at": "50 mm", "shape": "slit"}
    keys = {"drawn": "cut-line", "allowance": {"default": 5}, "edges": EDGES}
    target = made(part, 2.0, **keys, notch=(notch,))
    low_x, low_y, high_x, high_y = target.outline.bounds
    assert (high_x - low_x, high_y - low_y) == pytest.approx((190, 110), abs=1e-6)
    assert target.slits[0].path.start == pytest.approx(complex(low_x + 55, low_y), abs=1e-6)
