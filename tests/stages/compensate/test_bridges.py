"""Holding bridges: as wide as asked, evenly spread, on straight places, clear of all else."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets import leaf, piece, rectangle, rounded, sheet

from foamwright.findings import Finding
from foamwright.geometry import region
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.geometry.region import Region
from foamwright.model import Bridging, Cut, Piece, Sheet, Tool
from foamwright.stages.compensate import compensate

KERF = 0.2
TOLERANCE = 0.006
LASER = Tool("laser", kerf=KERF)


def held(laid: Sheet, bridging: Bridging) -> Sheet:
    """The sheet with its first piece held so."""
    first, *others = laid.placements
    return replace(
        laid, placements=(replace(first, copy=replace(first.copy, bridging=bridging)), *others)
    )


def bridged(
    outline: Path, count: int = 4, width: float = 1.0, tool: Tool = LASER, *more: Piece
) -> tuple[list[Cut], list[Finding]]:
    laid = held(sheet(piece(outline), *more), Bridging(count, None, width))
    made, findings = compensate(laid, tool, TOLERANCE, 10.0)
    return [c for c in made if c.copy == "part/drawn/1"], list(findings)


def removed(cuts: list[Cut], radius: float) -> Region:
    return region.swept([c.path for c in cuts], radius, 0.001)


def standing(cut: Cut, swept: Region, outline: Path) -> float:
    """How wide the stock stands at the bridge after a cut, measured across its middle."""
    bridge = cut.bridge
    assert bridge is not None
    along, off = nearest_length(outline, bridge.at)
    assert off < 1e-6
    out = -1j * outline.tangent_at(along)
    neck = [bridge.at + k * KERF / 20 * out for k in range(21)]
    points = np.array(neck)
    assert not region.contains_points(swept, points).any()
    return 2 * float(region.directed_deviation(points, swept).min())


@pytest.mark.parametrize("width", [0.4, 1.0, 3.0])
@pytest.mark.parametrize("count", [1, 2, 5])
def test_the_stock_stands_as_wide_as_asked(count: int, width: float) -> None:
    outline = rounded(20, 20, 100, 60, 10)
    made, findings = bridged(outline, count, width)
    assert not findings
    assert len(made) == count
    swept = removed(made, KERF / 2)
    for cut in made:
        assert standing(cut, swept, outline) == pytest.approx(width, abs=0.005)
        assert cut.left == cut.bridge.length == pytest.approx(width + KERF, abs=1e-6)  # type: ignore[union-attr]


def test_together_with_the_gaps_the_runs_are_the_whole_way() -> None:
    outline = rounded(20, 20, 100, 60, 10)
    made, _ = bridged(outline, 3, 1.0)
    plain, _ = compensate(sheet(piece(outline)), LASER, TOLERANCE)
    cut = sum(c.path.length for c in made)
    assert cut + 3 * (1.0 + KERF) == pytest.approx(plain[0].path.length, abs=1e-6)
    after = [*made[1:], made[0]]
    for a, b in zip(made, after, strict=True):
        assert abs(b.path.start - a.path.end) == pytest.approx(1.0 + KERF)


def test_on_a_curve_it_is_as_wide_across_its_chord() -> None:
    outline = Path.circle(100 + 100j, 12.0)
    made, findings = bridged(outline, 3, 4.0)
    assert not findings
    swept = removed(made, KERF / 2)
    for cut in made:
        ends = [
            abs(c.path.end - d.path.start) for c, d in zip(made, [*made[1:], made[0]], strict=True)
        ]
        assert ends == pytest.approx([4.0 + KERF] * 3)
        assert standing(cut, swept, outline) == pytest.approx(4.0, abs=0.2)


@pytest.mark.parametrize(
    "tool",
    [
        Tool("laser", kerf=0.2, kerf_y=0.5),
        Tool("laser", kerf=0.2, kerf_entry=0.5, kerf_exit=0.2, true_face="bottom"),
    ],
)
def test_the_widest_side_and_face_leave_as_much(tool: Tool) -> None:
    """A taper that is 0.5 mm at the top still leaves the width there; so does an oval beam."""
    outline = rectangle(20, 20, 100, 60)
    made, _ = bridged(outline, 4, 1.0, tool)
    for a, b in zip(made, [*made[1:], made[0]], strict=True):
        gap = b.path.start - a.path.end
        along_x = abs(gap.real) > abs(gap.imag)
        kerf = 0.2 if tool.kerf_y and along_x else 0.5
        assert abs(gap) == pytest.approx(1.0 + kerf, abs=1e-6)


def far_from_corners(made: list[Cut], outline: Path, least: float) -> bool:
    corners = outline.corner_points()
    return all(abs(c.bridge.at - p) >= least for c in made for p in corners)  # type: ignore[union-attr]


def test_corners_notches_and_tight_curves_are_kept_clear() -> None:
    """A V notch in the middle of a side, where an even spread would put a bridge."""
    points = [20 + 20j, 67 + 20j, 70 + 26j, 73 + 20j, 120 + 20j, 120 + 80j, 20 + 80j]
    outline = Path.polygon(points)
    made, findings = bridged(outline, 4, 1.0)
    assert "C510" not in [f.code for f in findings]
    assert len(made) == 4
    assert far_from_corners(made, outline, 2.6)


def test_straight_sides_are_chosen_before_curved_ones() -> None:
    outline = rounded(20, 20, 60, 40, 18)
    made, _ = bridged(outline, 4, 1.0)
    for cut in made:
        at = cut.bridge.at  # type: ignore[union-attr]
        on_side = 38 <= at.real <= 62 or 38 <= at.imag <= 42
        assert on_side, at


def test_bridges_are_spread_over_the_outline() -> None:
    outline = rectangle(20, 20, 200, 120)
    made, _ = bridged(outline, 8, 1.0)
    at = sorted(nearest_length(outline, c.bridge.at)[0] for c in made)  # type: ignore[union-attr]
    gaps = np.diff([*at, at[0] + outline.length])
    assert gaps.min() >= outline.length / 8 / 2 - 2
    assert gaps.max() <= outline.length / 8 * 1.5 + 2


def test_a_spacing_gives_as_many_as_the_way_is_long() -> None:
    laid = held(sheet(piece(rectangle(20, 20, 100, 60))), Bridging(None, 50.0, 1.0))
    made, _ = compensate(laid, LASER, TOLERANCE)
    assert len(made) == math.ceil(320.63 / 50)


def test_no_bridge_lies_beside_a_slit_or_towards_another_piece() -> None:
    slit = Path.polygon([70 + 20j, 70 + 30j], closed=False)
    first = piece(rectangle(20, 20, 100, 60), slits=(slit,))
    near = piece(rectangle(20, 81, 100, 10))
    laid = held(sheet(first, near), Bridging(4, None, 1.0))
    made, findings = compensate(laid, LASER, TOLERANCE)
    places = [c.bridge.at for c in made if c.bridge]
    assert len(places) + len([f for f in findings if f.code == "C510"]) >= 4
    assert all(abs(p - (70 + 20j)) > 2.5 for p in places)
    assert all(p.imag < 80 for p in places)


def test_where_no_place_is_straight_it_is_told() -> None:
    teeth = [complex(20 + k, 20 + (k % 2)) for k in range(80)]
    outline = Path.polygon([*teeth, 99 + 40j, 20 + 40j])
    made, findings = bridged(outline, 6, 1.0)
    (told,) = [f for f in findings if f.code == "C510"]
    assert f"{len([c for c in made if c.bridge])} of 6" in told.what
    assert all(c.bridge.at.imag > 22 for c in made if c.bridge)


def test_more_than_the_outline_bears_is_told() -> None:
    made, findings = bridged(rectangle(20, 20, 10, 10), 40, 1.0)
    assert [f.code for f in findings] == ["C510"]
    assert len(made) < 8


def test_leads_lean_away_from_bridges_and_leave_them_whole() -> None:
    tool = Tool("laser", kerf=KERF, lead_in=4.0, lead_out=3.0)
    outline = rounded(20, 20, 100, 60, 10)
    made, findings = bridged(outline, 4, 1.0, tool)
    assert not findings
    swept = removed(made, KERF / 2)
    for cut in made:
        assert standing(cut, swept, outline) == pytest.approx(1.0, abs=0.01)
        first, last = cut.path.segments[0], cut.path.segments[-1]
        assert (first.length(), last.length()) == pytest.approx((4.0, 3.0))
    piece_ = region.region(outline)
    assert all(region.distance(region.curve(c.path), piece_) > KERF / 2 - 0.01 for c in made)


def test_a_neighbours_lead_does_not_cut_a_bridge() -> None:
    tool = Tool("laser", kerf=KERF, lead_in=6.0, lead_out=6.0)
    outline = rectangle(20, 20, 100, 60)
    other = piece(rectangle(20, 87, 100, 40))
    laid = held(sheet(piece(outline), other), Bridging(12, None, 1.0))
    made, _ = compensate(laid, tool, TOLERANCE)
    for cut in made:
        for entry in cut.entries or ():
            swept = region.swept([entry.path], KERF / 2)
            for b in (c.bridge for c in made if c.bridge):
                along, _ = nearest_length(outline, b.at)
                out = -1j * outline.tangent_at(along)
                assert region.distance(region.polyline([b.at, b.at + out * 2]), swept) > 0.45


@settings(max_examples=30, deadline=None, derandomize=True)
@given(
    radii=st.lists(st.floats(25, 60), min_size=3, max_size=9),
    count=st.integers(1, 6),
    width=st.floats(0.3, 3.0),
    kerf=st.floats(0.1, 0.8),
)
def test_every_bridge_holds_and_nothing_else_does(
    radii: list[float], count: int, width: float, kerf: float
) -> None:
    """With its gaps closed the piece is free; with them it hangs on by each."""
    n = len(radii)
    outline = Path.polygon(
        [100 + 100j + r * cmath.rect(1, 2 * math.pi * k / n) for k, r in enumerate(radii)]
    )
    made, _ = bridged(outline, count, width, Tool("laser", kerf=kerf))
    swept = removed(made, kerf / 2)
    gaps = [
        (a.path.end, b.path.start)
        for a, b in zip(made, [*made[1:], made[0]], strict=True)
        if a.bridge
    ]
    frame = region.box((0, 0, 300, 300))
    bars = [region.grown(region.polyline(list(g)), kerf / 2) for g in gaps]
    assert len(region.parts(region.minus(frame, region.union([swept, *bars])))) == 2
    for k in range(len(bars)):
        others = [bar for i, bar in enumerate(bars) if i != k]
        assert len(region.parts(region.minus(frame, region.union([swept, *others])))) == 1


def test_a_curved_outline_is_held_too() -> None:
    outline = leaf(60, 80, 50)
    made, findings = bridged(outline, 3, 1.0)
    assert len(made) == 3
    assert "C510" not in [f.code for f in findings]
    assert far_from_corners(made, outline, 2.6)
