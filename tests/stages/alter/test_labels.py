"""Labels: what they say, that they keep their distance, and that they are never mirrored."""

from __future__ import annotations

import cmath
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.region import (
    covers,
    curve,
    distance,
    minus,
    region,
    touches_or_overlaps,
    union,
)
from foamwright.job_marks import PieceLabel
from foamwright.model import Copy, Mark, Piece, Slit
from foamwright.stages.alter import Face, Joint, alter, labelled, sticker_for
from foamwright.stages.alter.lettering import Word
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import TOLERANCE, drafts

FRONT = Face(back=False, drawn=True)
BACK = Face(back=True, drawn=True)
#: Flattening of outlines in these tests and in the search, mm.
ROUND = 0.03
ALLOWED: dict[str, Any] = {
    "allowance": {"default": 6},
    "edges": {"bottom": ("1", "2"), "side": ("2", "3")},
}


def label(
    part: Piece,
    keys: dict[str, Any] | None = None,
    joints: Sequence[Joint] = (),
    face: Face = FRONT,
    mirrored: bool = False,
    hand: str | None = None,
    **asked: Any,
) -> tuple[Piece, Copy, tuple[Finding, ...]]:
    """The piece in front of the label, the labelled copy, and what was found."""
    drawn, _ = drafts(part, **asked)
    target, _ = alter(drawn, TOLERANCE)
    laid = target.transformed(Affine.mirror_x()) if mirrored != face.back else target
    copy = Copy("part/x/1", "part", laid, mirrored, "foam", "table")
    made, found = labelled(copy, drawn.pattern, PieceLabel(**keys or {}), hand, joints, face)
    return laid, made, found


def lettered(made: Copy) -> dict[str, tuple[Path, ...]]:
    return {m.name: m.paths for m in made.piece.marks if m.shape == "label"}


def turns(strokes: Sequence[Path]) -> list[float]:
    """The turn at each joint of each stroke, which only a mirror image changes, degrees."""
    found = []
    for stroke in strokes:
        ends = [s.end - s.start for s in stroke.segments]
        found += [cmath.phase(b / a) for a, b in pairwise(ends)]
    return found


def gap_to_edges(strokes: Sequence[Path], *edges: Path) -> float:
    lines = union([curve(p, ROUND) for p in edges])
    return min(distance(curve(s, ROUND), lines) for s in strokes)


@pytest.mark.parametrize(
    ("hand", "mirrored", "face", "text"),
    [
        ("left", False, FRONT, "PART L FRONT"),
        ("left", True, FRONT, "PART R FRONT"),
        ("right", True, BACK, "PART L BACK"),
        (None, False, BACK, "PART BACK"),
    ],
)
def test_it_says_piece_hand_and_face_and_is_never_mirrored(
    hand: str | None, mirrored: bool, face: Face, text: str
) -> None:
    part = piece("part", rectangle(140, 90))
    _, made, found = label(part, face=face, mirrored=mirrored, hand=hand, **ALLOWED)
    assert not found
    strokes = lettered(made)["label"]
    assert turns(strokes) == pytest.approx(turns(Word.of(text, 3.0).straight()), abs=1e-6)
    mirror = [s.transformed(Affine.mirror_x()) for s in strokes]
    assert turns(mirror) != pytest.approx(turns(strokes), abs=1e-3)


def test_in_the_allowance_it_keeps_off_the_cut_line_and_the_stitch_line() -> None:
    laid, made, _ = label(piece("part", rectangle(140, 90)), {"keep": 1.2}, **ALLOWED)
    strokes = lettered(made)["label"]
    assert laid.stitch is not None
    band = minus(region(laid.outline), region(laid.stitch))
    assert all(covers(band, curve(s, ROUND)) for s in strokes)
    assert gap_to_edges(strokes, laid.outline, laid.stitch) >= 1.2 - ROUND


def test_beside_a_named_edge() -> None:
    _, made, _ = label(piece("part", rectangle(140, 90)), {"edge": "side"}, **ALLOWED)
    assert all(p.start.real > 140 for p in lettered(made)["label"])


def test_on_the_face_it_keeps_off_edges_openings_and_other_marks() -> None:
    part = piece("part", rectangle(60, 40), [Path.circle(30 + 20j, 8)])
    cross = Path.polygon([5 + 30j, 55 + 30j], closed=False)
    part = replace(
        part,
        marks=(Mark("line", "line", 5 + 30j, (cross,)),),
        slits=(Slit("slit", Path.polygon([20 + 2j, 20 + 9j], closed=False)),),
    )
    laid, made, found = label(part, {"on": "face", "keep": 3})
    assert not found
    strokes = lettered(made)["label"]
    assert gap_to_edges(strokes, laid.outline, laid.openings[0].path) >= 3 - ROUND
    others = [*laid.marks[0].paths, laid.slits[0].path]
    assert gap_to_edges(strokes, *others) >= 1 - ROUND


def test_joint_numbers_stand_beside_their_edges() -> None:
    joints = [Joint(6, "bottom"), Joint(12, "side")]
    laid, made, found = label(piece("part", rectangle(140, 90)), joints=joints, **ALLOWED)
    assert not found
    letters = lettered(made)
    bottom, side = letters["joint-6-bottom"], letters["joint-12-side"]
    assert turns(bottom) == pytest.approx(turns(Word.on_bar("6", 3.0).straight()), abs=1e-6)
    assert all(-6 < p.start.imag < 0 and abs(p.start.real - 70) < 5 for p in bottom)
    assert all(140 < p.start.real < 146 and abs(p.start.imag - 45) < 5 for p in side)
    everything = [p for paths in letters.values() for p in paths]
    assert laid.stitch is not None
    assert gap_to_edges(everything, laid.outline, laid.stitch) >= 1 - ROUND


def test_the_same_edge_bears_its_number_on_the_mirror_image() -> None:
    joints = [Joint(3, "side")]
    part = piece("part", rectangle(140, 90))
    _, made, _ = label(part, joints=joints, mirrored=True, hand="left", **ALLOWED)
    strokes = lettered(made)["joint-3-side"]
    assert all(-146 < p.start.real < -140 for p in strokes)
    assert turns(strokes) == pytest.approx(turns(Word.on_bar("3", 3.0).straight()), abs=1e-6)


def test_a_number_beside_an_opening_lies_in_the_opening_s_allowance() -> None:
    part = piece("part", rectangle(140, 90), [Path.circle(70 + 45j, 20)])
    asked = {"allowance": {"default": 6, "opening-1": 6}}
    laid, made, found = label(part, joints=[Joint(2, "opening-1")], **asked)
    assert not found
    strokes = lettered(made)["joint-2-opening-1"]
    assert all(
        14 + 0.9 < abs(p.point_at(s) - (70 + 45j)) < 20 - 0.9 for p in strokes for s in (0, 9)
    )
    assert gap_to_edges(strokes, laid.openings[0].path) >= 1 - ROUND


@pytest.mark.parametrize(
    ("keys", "asked"),
    [
        ({"height": 4.5}, ALLOWED),
        ({"keep": 2}, ALLOWED),
        ({}, {}),
        ({"text": "longer than all sides " * 5}, ALLOWED),
        ({"on": "face", "height": 40}, {}),
    ],
)
def test_what_finds_no_room_is_left_out_and_told(
    keys: dict[str, Any], asked: dict[str, Any]
) -> None:
    _, made, (found,) = label(piece("part", rectangle(60, 40)), keys, **asked)
    assert (found.code, found.is_fault) == ("A341", False)
    assert not lettered(made)


def test_letters_that_have_no_strokes_are_refused() -> None:
    _, made, (found,) = label(piece("part", rectangle(60, 40)), {"text": "крыло"}, **ALLOWED)
    assert (found.code, found.is_fault) == ("A342", True)
    assert not lettered(made)


def test_what_would_be_cut_through_is_left_out_and_what_would_be_seen_refused() -> None:
    part = piece("part", rectangle(60, 40))
    _, made, (found,) = label(part, face=Face(back=False, drawn=False), **ALLOWED)
    assert (found.code, found.is_fault) == ("A343", False)
    assert not lettered(made)
    _, _, (found,) = label(part, {"on": "hidden"})
    assert (found.code, found.is_fault) == ("A343", True)
    _, made, found_none = label(part, {"on": "hidden"}, face=BACK)
    assert not found_none
    assert lettered(made)


def test_none_is_asked_for() -> None:
    laid, made, found = label(piece("part", rectangle(60, 40)), {"on": "none"}, **ALLOWED)
    assert (made.piece, found) == (laid, ())


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.floats(30, 60), st.floats(-0.25, 0.25)), min_size=5, max_size=9),
    st.booleans(),
    st.sampled_from(["allowance", "face"]),
    st.floats(0.3, 2.0),
)
def test_whatever_the_outline_letters_lie_inside_at_their_distance(
    corners: list[tuple[float, float]], mirrored: bool, on: str, keep: float
) -> None:
    n = len(corners)
    outline = Path.polygon(
        [r * cmath.exp(2j * cmath.pi * (k + lean) / n) for k, (r, lean) in enumerate(corners)]
    )
    part = piece("part", outline)
    joints = [Joint(9, "edge")]
    asked = {"allowance": {"default": 7}, "edges": {"edge": ("1", "2")}}
    laid, made, _ = label(
        part, {"on": on, "keep": keep}, joints, mirrored=mirrored, hand="left", **asked
    )
    assert laid.stitch is not None
    for strokes in lettered(made).values():
        face = region(laid.outline)
        lines = [laid.outline, laid.stitch] if on == "allowance" else [laid.outline]
        assert all(touches_or_overlaps(face, curve(s, ROUND)) for s in strokes)
        assert gap_to_edges(strokes, *lines) >= keep - ROUND
        inside = region(laid.stitch)
        if on == "allowance":
            assert not any(touches_or_overlaps(inside, curve(s, ROUND)) for s in strokes)
    marks = [union([curve(p, ROUND) for p in paths]) for paths in lettered(made).values()]
    if len(marks) == 2:
        assert distance(*marks) >= 1 - ROUND


def test_a_printed_label_says_piece_hand_face_and_joints() -> None:
    part = piece("part", rectangle(60, 40))
    joints = [Joint(2, "hem"), Joint(5, "side'")]
    for mirrored, hand in ((False, "left"), (True, "right")):
        copy = Copy("part/x/1", "part", part, mirrored, "foam", "table")
        told = sticker_for(copy, PieceLabel(), "left", joints, back=mirrored)
        face = "back" if mirrored else "front"
        assert told == (
            f"part, {hand}",
            f"cut with its {face} up",
            "hem to joint 2",
            "side' to joint 5",
        )
    plain = sticker_for(copy, PieceLabel(text="крыло", joints=False), None, joints, back=False)
    assert plain == ("крыло", "cut with its front up")
