"""Sizes: factors, fits, and what is held at the size it was drawn."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.job_pattern import Fit, SizeKeys
from foamwright.model import Piece
from foamwright.stages.alter import Draft, draft
from tests.pieces import piece, rectangle, square
from tests.stages.alter.test_alter import TOLERANCE, altered, drafts, made, spec

EDGES = {"bottom": ("1", "2"), "side": ("2", "3"), "top": ("3", "4"), "wrap": ("1", "3")}


def fitted(part: Piece, fit: Fit, **keys: Any) -> tuple[Draft, list[Finding]]:
    found, findings = draft({"part": (part, spec(**keys))}, SizeKeys(fit=fit), TOLERANCE)
    return found["part"], list(findings)


def test_a_piece_is_fitted_to_a_length_along_its_grain() -> None:
    drawn, found = fitted(piece("part", rectangle(40, 100)), Fit(piece="part", length=127))
    assert drawn.pattern.outline.path.bounds == pytest.approx((0, 0, 40 * 1.27, 127))
    assert [(f.code, f.is_fault) for f in found] == [("A317", False)]
    assert "1.2700" in found[0].what


def test_a_fit_of_both_ways_scales_them_apart() -> None:
    fit = Fit(piece="part", length=150, width=30)
    drawn, found = fitted(piece("part", rectangle(40, 100)), fit)
    assert drawn.pattern.outline.path.bounds == pytest.approx((0, 0, 30, 150))
    assert "1.5000 along and 0.7500 across" in found[0].what


def test_a_fit_is_measured_on_the_stitch_line() -> None:
    keys = {"drawn": "cut-line", "allowance": {"default": 5}}
    drawn, _ = fitted(piece("part", rectangle(50, 110)), Fit(piece="part", length=200), **keys)
    low_x, low_y, high_x, high_y = drawn.pattern.outline.path.bounds
    assert (high_x - low_x, high_y - low_y) == pytest.approx((80, 200), abs=1e-6)


def test_an_edge_is_fitted_to_a_length() -> None:
    drawn, _ = fitted(
        piece("part", rectangle(40, 100)), Fit(edge="part.bottom", length=50), edges=EDGES
    )
    assert drawn.pattern.edge("bottom").length == pytest.approx(50)
    assert drawn.pattern.edge("side").length == pytest.approx(125)


def test_a_fit_to_an_edge_that_is_not_there_is_refused() -> None:
    found = fitted(piece("part", square(50)), Fit(edge="part.hem", length=50))[1]
    assert [(f.code, f.is_fault) for f in found] == [("A317", True)]


@settings(deadline=None, max_examples=30, derandomize=True)
@given(grain=st.floats(-180, 180), across=st.floats(0.3, 3), along=st.floats(0.3, 3))
def test_factors_go_along_and_across_the_grain(grain: float, across: float, along: float) -> None:
    from dataclasses import replace

    from foamwright.geometry.affine import Affine

    upright = piece("part", rectangle(40, 100))
    turned = replace(upright.transformed(Affine.rotation(grain - 90)), grain=grain)
    target = made(turned, scale_across=across, scale_along=along)
    back = target.outline.transformed(Affine.rotation(90 - grain))
    assert back.bounds == pytest.approx((0, 0, 40 * across, 100 * along), abs=1e-9)


@settings(deadline=None, max_examples=40, derandomize=True)
@given(scale=st.floats(0.4, 3), across=st.floats(0.5, 2))
def test_a_fixed_edge_keeps_its_length_and_shape(scale: float, across: float) -> None:
    drawn, found = drafts(
        piece("part", rectangle(40, 100)), scale, scale_across=across, edges=EDGES, fixed=["top"]
    )
    assert not found
    pattern = drawn.pattern
    assert pattern.edge("top").length == pytest.approx(40, abs=1e-9)
    assert pattern.edge("bottom").length == pytest.approx(40 * scale * across, abs=1e-9)
    top = [pattern.spot("3"), pattern.spot("4")]
    assert sum(p for p in top if p) / 2 == pytest.approx(
        complex(20 * scale * across, 100 * scale), abs=1e-9
    )


def test_a_fixed_curved_edge_between_points_keeps_its_curve() -> None:
    outline = Path.of(
        [Line(0, 100), Line(100, 100 + 80j), Arc(100 + 80j, 80j, 0.4), Line(80j, 0)], closed=True
    )
    drawn, found = drafts(piece("part", outline), 2.0, edges={"arch": ("3", "4")}, fixed=["arch"])
    assert not found
    arch = drawn.pattern.strand("arch").path.segments
    assert [type(s) for s in arch] == [Arc]
    assert arch[0].length() == pytest.approx(outline.segments[2].length())
    assert arch[0] == Arc(arch[0].start, arch[0].end, 0.4)


@pytest.mark.parametrize(("scale", "wanted"), [(0.5, 200.0), (2.0, 2 * math.pi * 80)])
def test_a_least_opening_holds_only_where_the_size_falls_short(scale: float, wanted: float) -> None:
    part = piece("part", square(200), [Path.circle(100 + 100j, 40)])
    drawn, found = drafts(part, scale, at_least={"opening-1": 200})
    assert not found
    hand = drawn.pattern.holes[0].contour.path
    assert hand.length == pytest.approx(wanted)
    assert hand.bounds[0] + hand.bounds[2] == pytest.approx(200 * scale)


def test_a_least_length_of_an_edge_holds() -> None:
    drawn, _ = drafts(piece("part", square(100)), 0.5, edges=EDGES, at_least={"side": 80})
    assert drawn.pattern.edge("side").length == pytest.approx(80)


@pytest.mark.parametrize("names", [("bottom", "side"), ("wrap", "side")])
def test_held_edges_that_touch_or_overlap_are_refused(names: tuple[str, str]) -> None:
    found = drafts(piece("part", square(100)), 2.0, edges=EDGES, fixed=names)[1]
    assert [f.code for f in found] == ["A318"]


def test_a_held_edge_that_is_not_there_is_named() -> None:
    found = drafts(piece("part", square(100)), 2.0, at_least={"hand": 80})[1]
    assert [f.code for f in found] == ["A307"]


def test_an_edge_between_points_that_are_not_there_is_named() -> None:
    found = drafts(piece("part", square(100)), edges={"hem": ("1", "toe"), "rim": ("1", "9")})[1]
    assert [f.code for f in found] == ["A303", "A303"]


def test_a_fixed_edge_gets_its_allowance_at_the_new_size() -> None:
    target, found = altered(
        piece("part", rectangle(40, 100)),
        2.0,
        edges=EDGES,
        fixed=["bottom", "top"],
        allowance={"default": 6},
    )
    assert not found
    assert target.outline.area == pytest.approx(52 * 212, abs=1e-6)
