"""Seams made true: square ends, lengths kept, and a tube that closes flat."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Cubic, Line
from foamwright.job import Seam
from foamwright.job_pattern import SizeKeys
from foamwright.model import Piece
from foamwright.stages.acquire.develop import frustum
from foamwright.stages.alter import draft, measure_seams
from foamwright.stages.alter.allowance import apart
from foamwright.stages.alter.pattern import Pattern
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import TOLERANCE, spec

EDGES = {"bottom": ("1", "2"), "front": ("2", "3"), "top": ("3", "4"), "back": ("4", "1")}
TUBE = {"name": "back", "joins": ("leg.front", "leg.back"), "flat": True}


def made_true(
    outline: Path, *true: dict[str, Any], edges: dict[str, tuple[str, str]] = EDGES, **seam: Any
) -> tuple[Pattern, list[Finding]]:
    """A leg with its seam made true, and what was told, the seam table's too."""
    asked = Seam.model_validate({**TUBE, **seam, "true": true})
    drawn = {"leg": (piece("leg", outline), spec(name="leg", edges=edges))}
    made, found = draft(drawn, SizeKeys(), TOLERANCE, seams=(asked,))
    return made["leg"].pattern, [*found, *measure_seams((asked,), made)[1]]


def angles(pattern: Pattern, edge: str) -> tuple[float, float]:
    """Inside the piece at an edge's two ends, degrees."""
    path, n = pattern.outline.path, len(pattern.outline.path.segments)
    found = []
    for place in pattern.edges[edge]:
        j = pattern.outline.places[place]
        before, after = path.segments[(j - 1) % n], path.segments[j]
        found.append(180 - turn_degrees(before.tangent(1.0), after.tangent(0.0)))
    return found[0], found[1]


def flared(lean: float, height: float = 300, width: float = 114.3) -> Path:
    out = height * math.tan(math.radians(lean))
    return Path.polygon([0, width, complex(width + out, height), complex(-out, height)])


BOTH = ({"edge": "leg.bottom"}, {"edge": "leg.top"})


@settings(deadline=None, max_examples=40, derandomize=True)
@given(lean=st.floats(0.2, 12), width=st.floats(60, 300))
def test_a_flared_limb_closes_flat_and_its_edges_keep_their_lengths(
    lean: float, width: float
) -> None:
    """Common practice, no source: the seam's corners are 90 degrees, 180 when it is closed."""
    outline = flared(lean, width=width)
    pattern, found = made_true(outline, *BOTH)
    assert not [f.line() for f in found if f.is_fault]
    for edge, drawn in (("bottom", width), ("top", outline.segments[2].length())):
        assert angles(pattern, edge) == pytest.approx((90, 90), abs=1e-6)
        assert pattern.edge(edge).length == pytest.approx(drawn, abs=0.01)
    assert pattern.edge("front").length == pytest.approx(pattern.edge("back").length, abs=1e-6)
    assert len(pattern.outline.path.corners) == 4


@settings(deadline=None, max_examples=30, derandomize=True)
@given(lean=st.floats(0.5, 12))
def test_kept_ends_stay_and_the_length_is_told(lean: float) -> None:
    outline = flared(lean)
    pattern, found = made_true(outline, *({**t, "keep": "ends"} for t in BOTH))
    assert not [f.line() for f in found if f.is_fault]
    for k, p in enumerate(outline.corner_points(), 1):
        assert pattern.spot(str(k)) == pytest.approx(p, abs=1e-9)
    told = {f.where: f.what for f in found if f.code == "A355"}
    assert f"{pattern.edge('bottom').length:.2f} mm long" in told["seam back true leg.bottom"]
    assert pattern.edge("bottom").length > 114.3


def test_a_trapezium_made_true_is_nearly_the_cone_that_it_stands_for() -> None:
    """The handbook development of a frustum has arcs square to its sides."""
    cone = frustum(40, 30, 200)
    straight = Path.polygon(cone.corner_points())
    pattern, found = made_true(straight, *({**t, "keep": "ends"} for t in BOTH))
    assert not [f.line() for f in found if f.is_fault]
    assert apart(pattern.outline.path, cone) < 0.1
    assert apart(straight, cone) > 3


@settings(deadline=None, max_examples=30, derandomize=True)
@given(sag=st.floats(-0.25, 0.25), lean=st.floats(-4, 4))
def test_a_curved_hem_keeps_its_length(sag: float, lean: float) -> None:
    out = 300 * math.tan(math.radians(lean))
    hem = Cubic(0j, complex(30, -sag * 114), complex(84, -sag * 114), 114 + 0j)
    corners = [114 + 0j, complex(114 + out, 300), complex(-out, 300), 0j]
    outline = Path.of([hem, *(Line(a, b) for a, b in pairwise(corners))], True)
    if len(outline.corners) != 4:
        return
    pattern, found = made_true(outline, {"edge": "leg.bottom"}, flat=False)
    assert not [f.line() for f in found if f.is_fault]
    assert angles(pattern, "bottom") == pytest.approx((90, 90), abs=1e-6)
    assert pattern.edge("bottom").length == pytest.approx(hem.length(), abs=0.01)
    turns = [abs(t) for t in joints_turns(pattern.strand("bottom").path)]
    assert max(turns, default=0.0) < 0.1  # smooth
    assert apart(pattern.strand("bottom").path, Path((hem,), False)) < 0.06 * 114  # its own bow


def joints_turns(path: Path) -> list[float]:
    s = path.segments
    return [turn_degrees(s[k - 1].tangent(1.0), s[k].tangent(0.0)) for k in range(1, len(s))]


def test_an_edge_gets_the_length_that_is_asked() -> None:
    pattern, found = made_true(flared(6), {"edge": "leg.bottom", "length": 116.0}, flat=False)
    assert not [f.line() for f in found if f.is_fault]
    assert pattern.edge("bottom").length == pytest.approx(116.0, abs=0.01)
    assert angles(pattern, "bottom") == pytest.approx((90, 90), abs=1e-6)
    assert "116.00 mm long and was 114.30 mm" in next(f.what for f in found if f.code == "A355")


def test_ends_that_are_square_are_left() -> None:
    pattern, found = made_true(rectangle(114, 300), *BOTH)
    assert not [f.line() for f in found if f.is_fault]
    assert apart(pattern.outline.path, rectangle(114, 300)) < 1e-9


def test_an_edge_between_two_seams_is_made_true_at_the_one_that_is_named() -> None:
    """Two pieces make the tube: each seam has an end of its own."""
    outline = Path.polygon([0, 100, 110 + 200j, -10 + 200j])
    parts = {n: (piece(n, outline), spec(name=n, edges=EDGES)) for n in ("front", "back")}
    seam = Seam.model_validate(
        {
            "name": "right",
            "joins": ("front.front", "back.back"),
            "flat": True,
            "true": (
                {"edge": "front.bottom", "keep": "ends"},
                {"edge": "back.bottom", "keep": "ends"},
                {"edge": "front.top", "keep": "ends"},
                {"edge": "back.top", "keep": "ends"},
            ),
        }
    )
    made, found = draft(parts, SizeKeys(), TOLERANCE, seams=(seam,))
    patterns = {n: d.pattern for n, d in made.items()}
    assert not [f.line() for f in (*found, *measure_seams((seam,), made)[1]) if f.is_fault]
    lean = math.degrees(math.atan2(10, 200))
    assert angles(patterns["front"], "bottom") == pytest.approx((90 + lean, 90))
    assert angles(patterns["back"], "bottom") == pytest.approx((90, 90 + lean))


def test_places_on_the_edge_stay_on_it() -> None:
    drawn: Piece = replace(piece("leg", flared(5)), points={"middle": 57.15 + 0j})
    asked = Seam.model_validate({**TUBE, "true": BOTH})
    parts = {"leg": (drawn, spec(name="leg", edges={**EDGES, "half": ("1", "middle")}))}
    made, _ = draft(parts, SizeKeys(), TOLERANCE, seams=(asked,))
    pattern = made["leg"].pattern
    assert pattern.edge("half").length == pytest.approx(pattern.edge("bottom").length / 2, abs=1e-3)
    middle = pattern.spot("middle")
    assert middle is not None
    assert middle.real == pytest.approx(57.15)
    assert middle.imag > 1  # a cone's hem bends towards its wide end


def test_a_length_that_hangs_on_an_edge_made_true_follows_it() -> None:
    parts = {
        "leg": (piece("leg", flared(10)), spec(name="leg", edges=EDGES)),
        "foot": (
            piece("foot", rectangle(300, 300), [Path.circle(150 + 150j, 20)]),
            spec(name="foot", carry=({"edge": "opening-1", "from": "leg.bottom"},)),
        ),
    }
    asked = Seam.model_validate({**TUBE, "true": ({"edge": "leg.bottom", "keep": "ends"},)})
    made, found = draft(parts, SizeKeys(), TOLERANCE, seams=(asked,))
    assert not [f.line() for f in found if f.is_fault]
    lengths = [
        made["leg"].pattern.edge("bottom").length,
        made["foot"].pattern.edge("opening-1").length,
    ]
    assert lengths[0] == pytest.approx(lengths[1], abs=0.01)
    assert lengths[0] > 114.35


SLANTED = Path.polygon([0, 100 + 15j, 100 + 215j, 200j])


@pytest.mark.parametrize(
    ("outline", "true", "word"),
    [
        (SLANTED, {"edge": "leg.bottom"}, "square at its ends and"),
        (flared(5), {"edge": "leg.hem"}, "no edge 'hem'"),
        (flared(5), {"edge": "leg.front"}, "ends nowhere"),
        (flared(5), {"edge": "leg.bottom", "length": 400}, "400.00 mm long"),
    ],
)
def test_what_can_t_be_made_true_is_told(outline: Path, true: dict[str, Any], word: str) -> None:
    found = made_true(outline, true, flat=False)[1]
    assert [(f.code, f.is_fault) for f in found] == [("A355", True)]
    assert word in found[0].what


def test_a_slanted_end_can_keep_its_ends() -> None:
    pattern, found = made_true(SLANTED, {"edge": "leg.bottom", "keep": "ends"}, flat=False)
    assert not [f.line() for f in found if f.is_fault]
    assert angles(pattern, "bottom") == pytest.approx((90, 90), abs=1e-6)


def test_a_dart_on_an_edge_made_true_keeps_its_depth_and_width() -> None:
    """Its point once stayed where it was while the edge bowed away from it."""
    edges = dict(EDGES)
    dart = {"edge": "top", "at": "50 %", "width": 40, "depth": 60}
    asked = Seam.model_validate({**TUBE, "true": BOTH})
    part = piece("leg", flared(8, width=280))
    made, found = draft(
        {"leg": (part, spec(name="leg", edges=edges, dart=(dart,)))},
        SizeKeys(),
        TOLERANCE,
        seams=(asked,),
    )
    assert [f.code for f in found if f.is_fault] == []
    pattern = made["leg"].pattern
    start, end, point = (pattern.spot(f"dart-1-{n}") for n in ("start", "end", "point"))
    assert abs((start + end) / 2 - point) == pytest.approx(60, abs=1e-6)
    assert abs(start - point) == pytest.approx(abs(end - point), abs=1e-6)
    assert pattern.edge("top").sewn == pytest.approx(pattern.edge("top").length - 40, abs=0.11)
    assert abs(point.imag - 240) > 3  # it went with the edge
