"""Leads: in the scrap, at their length and angle, and never through a piece or a bridge."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets import leaf, piece, rectangle, rounded, sheet

from foamwright.geometry import region
from foamwright.geometry.path import Path, turn_degrees
from foamwright.model import Cut, Sheet, Tool
from foamwright.stages.compensate import compensate
from foamwright.stages.compensate.ground import Ground
from foamwright.stages.compensate.leads import Kept, LeadGround, led_ways

TOLERANCE = 0.006
KERF = 0.2


def tool(**more: float) -> Tool:
    return Tool("laser", kerf=KERF, **more)  # type: ignore[arg-type]


def swept_clear(laid: Sheet, cut: Cut, radius: float) -> bool:
    """Whether all that the beam removes along a cut stays off every piece, to the chain's limit."""
    line = region.curve(cut.path)
    solids = [
        region.region(p.piece.outline, [o.path for o in p.piece.openings]) for p in laid.placements
    ]
    return all(region.distance(line, s) > radius - 0.01 for s in solids)


@pytest.mark.parametrize("angle", [20.0, 45.0, 75.0])
def test_both_leads_have_their_length_and_angle(angle: float) -> None:
    hole = Path.circle(70 + 50j, 14)
    laid = sheet(piece(rounded(20, 20, 100, 60, 10), openings=(hole,)))
    made, findings = compensate(laid, tool(lead_in=3.0, lead_out=2.0, lead_angle=angle), TOLERANCE)
    assert not findings
    for cut in made:
        first, last = cut.path.segments[0], cut.path.segments[-1]
        assert (first.length(), last.length()) == pytest.approx((3.0, 2.0))
        assert first.end == pytest.approx(last.start)
        begins = turn_degrees(first.tangent(1.0), cut.path.segments[1].tangent(0.0))
        ends = turn_degrees(cut.path.segments[-2].tangent(1.0), last.tangent(0.0))
        # material lies to the left: from the right onto the line, and off it to the right
        assert (begins, ends) == pytest.approx((-angle, -angle))
        assert swept_clear(laid, cut, KERF / 2)


def test_every_entry_that_order_may_choose_is_clear() -> None:
    parts = [piece(leaf(20 + 105 * i, 40 + 62 * j, 50)) for i in range(2) for j in range(3)]
    laid = sheet(*parts)
    made, _ = compensate(laid, tool(lead_in=4.0, lead_out=3.0), TOLERANCE)
    for cut in made:
        assert len(cut.entries) > 4
        assert cut.entries[0].path == cut.path
        for entry in cut.entries:
            assert entry.before
            assert entry.after
            run = Cut(cut.copy, cut.contour, cut.operation, entry.path)
            assert swept_clear(laid, run, KERF / 2)


def test_a_lead_is_moved_along_before_it_is_turned_or_shortened() -> None:
    """A neighbour along the longest side; the short sides are free."""
    laid = sheet(piece(rectangle(50, 50, 100, 30)), piece(rectangle(50, 46, 100, 3)))
    made, findings = compensate(laid, tool(lead_in=5.0, lead_angle=90.0), TOLERANCE)
    assert not findings
    lead = made[0].path.segments[0]
    assert lead.length() == pytest.approx(5.0)
    assert lead.end.imag > 50


def test_where_it_fits_nowhere_it_is_turned_then_shortened_and_told() -> None:
    narrow = piece(rectangle(20, 20, 100, 60), openings=(rectangle(40, 40, 50, 2),))
    made, findings = compensate(sheet(narrow), tool(lead_in=3.0, lead_angle=60.0), TOLERANCE)
    (told,) = [f for f in findings if f.code == "C509"]
    assert "3 mm at 30 degrees" in told.what
    small = piece(rectangle(20, 20, 100, 60), openings=(rectangle(40, 40, 5, 5),))
    made, findings = compensate(sheet(small), tool(lead_in=8.0, lead_angle=60.0), TOLERANCE)
    (told,) = [f for f in findings if f.code == "C509"]
    assert "4 mm at 60 degrees" in told.what
    assert made[0].path.segments[0].length() == pytest.approx(4.0)


def test_no_place_at_all_is_told_and_the_cut_starts_on_its_line() -> None:
    hole = piece(rectangle(20, 20, 100, 60), openings=(rectangle(40, 40, 0.8, 0.8),))
    made, findings = compensate(sheet(hole), tool(lead_in=5.0, lead_out=5.0), TOLERANCE)
    told = [f.what for f in findings if f.code == "C505"]
    assert told == ["no clear place for a lead-in of 5 mm", "no clear place for a lead-out of 5 mm"]
    assert made[0].path.closed


@pytest.mark.parametrize("face", ["kerf", "taper", "oval"])
def test_a_wider_face_or_side_counts(face: str) -> None:
    """What the beam removes along a lead is as wide as its widest face, either way."""
    beams = {
        "kerf": Tool("laser", kerf=0.2, lead_in=4.0),
        "taper": Tool("laser", kerf=0.2, kerf_entry=0.8, kerf_exit=0.2, true_face="bottom"),
        "oval": Tool("laser", kerf=0.2, kerf_y=0.8),
    }
    beam = beams[face]
    laid = sheet(piece(rectangle(50, 50, 100, 30)))
    clear = LeadGround(Ground(laid), beam, [])
    wide = {"kerf": 0.1, "taper": 0.4, "oval": 0.4}[face]
    # beside the piece's left edge, along it: as near as the widest face allows, and nearer
    contact = 50 - wide - 0.02 + 60j
    assert clear.is_clear(contact + 5j, contact, 45.0)
    if wide > 0.1:
        nearer = 50 - wide + 0.1 + 60j
        assert not clear.is_clear(nearer + 5j, nearer, 45.0)


def test_a_lead_keeps_off_what_must_stay() -> None:
    laid = sheet(piece(rectangle(50, 50, 100, 30)))
    neck = Kept(region.polyline([100 + 50j, 100 + 45j]), 1.0)
    clear = LeadGround(Ground(laid), tool(), [neck])
    assert clear.is_clear(101.2 + 46j, 101.2 + 49.9j, 90.0)
    assert not clear.is_clear(101.0 + 46j, 101.0 + 49.9j, 90.0)


def test_left_to_the_machine_a_contour_stays_closed() -> None:
    own = Tool("laser", frozenset({"kerf"}), kerf=KERF, lead_in=3.0)
    made, findings = compensate(sheet(piece(rectangle(20, 20, 60, 40))), own, TOLERANCE)
    assert made[0].path.closed
    assert not findings


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    radii=st.lists(st.floats(12, 40), min_size=3, max_size=10),
    lead=st.floats(0.5, 12.0),
    angle=st.floats(15, 90),
    gap=st.floats(1.0, 20.0),
)
def test_no_lead_ever_enters_a_piece(
    radii: list[float], lead: float, angle: float, gap: float
) -> None:
    n = len(radii)
    star = Path.polygon(
        [100 + 100j + r * cmath.rect(1, 2 * math.pi * k / n) for k, r in enumerate(radii)]
    )
    high = star.bounds[2]
    bar = rectangle(high + gap, 60, 10, 80)
    hole = Path.circle(100 + 100j, 4.0) if min(radii) * math.cos(math.pi / n) > 6 else None
    star_piece = piece(star, openings=(hole,) if hole else ())
    laid = sheet(star_piece, piece(bar))
    led = tool(lead_in=lead, lead_out=lead / 2, lead_angle=angle)
    made, _ = compensate(laid, led, TOLERANCE, 1e3)
    for cut in made:
        for entry in cut.entries:
            run = Cut(cut.copy, cut.contour, cut.operation, entry.path)
            assert swept_clear(laid, run, KERF / 2)


def test_ways_without_a_wish_are_none() -> None:
    laid = sheet(piece(rectangle(20, 20, 60, 40)))
    found, leads = led_ways(
        rectangle(19.9, 19.9, 60.2, 40.2), tool(), LeadGround(Ground(laid), tool(), [])
    )
    assert found == ()
    assert (leads.begin, leads.end) == (0.0, 0.0)
