"""Marks carried across pieces: laid on each other as told, a carried mark covers its original."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.job import Seam
from foamwright.job_marks import Registration
from foamwright.model import Mark, Piece
from foamwright.stages.alter.draft import Draft
from foamwright.stages.alter.marks import mark_at
from foamwright.stages.alter.pattern import Pattern, drafted
from foamwright.stages.alter.registered import along_seam, registered
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import spec

EDGES = {"bottom": ("1", "2"), "side": ("2", "3"), "top": ("3", "4"), "left": ("4", "1")}


def drawn(
    name: str, outline: Path, points: Mapping[str, complex], *marks: Mark, **keys: Any
) -> Draft:
    part = replace(piece(name, outline), points=MappingProxyType(dict(points)), marks=marks)
    asked = spec(name=name, edges=EDGES, **keys)
    return Draft(drafted(part, asked), asked, part)


def register(**keys: Any) -> Registration:
    return Registration.model_validate({"name": "r", "from": "sole", "to": "upper", **keys})


def carried(
    source: Draft, target: Draft, *seams: Seam, **keys: Any
) -> tuple[Pattern, tuple[Finding, ...]]:
    made, found = registered({"sole": source, "upper": target}, [register(**keys)], seams)
    return made["upper"].pattern, found


CROSS = mark_at("toe", "cross", 20 + 15j, 6.0, None)
ENDS = {"heel": 0 + 20j, "tip": 100 + 20j}
PAIRS = (("heel", "heel"), ("tip", "tip"))


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.floats(-180, 180), st.floats(-300, 300), st.booleans())
def test_laid_on_each_other_the_carried_mark_covers_its_original(
    degrees: float, shift: float, mirrored: bool
) -> None:
    """The upper is the sole turned, moved and, where it lies on its face, mirrored."""
    flip = Affine.scaling(1.0, -1.0) if mirrored else Affine()
    m = Affine.translation(complex(shift, 7)) @ Affine.rotation(degrees) @ flip
    whole = piece("sole", rectangle(100, 40))
    moved = whole.transformed(m)
    source = drawn("sole", whole.outline, ENDS, CROSS)
    target = drawn("upper", moved.outline, {n: m(p) for n, p in ENDS.items()})
    pattern, found = carried(source, target, at=PAIRS, face_to_face=mirrored)
    assert not found
    (mark,) = pattern.marks
    assert (mark.name, mark.shape) == ("r-toe", "cross")
    assert abs(mark.at - m(CROSS.at)) < 1e-9
    for path, original in zip(mark.paths, CROSS.paths, strict=True):
        assert abs(path.start - m(original.start)) < 1e-9
        assert abs(path.end - m(original.end)) < 1e-9


def test_where_the_faces_meet_the_mark_is_mirrored_and_else_not() -> None:
    """An L-shaped mark keeps its turn only where the pieces lie the same way up."""
    line = Path.polygon([20 + 10j, 30 + 10j, 30 + 14j], closed=False)
    ell = Mark("ell", "line", line.start, (line,))
    source = drawn("sole", rectangle(100, 40), ENDS, ell)
    target = drawn("upper", rectangle(100, 40), ENDS)
    for face_to_face, sign in ((False, 1), (True, -1)):
        pattern, _ = carried(source, target, at=PAIRS, face_to_face=face_to_face)
        a, b = (s.end - s.start for s in pattern.marks[0].paths[0].segments)
        assert math.copysign(1, cmath.phase(b / a)) == sign


def test_marks_of_the_job_are_carried_too_and_may_be_chosen() -> None:
    source = drawn(
        "sole", rectangle(100, 40), ENDS, CROSS, mark=({"at": (50, 20), "name": "rod", "size": 4},)
    )
    target = drawn("upper", rectangle(120, 60, -10 - 10j), ENDS)
    both, _ = carried(source, target, at=PAIRS)
    assert {m.name: m.at for m in both.marks} == {"r-toe": 20 + 15j, "r-rod": 50 + 20j}
    one, _ = carried(source, target, at=PAIRS, marks=("rod",))
    assert [m.name for m in one.marks] == ["r-rod"]


def test_along_a_seam_a_mark_meets_its_image_when_the_edges_are_sewn() -> None:
    """Sewn right sides together: 30 mm from one end and 5 deep, so 30 from the other's far end."""
    mark = mark_at("toe", "dot", 30 + 5j, 2.0, None)
    source = drawn("sole", rectangle(100, 40), {}, mark)
    target = drawn("upper", rectangle(60, 100, 200 + 0j), {})
    seam = Seam(name="s", joins=("sole.bottom", "upper.side"))
    pattern, found = carried(source, target, seam, seam="s")
    assert not found
    (made,) = pattern.marks
    assert made.at == pytest.approx(260 - 5 + 1j * (100 - 30))


def test_ease_along_a_seam_is_spread_evenly() -> None:
    mark = mark_at("toe", "dot", 25 + 5j, 2.0, None)
    source = drawn("sole", rectangle(100, 40), {}, mark)
    target = drawn("upper", rectangle(104, 40), {})
    seam = Seam(name="s", joins=("upper.top", "sole.bottom"), ease=4)
    pattern, _ = carried(source, target, seam, seam="s")
    assert pattern.marks[0].at == pytest.approx(0.25 * 104 + (40 - 5) * 1j)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.floats(0.05, 0.95), st.floats(0.2, 12), st.floats(-0.9, 0.9))
def test_carried_there_and_back_a_mark_is_where_it_was(
    share: float, deep: float, bulge: float
) -> None:
    """Along curved edges of one length, as a seam's are."""
    from foamwright.geometry.segments import line_or_arc

    first = Path.of([line_or_arc(0j, 80 + 0j, bulge / 4)], False)
    second = Path.of([line_or_arc(10j, 10j + first.length, 0.0)], False)
    s = share * first.length
    spot = first.point_at(s) + 1j * first.tangent_at(s) * deep
    there = along_seam(spot, first, second)
    across = there(spot)
    assert across == pytest.approx(complex(first.length - s, 10 + deep), abs=1e-6)
    assert along_seam(across, second, first)(across) == pytest.approx(spot, abs=1e-6)


@pytest.mark.parametrize(
    ("keys", "what"),
    [
        ({"at": (("heel", "heel"), ("tip", "nose"))}, "upper has no corner or point 'nose'"),
        ({"at": PAIRS, "marks": ("knee",)}, "sole has no mark 'knee'; its marks are toe"),
        ({"at": (("heel", "heel"), ("tip", "mid"))}, "100.00 mm apart on sole"),
        ({"at": (("heel", "heel"), ("heel", "heel"))}, "the two places are one"),
    ],
)
def test_what_can_t_be_carried_is_refused(keys: dict[str, Any], what: str) -> None:
    source = drawn("sole", rectangle(100, 40), ENDS, CROSS)
    target = drawn("upper", rectangle(100, 40), {**ENDS, "mid": 50 + 20j})
    _, (found,) = carried(source, target, **keys)
    assert (found.code, found.is_fault) == ("A344", True)
    assert what in found.what


def test_an_edge_of_the_seam_that_is_not_there_is_refused() -> None:
    source = drawn("sole", rectangle(100, 40), ENDS, CROSS)
    target = drawn("upper", rectangle(100, 40), {})
    seam = Seam(name="s", joins=("sole.bottom", "upper.hem"))
    _, (found,) = carried(source, target, seam, seam="s")
    assert (found.code, found.is_fault) == ("A344", True)


def test_a_mark_beyond_the_other_piece_is_left_out_and_told() -> None:
    source = drawn("sole", rectangle(100, 40), ENDS, CROSS)
    short: Piece = piece("upper", rectangle(30, 40, 70 + 0j))
    target = drawn("upper", short.outline, ENDS)
    pattern, (found,) = carried(source, target, at=PAIRS)
    assert not pattern.marks
    assert (found.code, found.is_fault) == ("A345", False)
