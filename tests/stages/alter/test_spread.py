"""Outlines slit and opened about a hinge: by an angle, or until they are so wide or so long."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.region import loops
from foamwright.geometry.segments import Arc, Cubic, Line
from foamwright.job_pattern import SizeKeys
from foamwright.model import Mark, Piece
from foamwright.stages.alter import draft
from foamwright.stages.alter.pattern import Pattern
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import TOLERANCE, altered, spec

EDGES = {"hem": ("1", "2"), "right": ("2", "3"), "top": ("3", "4"), "left": ("4", "1")}


def opened(part: Piece, scale: float = 1.0, **keys: Any) -> tuple[Pattern, list[Finding]]:
    own = {k: keys.pop(k) for k in ("edges", "carry") if k in keys}
    found, findings = draft(
        {"part": (part, spec(spread=(keys,), **own))}, SizeKeys(scale=scale), TOLERANCE
    )
    return found["part"].pattern, list(findings)


def with_points(outline: Path, **points: complex) -> Piece:
    return replace(piece("part", outline), points=points)


def sharpest(path: Path) -> float:
    """The sharpest turn at any joint, degrees."""
    s = path.segments
    return max(abs(turn_degrees(s[k - 1].tangent(1.0), s[k].tangent(0.0))) for k in range(len(s)))


DISC = with_points(Path.circle(0j, 50), heel=-50j, toe=50j, middle=0j, off=10 + 0j)


@settings(deadline=None, max_examples=40, derandomize=True)
@given(angle=st.floats(1, 60), scale=st.floats(0.5, 2))
def test_a_disc_opened_at_the_heel_gains_the_sector_between_its_halves(
    angle: float, scale: float
) -> None:
    pattern, found = opened(DISC, scale, slit=("heel", "toe"), angle=angle, blend=0.1)
    a, r = math.radians(angle), 50 * scale
    path = pattern.outline.path
    assert [(f.code, f.is_fault) for f in found] == [("A354", False)]
    assert path.area == pytest.approx(math.pi * r**2 + (2 * r) ** 2 * a / 2, rel=1e-4)
    assert sharpest(path) < 1e-3
    assert not path.corners
    heel = pattern.spot("heel")
    assert heel is not None
    # the bridge is the arc about the hinge, and the heel lies in its middle
    assert heel == pytest.approx(1j * r - 2j * r, abs=1e-6)


@settings(deadline=None, max_examples=30, derandomize=True)
@given(angle=st.floats(1, 60), turn=st.floats(-180, 180))
def test_a_disc_opened_about_its_middle_is_the_disc(angle: float, turn: float) -> None:
    """What opens at the heel laps as much at the toe."""
    mouth = 50 * cmath.rect(1, math.radians(turn))
    part = with_points(Path.circle(0j, 50), heel=mouth, middle=0j)
    pattern, found = opened(part, slit=("heel", "middle"), angle=angle)
    assert not [f.line() for f in found if f.is_fault]
    path = pattern.outline.path
    assert path.area == pytest.approx(math.pi * 2500, rel=1e-6)
    assert path.length == pytest.approx(math.pi * 100, rel=1e-6)
    assert sharpest(path) < 1e-3


@settings(deadline=None, max_examples=40, derandomize=True)
@given(more=st.floats(2, 80))
def test_an_edge_is_opened_to_a_length(more: float) -> None:
    part = with_points(rectangle(100, 200), mouth=50 + 0j, hinge=50 + 200j)
    pattern, found = opened(
        part, slit=("mouth", "hinge"), edge="hem", length=100 + more, edges=EDGES
    )
    assert not [f.line() for f in found if f.is_fault]
    assert pattern.edge("hem").length == pytest.approx(100 + more, abs=0.01)
    # the bridge is an arc of the slit's length about its hinge
    assert pattern.outline.path.area > 20000
    # what lies in one half is turned, not bent
    assert pattern.edge("right").length == pytest.approx(200)
    assert pattern.edge("left").length == pytest.approx(200)
    assert len(pattern.outline.path.corners) == 4


@settings(deadline=None, max_examples=30, derandomize=True)
@given(width=st.floats(101, 160), turn=st.floats(-180, 180))
def test_a_piece_is_opened_to_a_width(width: float, turn: float) -> None:
    way = cmath.rect(1, math.radians(turn))
    outline = Path.polygon([way * p for p in (-30, 30, 50 + 100j, -50 + 100j)])
    part = with_points(outline, mouth=50 * way + 0j, hinge=0j)
    part = with_points(outline, mouth=way * 100j, hinge=0j)
    pattern, found = opened(part, slit=("mouth", "hinge"), width=width)
    assert not [f.line() for f in found if f.is_fault]
    upright = [p / way for p in pattern.outline.path.flatten(0.001)]
    across = max(p.real for p in upright) - min(p.real for p in upright)
    assert across == pytest.approx(width, abs=0.01)


def test_a_gap_is_as_wide_as_asked() -> None:
    part = with_points(rectangle(100, 200), mouth=50 + 0j, hinge=50 + 200j, a=49 + 0j, b=51 + 0j)
    pattern, found = opened(part, slit=("mouth", "hinge"), gap=30)
    a, b = pattern.spot("a"), pattern.spot("b")
    assert a is not None
    assert b is not None
    turn = 2 * math.asin(30 / 400)
    assert abs(b - a) == pytest.approx(30 + 2 * math.cos(turn / 2), abs=1e-6)
    assert "30.00 mm at its mouth" in found[0].what
    assert f"{math.degrees(turn):.2f} degrees" in found[0].what


def test_a_hinge_at_a_corner_stays_a_corner_and_a_smooth_one_stays_smooth() -> None:
    tip = Path.polygon([-40, 40, 100j])
    part = with_points(tip, mouth=0j)
    pattern, _ = opened(part, slit=("mouth", "3"), angle=20)
    joint = pattern.outline.places["3"]
    assert joint in pattern.outline.path.corners
    assert pattern.spot("3") == pytest.approx(100j)
    smooth, _ = opened(part, slit=("mouth", "3"), angle=20, blend=20)
    assert smooth.outline.places["3"] not in smooth.outline.path.corners


def test_openings_and_marks_go_along_and_what_lies_across_the_slit_stays() -> None:
    part = replace(
        piece(
            "part",
            rectangle(100, 200),
            [Path.circle(25 + 50j, 5), Path.circle(50 + 60j, 5), Path.circle(75 + 50j, 5)],
        ),
        points={"mouth": 50 + 0j, "hinge": 50 + 200j, "inside": 80 + 20j},
        marks=(Mark("m", "dot", 20 + 20j, (Path.circle(20 + 20j, 1),)),),
    )
    pattern, _ = opened(part, slit=("mouth", "hinge"), angle=20)
    left = cmath.rect(1, math.radians(-10))
    middles = [sum(h.contour.path.flatten(0.01)[:-1]) for h in pattern.holes]
    counts = [len(h.contour.path.flatten(0.01)) - 1 for h in pattern.holes]
    hinge = 50 + 200j
    where = [complex(m) / n for m, n in zip(middles, counts, strict=True)]
    assert where[0] == pytest.approx(hinge + left * (25 + 50j - hinge), abs=0.05)
    assert where[1] == pytest.approx(50 + 60j, abs=0.05)
    assert where[2] == pytest.approx(hinge + (75 + 50j - hinge) / left, abs=0.05)
    assert pattern.spot("inside") == pytest.approx(hinge + (80 + 20j - hinge) / left)
    assert pattern.marks[0].at == pytest.approx(hinge + left * (20 + 20j - hinge))


def test_an_upper_is_its_sole_s_outline_spread_at_the_heel() -> None:
    """Common practice, no source: its opening as long as the limb's lower edge."""
    sole = Path.of(
        [
            Arc(-30 + 0j, 30 + 0j, 1.0),
            Line(30 + 0j, 40 + 120j),
            Arc(40 + 120j, -40 + 120j, 0.8),
            Line(-40 + 120j, -30 + 0j),
        ],
        closed=True,
    )
    drawn = replace(piece("upper", sole, [Path.circle(20j, 6)]), points={"heel": -30j, "toe": 152j})
    leg = piece("leg", rectangle(114.3, 300))
    upper = spec(
        name="upper",
        spread=({"slit": ("heel", "toe"), "width": 100},),
        carry=({"edge": "opening-1", "from": "leg.hem"},),
    )
    made, found = draft(
        {"upper": (drawn, upper), "leg": (leg, spec(name="leg", edges=EDGES))},
        SizeKeys(),
        TOLERANCE,
    )
    assert not [f.line() for f in found if f.is_fault]
    path = made["upper"].pattern.outline.path
    low_x, low_y, high_x, _ = path.bounds
    assert high_x - low_x == pytest.approx(100, abs=0.01)
    assert low_y == pytest.approx(-30, abs=0.5)
    assert len(path.corners) == len(sole.corners)  # none at the heel and the toe
    assert path.area > sole.area
    assert made["upper"].pattern.edge("opening-1").length == pytest.approx(114.3, abs=0.01)


def test_a_spread_outline_gets_its_allowance() -> None:
    target, found = altered(
        DISC, spread=({"slit": ("heel", "toe"), "angle": 20},), allowance={"default": 6}
    )
    assert not [f.line() for f in found if f.is_fault]
    assert target.stitch is not None
    grown = target.stitch.area + 6 * target.stitch.length + math.pi * 36  # Steiner's formula
    assert target.outline.area == pytest.approx(grown, abs=0.5)


L_SHAPE = Path.polygon([0, 100, 100 + 20j, 20 + 20j, 20 + 100j, 100j])


@pytest.mark.parametrize(
    ("outline", "keys", "word"),
    [
        (None, {"slit": ("heel", "nowhere"), "angle": 10}, "nowhere"),
        (None, {"slit": "line", "angle": 10}, "no line 'line'"),
        (None, {"slit": ("middle", "toe"), "angle": 10}, "off the outline"),
        (None, {"slit": ("heel", "far"), "angle": 10}, "leaves the piece"),
        (None, {"slit": ("toe", "far"), "angle": 10}, "outside"),
        (None, {"slit": ("heel", "toe"), "width": 90}, "before it is opened"),
        (None, {"slit": ("heel", "toe"), "width": 900}, "can't be opened"),
        (None, {"slit": ("heel", "toe"), "gap": 900}, "can't gape"),
        (None, {"slit": ("heel", "toe"), "edge": "hem", "length": 900}, "no edge 'hem'"),
        (L_SHAPE, {"slit": ("a", "b"), "angle": 10}, "leaves the piece"),
    ],
)
def test_what_can_t_be_opened_is_told(outline: Path | None, keys: Any, word: str) -> None:
    points = {"heel": -50j, "toe": 50j, "middle": 0j, "far": 80j}
    if outline is not None:
        points = {"a": 100 + 10j, "b": 10 + 100j}
    _, found = opened(with_points(outline or Path.circle(0j, 50), **points), **keys)
    assert [(f.code, f.is_fault) for f in found] == [("A354", True)]
    assert word in found[0].what


def test_a_slit_can_be_a_drawn_line() -> None:
    line = Path.polygon([40j, -50j], closed=False)
    part = replace(DISC, marks=(Mark("opening", "line", line.start, (line,)),))
    pattern, found = opened(part, slit="opening", gap=20)
    assert [f.is_fault for f in found] == [False]
    assert pattern.outline.path.area > math.pi * 2500


@settings(deadline=None, max_examples=30, derandomize=True)
@given(angle=st.floats(2, 25), inside=st.floats(0.35, 0.9))
def test_a_hinge_inside_a_lopsided_piece_leaves_one_smooth_outline(
    angle: float, inside: float
) -> None:
    """It gapes at its mouth, closes up beyond its hinge, and is smooth at both ends."""
    outline = Path.of(
        [
            Cubic(0j, 60 + 0j, 80 + 40j, 70 + 100j),
            Cubic(70 + 100j, 65 + 130j, 30 + 150j, 160j),
            Cubic(160j, -40 + 172j, -60 + 100j, -55 + 80j),
            Cubic(-55 + 80j, -50 + 60j, -60 + 0j, 0j),
        ],
        closed=True,
    )
    assert not outline.corners
    part = with_points(outline, mouth=0j, hinge=160j * inside)
    pattern, found = opened(part, slit=("mouth", "hinge"), angle=angle)
    assert not [f.line() for f in found if f.is_fault]
    path = pattern.outline.path
    assert not loops(path)
    assert sharpest(path) < 1e-3
    mouth, far = 160 * inside, 160 * (1 - inside)
    wedges = math.radians(angle) / 2 * (mouth**2 - far**2)
    assert path.area == pytest.approx(outline.area + wedges, rel=0.03)


def test_points_beside_the_hinge_stay_beside_it() -> None:
    """Not at the ends of what is drawn anew."""
    part = with_points(rectangle(200, 100), mouth=100 + 0j, hinge=100 + 100j, near=110 + 100j)
    pattern, _ = opened(part, slit=("mouth", "hinge"), gap=20, blend=40)
    hinge, near = pattern.spot("hinge"), pattern.spot("near")
    assert hinge is not None
    assert near is not None
    assert abs(near - hinge) == pytest.approx(10, abs=0.5)


def test_a_dart_where_the_outline_is_drawn_anew_is_refused() -> None:
    part = with_points(rectangle(200, 100), mouth=100 + 0j, hinge=100 + 100j)
    keys = {"edge": "top", "at": "50 %", "width": 20, "depth": 30}
    slit = {"slit": ("mouth", "hinge"), "gap": 20}
    edges = {"top": ("3", "4")}
    _, found = draft(
        {"part": (part, spec(spread=(slit,), dart=(keys,), edges=edges))}, SizeKeys(), TOLERANCE
    )
    (fault,) = (f for f in found if f.code == "A354")
    assert fault.is_fault
    assert "the mouth of dart-1, 20.00 mm wide" in fault.what
    keys["at"] = "10 %"
    pattern, found = draft(
        {"part": (part, spec(spread=(slit,), dart=(keys,), edges=edges))}, SizeKeys(), TOLERANCE
    )
    assert [f.is_fault for f in found if f.code == "A354"] == [False]
    ends = [pattern["part"].pattern.spot(f"dart-1-{end}") for end in ("start", "end")]
    assert abs(ends[0] - ends[1]) == pytest.approx(20, abs=1e-6)
