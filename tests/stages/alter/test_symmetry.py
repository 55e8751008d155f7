"""A half opened about its fold, and a whole evened out about its centre line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.affine import Affine
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.geometry.region import curve, directed_deviation
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.model import Mark, Slit
from foamwright.stages.alter.axis import Axis
from tests.pieces import piece
from tests.stages.alter.test_alter import TOLERANCE, altered, codes, drafts, made

#: Right half of a heart about x = 0: the fold from corner 4 up to corner 1.
HALF = Path.of(
    [
        Line(-40j, 30 + 0j),
        Cubic(30, 45 + 15j, 30 + 45j, 20 + 30j),
        Line(20 + 30j, 20j),
        Line(20j, -40j),
    ],
    closed=True,
)
FOLD: dict[str, Any] = {
    "half": "fold",
    "edges": {"fold": ("4", "1"), "side": ("1", "2"), "brow": ("2", "4")},
}


def asymmetry(path: Path, mirror: Affine) -> float:
    image = curve(path.transformed(mirror), 1e-4)
    joints = [s.point(t) for s in path.segments for t in (0.0, 0.3, 0.7)]
    return float(directed_deviation(np.array(joints), image).max())


@settings(deadline=None, max_examples=40, derandomize=True)
@given(turn=st.floats(-180, 180), x=st.floats(-500, 500), off=st.floats(-0.04, 0.04))
def test_an_opened_fold_is_symmetric_to_a_billionth(turn: float, x: float, off: float) -> None:
    """Wherever it is drawn, and though the fold's ends are a little off each other's line."""
    m = Affine.translation(complex(x, -x / 3)) @ Affine.rotation(turn)
    drawn = HALF.segments
    loose = Path((*drawn[:2], Line(20 + 30j, 20j + off), Line(20j + off, -40j)), True, HALF.corners)
    part = piece("part", loose.transformed(m))
    pattern = drafts(part, **FOLD)[0].pattern
    assert pattern.outline.path.area == pytest.approx(2 * loose.area, abs=3)
    a, b = pattern.spot("1"), pattern.spot("4")
    assert a is not None
    assert b is not None
    mirror = Axis.through(a, b).mirror
    for name in ("2", "3"):
        one, other = pattern.spot(name), pattern.spot(name + "'")
        assert one is not None
        assert other is not None
        assert abs(mirror(one) - other) < 1e-9
    segments = pattern.outline.path.segments
    middles = [s.point(t) for s in segments for t in (0.25, 0.5, 0.75)]
    assert all(min(abs(mirror(p) - q) for q in middles) < 1e-9 for p in middles)


def test_opening_gives_edges_their_twins_travelled_the_other_way() -> None:
    pattern = drafts(piece("part", HALF), **FOLD)[0].pattern
    assert set(pattern.edges) == {"side", "brow", "side'", "brow'"}
    assert pattern.edges["side'"] == ("2'", "1")
    assert pattern.edge("brow'").length == pytest.approx(pattern.edge("brow").length)
    whole = sum(pattern.edge(e).length for e in pattern.edges)
    assert whole == pytest.approx(pattern.outline.length)


def test_what_is_asked_of_a_half_holds_for_the_whole() -> None:
    notch = {"edge": "side", "at": "10 mm", "depth": 3, "width": 2}
    mark = {"at": (10, 5), "size": 4}
    part = replace(piece("part", HALF), points={"toe": 15 - 20j})
    plain = made(part, **FOLD, allowance={"default": 5})
    target = made(
        part,
        **FOLD,
        allowance={"default": 5},
        notch=(notch, {"point": "toe", "depth": 3, "width": 2}),
        mark=(mark,),
    )
    assert plain.outline.area - target.outline.area == pytest.approx(4 * 3, abs=1e-6)
    assert [m.at for m in target.marks] == pytest.approx([10 + 5j, -10 + 5j])
    assert asymmetry(target.outline, Affine.mirror_x()) < 2 * TOLERANCE


def test_openings_slits_marks_and_points_are_mirrored_and_the_fold_line_goes() -> None:
    fold = Mark("fold", "fold", -10j, (Path.polygon([-40j, 20j], closed=False),))
    dot = Mark("eye-dot", "dot", 8 + 8j, (Path.circle(8 + 8j, 1),))
    middle = Mark("nose", "dot", -20j, (Path.circle(-20j, 1),))
    part = replace(
        piece("part", HALF, [Path.circle(15 + 5j, 3)]),
        marks=(fold, dot, middle),
        slits=(
            Slit("vein", Path.polygon([5 - 10j, 9 - 12j], closed=False)),
            Slit("mouth", Path.polygon([6 - 25j, -25j], closed=False)),
        ),
        points={"p": 4 + 4j},
    )
    whole = made(part, half="fold")
    assert [o.name for o in whole.openings] == ["opening-1", "opening-1'"]
    assert all(o.path.area < 0 for o in whole.openings)
    assert [m.name for m in whole.marks] == ["eye-dot", "eye-dot'", "nose"]
    assert [s.name for s in whole.slits] == ["vein", "vein'", "mouth"]
    mouth = whole.slits[2].path
    assert (mouth.start, mouth.end) == (6 - 25j, -6 - 25j)
    assert whole.points["p'"] == -4 + 4j


def test_a_bay_at_the_fold_becomes_an_opening() -> None:
    half = Path.of(
        [
            Line(-40j, 30),
            Line(30, 20j),
            Line(20j, -10j),
            Arc(-10j, -30j, -1.0),
            Line(-30j, -40j),
        ],
        closed=True,
    )
    whole = made(piece("part", half), half=["1", "3"])
    assert [o.name for o in whole.openings] == ["fold-opening-1"]
    assert -whole.openings[0].path.area == pytest.approx(math.pi * 100)
    assert whole.outline.area == pytest.approx(60 * 30)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"half": "flod"}, "no line or edge"),
        ({"half": ["1", "9"]}, "no place '9'"),
        ({"half": "brow"}, "not straight"),
        ({"half": ["1", "3"]}, "no straight run"),
        ({"half": "fold", "edges": {**FOLD["edges"], "round": ("3", "1")}}, "end it there"),
    ],
)
def test_halves_that_can_t_be_opened_are_told(keys: dict[str, Any], said: str) -> None:
    part = piece("part", HALF)
    found = drafts(part, **{**FOLD, **keys})[1]
    assert [f.code for f in found] == ["A319"], [f.line() for f in found]
    assert said in found[0].what


def test_an_opening_over_the_fold_is_told() -> None:
    part = piece("part", HALF, [Path.circle(2 - 10j, 3)])
    assert codes(part, **FOLD) == ["A319"]


def _wobbly(points: Sequence[complex], bulges: Sequence[float]) -> Path:
    ends = [*points[1:], points[0]]
    segments: list[Segment] = [
        Arc(a, b, u) if u else Line(a, b) for a, b, u in zip(points, ends, bulges, strict=True)
    ]
    return Path.of(segments, closed=True)


EVEN_SHAPE = [-40j, 30 + 0j, 25 + 35j, 20j, -25 + 35j, -30 + 0j]
BULGES = [0.1, 0.2, 0.0, 0.0, 0.2, 0.1]


def test_an_even_drawing_stays_as_it_is() -> None:
    part = piece("part", _wobbly(EVEN_SHAPE, BULGES))
    drawn, found = drafts(part, even=["1", "4"])
    assert [f.code for f in found] == ["A320"]
    assert "0.00 mm" in found[0].what
    assert drawn.pattern.outline.path.area == pytest.approx(part.outline.area, abs=1e-9)


wobble = st.complex_numbers(max_magnitude=1.5)


@settings(deadline=None, max_examples=40, derandomize=True)
@given(by=st.lists(wobble, min_size=6, max_size=6), turn=st.floats(-180, 180))
def test_a_drawing_is_evened_out_to_its_mean(by: list[complex], turn: float) -> None:
    m = Affine.rotation(turn)
    by[0] = by[3] = 0  # the centre line itself is as drawn
    drawn = [p + d for p, d in zip(EVEN_SHAPE, by, strict=True)]
    part = piece("part", _wobbly(drawn, BULGES).transformed(m))
    made_even, found = drafts(part, even=["1", "4"])
    assert [(f.code, f.is_fault) for f in found] == [("A320", False)]
    pattern = made_even.pattern
    for right, left in (("2", "6"), ("3", "5")):
        a, b = pattern.spot(right), pattern.spot(left)
        assert a is not None
        assert b is not None
        k, n = int(right) - 1, int(left) - 1
        mean = (drawn[k] - drawn[n].conjugate()) / 2
        assert a == pytest.approx(m(mean), abs=1e-9)
        assert b == pytest.approx(m(-mean.conjugate()), abs=1e-9)
    axis = Axis.through(m(drawn[0]), m(drawn[3]))
    assert asymmetry(pattern.outline.path, axis.mirror) < 2e-4


def test_the_asymmetry_is_told_in_mm() -> None:
    drawn = [-40j, 30 + 0j, 25 + 35j, 20j, -25 + 35j, -33 + 0j]
    found = drafts(piece("part", _wobbly(drawn, [0.0] * 6)), even=["1", "4"])[1]
    # the left corner lies 3 mm farther out, and the right one is the nearest place of its side
    assert "3.00 mm" in found[0].what


def test_unlike_curves_are_evened_out_too() -> None:
    """One side a cubic, the other an arc and a line; the tip was drawn 1 mm off the line."""
    arc = Arc(20j, -30 + 5j, 0.35)
    outline = Path.of(
        [
            Line(1 - 40j, 30),
            Cubic(30, 40 + 10j, 20 + 30j, 20j),
            arc,
            Cubic(arc.end, arc.end + 2 * arc.tangent(1.0), -31 + 2j, -31),
            Line(-31 + 0j, 1 - 40j),
        ],
        closed=True,
    )
    line = Mark("axis", "line", -10j, (Path.polygon([-60j, 60j], closed=False),))
    part = replace(piece("part", outline), marks=(line,), points={"hip": -30.5 + 2.5j})
    drawn, found = drafts(part, even="axis")
    assert [(f.code, f.is_fault) for f in found] == [("A320", False)]
    pattern = drawn.pattern
    assert asymmetry(pattern.outline.path, Affine.mirror_x()) < 2e-4
    assert pattern.spot("1") == pytest.approx(-40j)
    hip = pattern.spot("hip")
    assert hip is not None
    assert nearest_length(pattern.outline.path, hip)[1] < 1e-9
    image = outline.transformed(Affine.mirror_x())
    assert abs(pattern.outline.path.area - outline.area) < 0.02 * abs(image.area)


def test_sides_with_unlike_corners_are_told() -> None:
    drawn = [-40j, 30 + 0j, 25 + 35j, 15j, -30 + 0j]
    found = drafts(piece("part", _wobbly(drawn, [0.0] * 5)), even=["1", "4"])[1]
    assert [(f.code, f.is_fault) for f in found] == [("A320", True)]
    assert "1 corners and the other 2" in found[0].what


def test_an_even_opening_over_the_centre_line() -> None:
    hole = Path.polygon([-5 - 20j, 7 - 20j, 0.2 - 8j])
    part = piece("part", _wobbly(EVEN_SHAPE, BULGES), [hole])
    target, _ = altered(part, even=["1", "4"])
    ends = sorted(s.start.real for s in target.openings[0].path.segments)
    assert ends == pytest.approx([-6, 0, 0, 6])  # the base is parted at the centre line
