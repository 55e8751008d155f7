"""Lengths carried from edge to edge: to 0.01 mm, and the shape is kept."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line
from foamwright.job_pattern import SizeKeys
from foamwright.model import Piece
from foamwright.stages.alter import draft
from foamwright.stages.alter.pattern import Pattern
from tests.pieces import piece, rectangle, square
from tests.stages.alter.test_alter import TOLERANCE, spec

LEG = {"bottom": ("1", "2"), "side": ("2", "3")}


def carried(
    *parts: tuple[Piece, dict[str, Any]], scale: float = 1.0
) -> tuple[dict[str, Pattern], list[Finding]]:
    pieces = {p.name: (p, spec(name=p.name, **keys)) for p, keys in parts}
    found, findings = draft(pieces, SizeKeys(scale=scale), TOLERANCE)
    return {n: d.pattern for n, d in found.items()}, list(findings)


@settings(deadline=None, max_examples=40, derandomize=True)
@given(width=st.floats(40, 200), scale=st.floats(0.3, 3), ease=st.floats(-5, 20))
def test_an_opening_is_made_as_long_as_an_edge(width: float, scale: float, ease: float) -> None:
    # common practice, no source: the upper's opening is as long as the limb's lower edge
    oval = Path.of([Arc(0, 40, 0.8), Cubic(40, 40 + 25j, 10 + 30j, 0j)], closed=True)
    upper = piece("upper", rectangle(400, 400, -100 - 100j), [oval])
    carry = {"edge": "opening-1", "from": "leg.bottom", "ease": ease}
    made, found = carried(
        (upper, {"carry": (carry,)}),
        (piece("leg", rectangle(width, 300)), {"edges": LEG}),
        scale=scale,
    )
    assert not found
    ring = made["upper"].holes[0].contour.path
    assert ring.length == pytest.approx(width * scale + ease, abs=0.01)
    # the same shape: the isoperimetric ratio holds
    assert ring.area / ring.length**2 == pytest.approx(-abs(oval.area) / oval.length**2, rel=1e-6)


@settings(deadline=None, max_examples=40, derandomize=True)
@given(width=st.floats(40, 300), bulge=st.floats(-0.4, 0.4).filter(lambda b: abs(b) > 0.02))
def test_an_edge_is_made_as_long_and_its_neighbours_follow(width: float, bulge: float) -> None:
    outline = Path.of(
        [Line(0, 100), Line(100, 100 + 200j), Arc(100 + 200j, 200j, bulge), Line(200j, 0)],
        closed=True,
    )
    carry = {"edge": "top", "from": "leg.bottom"}
    made, found = carried(
        (piece("upper", outline), {"edges": {"top": ("3", "4")}, "carry": (carry,)}),
        (piece("leg", rectangle(width, 300)), {"edges": LEG}),
    )
    assert not found
    top = made["upper"].strand("top")
    assert top.length == pytest.approx(width, abs=0.01)
    assert [s.bulge for s in top.path.segments if isinstance(s, Arc)] == pytest.approx([bulge])
    assert made["upper"].spot("1") == 0
    assert (top.start + top.end) / 2 == pytest.approx(50 + 200j)


def test_a_length_is_carried_on_through_a_second_piece_in_any_order() -> None:
    first = {"edge": "bottom", "from": "b.bottom"}
    second = {"edge": "bottom", "from": "c.bottom"}
    made, found = carried(
        (piece("a", square(50)), {"edges": LEG, "carry": (first,)}),
        (piece("b", square(60)), {"edges": LEG, "carry": (second,)}),
        (piece("c", square(70)), {"edges": LEG}),
    )
    assert not found
    assert [made[n].edge("bottom").length for n in "abc"] == pytest.approx([70, 70, 70], abs=0.01)


def test_lengths_that_chase_each_other_are_refused() -> None:
    keys = [{"edge": "bottom", "from": f"{o}.bottom", "ease": 5} for o in "ba"]
    found = carried(
        (piece("a", square(50)), {"edges": LEG, "carry": (keys[0],)}),
        (piece("b", square(60)), {"edges": LEG, "carry": (keys[1],)}),
    )[1]
    assert {f.code for f in found} == {"A323"}
    assert "never settle" in found[0].what


@pytest.mark.parametrize(
    "carry",
    [
        {"edge": "bottom", "from": "leg.hem"},
        {"edge": "hem", "from": "leg.bottom"},
        {"edge": "bottom", "from": "leg.bottom", "ease": -500},
    ],
)
def test_what_can_t_be_carried_is_told(carry: dict[str, Any]) -> None:
    found = carried(
        (piece("a", square(50)), {"edges": LEG, "carry": (carry,)}),
        (piece("leg", square(60)), {"edges": LEG}),
    )[1]
    assert [f.code for f in found] == ["A323"]
