"""Darts: equal legs, a relief at the point, and edges as long as they are once darts are closed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.job import Seam
from foamwright.job_pattern import SizeKeys
from foamwright.model import Piece
from foamwright.stages.alter import draft, measure_seams, with_seam_notches
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import TOLERANCE, altered, codes, drafts, made, spec

EDGES = {"hem": ("1", "2"), "side": ("2", "3"), "top": ("3", "4"), "back": ("4", "1")}
DART = {"edge": "hem", "at": "50 %", "width": 20, "depth": 40}


def darted(part: Piece, *darts: dict[str, Any], scale: float = 1.0, **keys: Any) -> Piece:
    return made(part, scale, edges=EDGES, dart=darts, **keys)


def test_a_dart_takes_a_wedge_out_of_foam() -> None:
    target = darted(piece("part", rectangle(100, 80)), DART)
    assert target.outline.area == pytest.approx(8000 - 20 * 40 / 2)
    assert len(target.outline.corners) == 7


@settings(deadline=None, max_examples=40, derandomize=True)
@given(relief=st.floats(0.5, 15))
def test_its_relief_is_a_round_hole_about_its_point(relief: float) -> None:
    target = darted(piece("part", rectangle(100, 80)), {**DART, "relief": relief})
    r, lean = relief / 2, math.atan2(10, 40)
    outside = math.pi * r * r - lean * r * r  # the disc less the sector between the legs
    assert target.outline.area == pytest.approx(8000 - 400 - outside, rel=1e-9)
    arcs = [s for s in target.outline.segments if isinstance(s, Arc)]
    assert {round(a.radius, 9) for a in arcs} == {round(r, 9)}
    assert all(a.centre == pytest.approx(50 + 40j) for a in arcs)


ARCH = Path.of(
    [Arc(0, 100, 0.25), Line(100, 100 + 80j), Line(100 + 80j, 80j), Line(80j, 0)], closed=True
)


@settings(deadline=None, max_examples=60, derandomize=True)
@given(
    at=st.floats(15, 85), width=st.floats(2, 20), depth=st.floats(5, 40), scale=st.floats(0.5, 2)
)
def test_legs_are_equal_on_a_curved_edge_at_every_size(
    at: float, width: float, depth: float, scale: float
) -> None:
    target = darted(
        piece("part", ARCH), {**DART, "at": at, "width": width, "depth": depth}, scale=scale
    )
    one, other = legs(target)
    assert one == pytest.approx(other, abs=1e-9)
    # the mouth's chord is a little shorter than its arc
    assert one == pytest.approx(scale * math.hypot(width / 2, depth), rel=0.01)


def legs(target: Piece) -> tuple[float, float]:
    point = target.points["dart-1-point"]
    at = [k for k, s in enumerate(target.outline.segments) if abs(s.end - point) < 1e-6]
    assert len(at) == 1
    pair = target.outline.segments[at[0]], target.outline.segments[(at[0] + 1)]
    return pair[0].length(), pair[1].length()


@settings(deadline=None, max_examples=40, derandomize=True)
@given(x=st.floats(30, 70), y=st.floats(10, 40))
def test_a_dart_to_a_drawn_point_has_equal_legs(x: float, y: float) -> None:
    part = replace(piece("part", ARCH), points={"bust": complex(x, y)})
    keys = {"edge": "hem", "at": "50 %", "width": 16, "point": "bust"}
    if abs(x - 50) > 4:
        keys["at"] = x + 4
    target, found = altered(part, edges=EDGES, dart=(keys,))
    if found:
        assert {f.code for f in found} == {"A356"}
        return
    one, other = legs(target)
    assert one == pytest.approx(other, abs=1e-6)
    assert target.points["dart-1-point"] == pytest.approx(complex(x, y), abs=1e-6)


def test_a_dart_in_cloth_is_folded_along_marked_legs() -> None:
    keys = {"allowance": {"default": 6}}
    target = darted(piece("part", rectangle(100, 80)), {**DART, "relief": 3}, **keys)
    assert target.outline.area == pytest.approx(112 * 92)
    found = {m.name: m for m in target.marks}
    assert found["dart-1"].paths[0].start == pytest.approx(40)
    assert found["dart-1"].paths[0].end == pytest.approx(60)
    assert found["dart-1"].paths[0].length == pytest.approx(2 * math.hypot(10, 40))
    assert found["dart-1-point"].shape == "hole"
    assert found["dart-1-point"].at == pytest.approx(50 + 40j)


def test_a_folded_dart_keeps_off_an_edge_without_allowance() -> None:
    target = darted(piece("part", rectangle(100, 80)), {**DART, "cut": False})
    assert target.outline.area == pytest.approx(8000)
    assert target.marks[0].paths[0].start.imag > 0.9


def test_a_dart_beside_allowances_elsewhere_is_cut() -> None:
    target = darted(piece("part", rectangle(100, 80)), DART, allowance={"default": 5, "hem": 0})
    assert target.outline.area == pytest.approx(110 * 85 - 400)


def test_an_edge_is_as_long_as_once_its_darts_are_closed() -> None:
    pattern = drafts(piece("part", rectangle(100, 80)), edges=EDGES, dart=(DART,))[0].pattern
    edge = pattern.edge("hem")
    assert (edge.length, edge.sewn) == pytest.approx((100, 80))
    assert [edge.sewn_at(s) for s in (30, 50, 70, 100)] == pytest.approx([30, 40, 50, 80])
    assert [edge.along(s) for s in (30, 50, 80)] == pytest.approx([30, 70, 100])
    assert pattern.edge("side").sewn == pytest.approx(80)


def test_a_seam_with_a_dart_matches_what_is_left_and_so_do_its_notches() -> None:
    parts = {
        "skirt": (
            piece("skirt", rectangle(100, 80)),
            spec(name="skirt", edges=EDGES, dart=(DART,)),
        ),
        "band": (piece("band", rectangle(80, 30)), spec(name="band", edges=EDGES)),
    }
    seam = Seam.model_validate(
        {
            "name": "waist",
            "joins": ("skirt.hem", "band.hem"),
            "notch": ({"at": "25 %", "shape": "mark"}, {"at": "70 mm", "shape": "mark"}),
        }
    )
    made_, found = draft(parts, SizeKeys(), TOLERANCE)
    made_ = with_seam_notches(made_, (seam,))
    (row,), told = measure_seams((seam,), made_)
    assert not [f.line() for f in (*found, *told)]
    assert row.lengths == pytest.approx((80, 80))
    on_skirt = [n.at.along(100) for n in made_["skirt"].spec.notch if n.at]
    assert on_skirt == pytest.approx([20, 90])
    on_band = [n.at.along(80) for n in made_["band"].spec.notch if n.at]
    assert on_band == pytest.approx([60, 10])


def test_a_length_is_carried_from_and_to_an_edge_with_its_dart_closed() -> None:
    parts = {
        "skirt": (
            piece("skirt", rectangle(100, 80)),
            spec(
                name="skirt",
                edges=EDGES,
                dart=(DART,),
                carry=({"edge": "hem", "from": "belt.hem"},),
            ),
        ),
        "belt": (piece("belt", rectangle(120, 30)), spec(name="belt", edges=EDGES)),
        "band": (
            piece("band", rectangle(70, 30)),
            spec(name="band", edges=EDGES, carry=({"edge": "hem", "from": "skirt.hem"},)),
        ),
    }
    found, told = draft(parts, SizeKeys(), TOLERANCE)
    assert not told
    assert found["skirt"].pattern.edge("hem").sewn == pytest.approx(120, abs=0.01)
    assert found["band"].pattern.edge("hem").length == pytest.approx(120, abs=0.01)


def test_a_half_s_dart_has_its_twin() -> None:
    outline = rectangle(50, 80)
    keys = {"half": "fold", "edges": {"fold": ("4", "1"), "hem": ("1", "2")}}
    dart = {"edge": "hem", "at": 20, "width": 10, "depth": 30}
    target = made(piece("part", outline), dart=(dart,), **keys)
    assert target.outline.area == pytest.approx(8000 - 2 * 150)
    spots = [target.points[f"dart-{n}-point"] for n in (1, 2)]
    assert spots == pytest.approx([20 + 30j, -20 + 30j])


@pytest.mark.parametrize(
    "dart",
    [
        {**DART, "at": "2 %"},
        {**DART, "edge": "wrap", "at": "50 %"},
        {**DART, "relief": 60},
        {"edge": "hem", "at": 20, "width": 10, "point": "none"},
        {"edge": "hem", "at": 20, "width": 10, "point": "far"},
        {**DART, "edge": "nothing"},
    ],
)
def test_what_can_t_be_a_dart_is_told(dart: dict[str, Any]) -> None:
    part = replace(piece("part", rectangle(100, 80)), points={"far": 90 + 40j})
    edges = {**EDGES, "wrap": ("1", "3")}
    if dart["edge"] == "wrap":
        dart = {**dart, "at": 100}
    assert codes(part, edges=edges, dart=(dart,)) == ["A356"]


def test_an_allowance_can_t_be_cut_with_a_dart() -> None:
    part = piece("part", rectangle(100, 80))
    keys = {"edges": EDGES, "dart": ({**DART, "cut": True},), "allowance": {"default": 6}}
    assert codes(part, **keys) == ["A356"]


def test_a_dart_through_the_piece_is_refused() -> None:
    part = piece("part", rectangle(100, 80))
    assert "A310" in codes(part, edges=EDGES, dart=({**DART, "depth": 90},))


def test_a_carried_length_leaves_the_size_of_a_dart() -> None:
    """A dart on an edge that got shorter once became shallow, with legs of two lengths."""
    dart = {"edge": "right", "at": "50 %", "width": 20, "depth": 30}
    edges = {"right": ("2", "3"), "bottom": ("1", "2")}
    carry = {"edge": "right", "from": "b.bottom"}
    disc = replace(piece("a", Path.circle(0j, 60)), points={"low": -60j, "high": 60j})
    own = spec(name="a", edges={"right": ("low", "high")}, dart=(dart,), carry=(carry,))
    other = piece("b", rectangle(120, 50)), spec(name="b", edges=edges)
    found, findings = draft({"a": (disc, own), "b": other}, SizeKeys(), TOLERANCE)
    assert [f for f in findings if f.is_fault] == []
    pattern = found["a"].pattern
    start, end, point = (pattern.spot(f"dart-1-{n}") for n in ("start", "end", "point"))
    assert start is not None
    assert end is not None
    assert point is not None
    assert abs((start + end) / 2 - point) == pytest.approx(30, abs=1e-6)
    assert abs(start - point) == pytest.approx(abs(end - point), abs=1e-6)
    assert abs(start - end) == pytest.approx(20, abs=0.5)
    assert pattern.edge("right").sewn == pytest.approx(120, abs=0.01)
