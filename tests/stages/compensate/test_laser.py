"""Laser: Steiner's formula, another offset library, and what a round beam can't reach."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import numpy as np
import pyclipr
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets import leaf, piece, rectangle, rounded, sheet

from foamwright.geometry import region
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.model import Copy, Mark, Placement, Tool
from foamwright.stages.compensate import compensate

KERF = 0.2
R = KERF / 2
TOOL = Tool("laser", kerf=KERF)
TOLERANCE = 0.006


def cut_of(cuts, contour):
    (found,) = [c for c in cuts if c.contour == contour]
    return found.path


def codes(findings):
    return [f.code for f in findings]


def shapes():
    return {
        "rectangle": rectangle(20, 20, 100, 60),
        "rounded": rounded(20, 20, 100, 60, 10),
        "circle": Path.circle(80 + 80j, 30),
    }


@pytest.mark.parametrize("name", shapes())
def test_outlines_grow_as_steiner_says(name):
    """Area A + P r + pi r^2, perimeter P + 2 pi r for a convex outline."""
    target = shapes()[name]
    cuts, findings = compensate(sheet(piece(target)), TOOL, TOLERANCE)
    path = cut_of(cuts, "outline")
    assert path.closed
    assert path.area == pytest.approx(target.area + target.length * R + math.pi * R * R, abs=1e-6)
    assert path.length == pytest.approx(target.length + 2 * math.pi * R, abs=1e-6)
    assert not findings


def test_the_published_figures_of_a_rectangle():
    """100 x 60 mm at r = 0.1: area 6032.0314, perimeter 320.6283 mm."""
    cuts, _ = compensate(sheet(piece(rectangle(20, 20, 100, 60))), TOOL, TOLERANCE)
    path = cut_of(cuts, "outline")
    assert path.area == pytest.approx(6032.0314, abs=5e-5)
    assert path.length == pytest.approx(320.6283, abs=5e-5)


def test_a_round_opening_shrinks_and_stays_clockwise():
    laid = sheet(piece(Path.circle(80 + 80j, 30), openings=(Path.circle(80 + 80j, 10),)))
    cuts, findings = compensate(laid, TOOL, TOLERANCE)
    path = cut_of(cuts, "opening:o0")
    assert path.area == pytest.approx(-math.pi * 9.9**2, abs=1e-6)
    assert not findings


def clipper_area(target: Path, delta: float) -> float:
    po = pyclipr.ClipperOffset()
    po.scaleFactor = 100_000
    po.arcTolerance = 0.0002 * po.scaleFactor
    points = target.flatten(0.0005)[:-1]
    ring = np.column_stack([points.real, points.imag])
    po.addPath(ring, pyclipr.JoinType.Round, pyclipr.EndType.Polygon)
    (made,) = po.execute(delta)
    x, y = made[:, 0], made[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


@pytest.mark.parametrize("kerf", [0.1, 0.2, 1.0])
def test_a_curved_outline_agrees_with_another_library(kerf):
    target = leaf(60, 80, 50)
    cuts, _ = compensate(sheet(piece(target)), Tool("laser", kerf=kerf), TOLERANCE)
    path = cut_of(cuts, "outline")
    assert path.area == pytest.approx(clipper_area(target, kerf / 2), abs=0.005 * target.length)


@pytest.mark.parametrize("curves", ["arcs", "lines"])
def test_every_point_of_the_path_is_half_a_kerf_from_a_curved_target(curves):
    target = leaf(60, 80, 50)
    cuts, _ = compensate(sheet(piece(target)), Tool("laser", kerf=KERF, curves=curves), TOLERANCE)
    path = cut_of(cuts, "outline")
    kinds = Line if curves == "lines" else Line | Arc
    assert all(isinstance(s, kinds) for s in path.segments)
    points = path.flatten(0.0005)
    away = region.directed_deviation(points, region.curve(target, 0.0002))
    assert np.abs(away - R).max() < 0.0075


@pytest.mark.parametrize("degrees", [30, 60, 90, 120])
def test_a_notch_tip_is_unreached_by_the_wedge_formula(degrees):
    """r (1/sin(phi/2) - 1) at a wedge of angle phi."""
    depth = 8.0
    half = depth * math.tan(math.radians(degrees / 2))
    target = Path.polygon(
        [20 + 20j, 120 + 20j, 120 + 80j, 70 + half + 80j, 70 + 72j, 70 - half + 80j, 20 + 80j]
    )
    _, findings = compensate(sheet(piece(target)), Tool("laser", kerf=1.0), TOLERANCE, 5.0)
    (found,) = findings
    expected = 0.5 * (1 / math.sin(math.radians(degrees / 2)) - 1)
    assert found.code == "C503"
    assert f"{expected:.3f} mm" in found.what
    assert "(70.00, 72.00)" in found.where


def test_a_cleft_between_two_bows_is_unreached_not_swallowed():
    """Two bows of 2.4 mm that meet at 46 degrees, as on a small letter B: deep but it closes in."""
    bow = math.tan(math.radians(134 / 4))
    left, right = Arc(42 + 40j, 40 + 40j, bow), Arc(40 + 40j, 38 + 40j, bow)
    box = Path.polygon([38 + 40j, 38 + 30j, 42 + 30j, 42 + 40j], closed=False)
    target = Path.of([*box.segments, left, right], True)
    _, findings = compensate(sheet(piece(target)), Tool("laser", kerf=0.3), TOLERANCE, 2.0)
    assert codes(findings) == ["C503"]


def test_above_the_limit_the_unreached_is_refused():
    target = Path.polygon([20 + 20j, 120 + 20j, 120 + 80j, 71 + 80j, 70 + 72j, 69 + 80j, 20 + 80j])
    _, findings = compensate(sheet(piece(target)), Tool("laser", kerf=KERF), TOLERANCE, 0.5)
    assert codes(findings) == ["C504"]
    assert findings[0].is_fault
    assert "(70.00, 72.00)" in findings[0].where


def test_square_openings_list_their_four_corners():
    laid = sheet(piece(rectangle(20, 20, 60, 60), openings=(rectangle(40, 40, 10, 10),)))
    _, findings = compensate(laid, Tool("laser", kerf=0.4), TOLERANCE)
    (found,) = findings
    assert found.code == "C503"
    assert "at 4 inside corners" in found.what
    assert f"{0.2 * (math.sqrt(2) - 1):.3f} mm" in found.what


@pytest.mark.parametrize("size", [0.1, 0.19, 0.2])
def test_an_opening_the_kerf_swallows_is_refused_with_its_place(size):
    laid = sheet(piece(rectangle(20, 20, 60, 60), openings=(rectangle(40, 40, size, 9),)))
    cuts, findings = compensate(laid, TOOL, TOLERANCE)
    assert codes(findings) == ["C501"]
    assert findings[0].is_fault
    assert "opening:o0 at (40" in findings[0].where
    assert [c.contour for c in cuts] == ["outline"]


def slotted(width: float, depth: float = 10.0, pocket: float = 0.0) -> Path:
    """A plate with a slot from its top edge, ending in a square pocket where one is asked for."""
    a, b = 70 - width / 2, 70 + width / 2
    points = [20 + 20j, 120 + 20j, 120 + 80j, complex(b, 80), complex(b, 80 - depth)]
    if pocket:
        p = pocket / 2
        points += [
            complex(70 + p, 80 - depth),
            complex(70 + p, 80 - depth - pocket),
            complex(70 - p, 80 - depth - pocket),
            complex(70 - p, 80 - depth),
        ]
    return Path.polygon([*points, complex(a, 80 - depth), complex(a, 80), 20 + 80j])


@pytest.mark.parametrize("width", [0.002, 0.02, 0.1, 0.19])
@pytest.mark.parametrize("depth", [0.3, 10.0])
def test_a_slot_narrower_than_the_kerf_is_swallowed(width, depth):
    _, findings = compensate(sheet(piece(slotted(width, depth))), TOOL, TOLERANCE)
    assert codes(findings) == ["C502"]
    assert findings[0].is_fault
    assert "(69.9" in findings[0].where or "(70.0" in findings[0].where


def test_a_dent_shallower_than_half_a_kerf_is_no_gap():
    _, findings = compensate(sheet(piece(slotted(0.05, 0.08))), TOOL, TOLERANCE)
    assert codes(findings) == ["C503"]


def test_a_slot_a_little_wider_than_the_kerf_is_cut():
    _, findings = compensate(sheet(piece(slotted(0.25))), TOOL, TOLERANCE)
    assert codes(findings) == ["C503"]


def test_a_neck_that_leads_to_a_pocket_is_swallowed():
    _, findings = compensate(sheet(piece(slotted(0.1, 10, 12))), TOOL, TOLERANCE)
    assert "C502" in codes(findings)


def test_an_opening_that_falls_in_two_is_refused():
    to_right = [30 + 40j, 40 + 40j, 40 + 44.95j, 60 + 44.95j, 60 + 40j, 70 + 40j]
    to_left = [70 + 50j, 60 + 50j, 60 + 45.05j, 40 + 45.05j, 40 + 50j, 30 + 50j]
    hole = Path.polygon([*to_right, *to_left])
    laid = sheet(piece(rectangle(20, 20, 60, 60), openings=(hole,)))
    _, findings = compensate(laid, TOOL, TOLERANCE)
    assert "C502" in codes(findings)


def test_slits_and_marks_are_followed_on_their_line():
    slit = Path.polygon([50 + 50j, 70 + 50j, 70 + 60j], closed=False)
    line = Path.polygon([30 + 30j, 30 + 35j], closed=False)
    drill = Path.circle(90 + 60j, 1.5)
    marks = (Mark("toe", "line", 30 + 30j, (line,)), Mark("rod", "hole", 90 + 60j, (drill,)))
    laid = sheet(piece(rectangle(20, 20, 100, 60), slits=(slit,), marks=marks))
    cuts, _ = compensate(laid, TOOL, TOLERANCE)
    assert [(c.contour, c.operation) for c in cuts] == [
        ("mark:toe", "SCORE"),
        ("mark:rod", "HOLE"),
        ("slit:s0", "CUT_SLIT"),
        ("outline", "CUT_OUTER"),
    ]
    assert cuts[0].path == line
    assert cuts[1].path == drill
    assert cuts[2].path == slit


def test_copies_of_a_shape_are_cut_alike_however_they_lie():
    shape = piece(leaf(10, 20, 50))
    spun = Copy("spun", "part", shape, False, "cloth", "machine")
    one, other = Placement(spun, 0.0, 30.0, 40.0), Placement(spun, 137.0, 200.0, 150.0)
    laid = replace(sheet(shape), placements=(one, other))
    (first, second), _ = compensate(laid, TOOL, TOLERANCE)
    there = first.path.transformed(one.map.inverse()).transformed(other.map)
    apart = [
        abs(a.start - b.start) for a, b in zip(there.segments, second.path.segments, strict=True)
    ]
    assert max(apart) < 1e-9


def test_pieces_nearer_than_the_kerf_are_refused():
    laid = sheet(piece(rectangle(20, 20, 50, 50)), piece(rectangle(70.15, 20, 50, 50)))
    _, findings = compensate(laid, TOOL, TOLERANCE)
    assert codes(findings) == ["C506"]
    laid = sheet(piece(rectangle(20, 20, 50, 50)), piece(rectangle(70.25, 20, 50, 50)))
    assert not compensate(laid, TOOL, TOLERANCE)[1]


def test_left_to_the_machine_the_outline_stays_plain():
    target = rounded(20, 20, 100, 60, 10)
    tool = Tool("laser", frozenset({"kerf"}), kerf=KERF)
    (cut,), _ = compensate(sheet(piece(target)), tool, TOLERANCE)
    assert cut.path == target


@pytest.mark.parametrize("curves", ["arcs", "lines"])
def test_a_lead_in_starts_in_the_scrap_and_ends_where_it_joined(curves):
    hole = Path.circle(70 + 50j, 12)
    laid = sheet(piece(rounded(20, 20, 100, 60, 10), openings=(hole,)))
    tool = Tool("laser", kerf=KERF, lead_in=3.0, curves=curves)
    plain, _ = compensate(laid, Tool("laser", kerf=KERF, curves=curves), TOLERANCE)
    cuts, findings = compensate(laid, tool, TOLERANCE)
    assert not findings
    solid = region.region(laid.placements[0].piece.outline, [hole])
    for cut, bare in zip(cuts, plain, strict=True):
        assert not cut.path.closed
        lead = cut.path.segments[0]
        assert lead.length() == pytest.approx(3.0)
        assert cut.path.end == pytest.approx(lead.end)
        assert cut.path.length == pytest.approx(bare.path.length + 3.0, abs=1e-9)
        away = region.distance(region.polyline([lead.start, lead.end]), solid)
        assert away == pytest.approx(R, abs=0.004)


def test_no_clear_place_for_a_lead_in_starts_on_the_line_and_is_told():
    laid = sheet(piece(rectangle(20, 20, 60, 60), openings=(Path.circle(50 + 50j, 0.5),)))
    cuts, findings = compensate(laid, Tool("laser", kerf=KERF, lead_in=5.0), TOLERANCE)
    assert codes(findings) == ["C505"]
    assert cut_of(cuts, "opening:o0").closed
    assert not cut_of(cuts, "outline").closed


def test_lead_ins_keep_clear_of_the_neighbours():
    parts = [piece(rectangle(20 + 52 * i, 20 + 42 * j, 50, 40)) for i in range(3) for j in range(3)]
    laid = sheet(*parts)
    cuts, findings = compensate(laid, Tool("laser", kerf=KERF, lead_in=4.0), TOLERANCE)
    solids = region.union(region.region(p.outline) for p in parts)
    led = [c for c in cuts if not c.path.closed]
    for cut in led:
        lead = cut.path.segments[0]
        assert region.distance(region.polyline([lead.start, lead.end]), solids) > R - 0.004
    assert len(led) == 9
    # the middle one has neighbours on all sides: its lead is turned, not left out
    assert [(f.code, f.piece) for f in findings] == [("C509", "part/drawn/5")]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    radii=st.lists(st.floats(10, 40), min_size=3, max_size=12),
    kerf=st.floats(0.05, 1.0),
)
def test_no_point_of_any_path_is_nearer_than_half_a_kerf(radii, kerf):
    n = len(radii)
    target = Path.polygon(
        [100 + 100j + r * cmath.rect(1, 2 * math.pi * k / n) for k, r in enumerate(radii)]
    )
    cuts, findings = compensate(sheet(piece(target)), Tool("laser", kerf=kerf), TOLERANCE, 1e3)
    assert not any(f.is_fault for f in findings)
    path = cut_of(cuts, "outline")
    solid = region.region(target)
    assert region.distance(region.curve(path, 1e-4), solid) > kerf / 2 - TOLERANCE
    assert region.covers(region.region(path), solid)


def test_cuts_nearer_than_the_clearance_are_told() -> None:
    """The gap asked for lies between the cuts' middle lines, so between targets a kerf more."""
    tool = Tool("laser", kerf=KERF, clearance=3.0)
    for gap, codes_ in ((3.1, ["C508"]), (3.21, [])):
        laid = sheet(piece(rectangle(20, 20, 50, 50)), piece(rectangle(70 + gap, 20, 50, 50)))
        _, findings = compensate(laid, tool, TOLERANCE)
        assert codes(findings) == codes_
        assert not any(f.is_fault for f in findings)
    hole = rectangle(22.5, 40, 9, 9)
    _, findings = compensate(sheet(piece(rectangle(20, 20, 50, 50), openings=(hole,))), tool, 0.006)
    (told,) = [f for f in findings if f.code == "C508"]
    assert "2.50 mm of stock stay" in told.what
