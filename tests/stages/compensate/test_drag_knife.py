"""Drag knife: the pivot path in closed form, and driven by an integrator of the tests' own."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets import leaf, piece, rectangle, rounded, sheet
from tractrix import drive

from foamwright.geometry import region
from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line
from foamwright.model import Cut, Mark, Tool
from foamwright.stages.compensate import compensate
from foamwright.stages.compensate.pivot import pivot_segments
from foamwright.stages.compensate.run_in import run_in_length, zone

E = 0.5
TOOL = Tool("drag-knife", blade_offset=E, marks_by="slit", overlap=1.0)
HEADINGS = (-150.0, -120.0, -60.0, 0.0, 45.0, 90.0, 150.0)


def worst_tip(cut: Cut, target: Path, heading_off: float, e: float = E) -> tuple[float, float]:
    """How far the tip leaves the target after the run-in, and the target the tip's way, mm."""
    stroke = cut.path.segments[0]
    heading = cmath.phase(stroke.tangent(0.0)) + math.radians(heading_off)
    _, heading = drive(Path((stroke,), False), e, heading)
    rest = Path(cut.path.segments[1:], False)
    tips, _ = drive(rest, e, heading)
    edge = region.curve(target, 1e-4)
    way = region.polyline(tips)
    out = region.directed_deviation(tips, edge).max()
    back = region.directed_deviation(target.flatten(0.001), way).max()
    return float(out), float(back)


def test_integrator_follows_the_closed_form():
    """x = s - e tanh(s/e), y = e sech(s/e) from a heading square to the way."""
    tips, _ = drive(Path((Line(0j, 3 + 0j),), False), E, -math.pi / 2, step=0.01)
    s = np.concatenate([[0.0], np.linspace(0.0, 3.0, len(tips) - 1)])
    expected = s - E * np.tanh(s / E) + 1j * E / np.cosh(s / E)
    assert np.abs(tips - expected).max() < 1e-7


@pytest.mark.parametrize(("s", "y"), [(0.5, 0.3240), (1.0, 0.1329), (2.0, 0.0183)])
def test_integrator_gives_the_known_figures(s, y):
    tips, _ = drive(Path((Line(0j, complex(s)),), False), E, -math.pi / 2)
    assert tips[-1].imag == pytest.approx(y, abs=6e-5)


@pytest.mark.parametrize(("target_degrees", "runs"), [(10, 2.44), (5, 3.13), (1, 4.74)])
def test_integrator_aligns_from_square_as_told(target_degrees, runs):
    _, heading = drive(Path((Line(0j, complex(runs * E)),), False), E, -math.pi / 2)
    assert abs(math.degrees(heading)) == pytest.approx(target_degrees, rel=0.01)


def test_run_in_is_as_long_as_the_tractrix_asks():
    assert run_in_length(0.5) == pytest.approx(3.77, abs=0.01)


def test_run_in_of_the_least_offset_is_no_negative_length():
    assert run_in_length(0.001) >= 0


def test_an_arc_becomes_the_concentric_arc():
    """R = 5, e = 0.5: sqrt(R^2 + e^2) = 5.0249 mm."""
    arc = Arc(5 + 0j, 5j, math.tan(math.pi / 8))
    (made,) = pivot_segments(Path((arc,), False), E, 10.0)
    assert isinstance(made, Arc)
    assert made.radius == pytest.approx(math.sqrt(25.25), abs=1e-12)
    assert made.radius == pytest.approx(5.0249, abs=5e-5)
    assert abs(made.centre) < 1e-12


def test_a_clockwise_arc_becomes_the_concentric_arc():
    arc = Arc(5j, 5 + 0j, -math.tan(math.pi / 8))
    (made,) = pivot_segments(Path((arc,), False), E, 10.0)
    assert isinstance(made, Arc)
    assert made.radius == pytest.approx(math.sqrt(25.25), abs=1e-12)
    assert made.bulge == arc.bulge


def test_a_line_shifts_along_itself_and_a_corner_is_swung_about():
    made = pivot_segments(Path.polygon([0j, 10 + 0j, 10 + 10j], closed=False), E, 10.0)
    assert [type(s) for s in made] == [Line, Arc, Line]
    assert made[0].start == pytest.approx(0.5 + 0j)
    assert made[0].end == pytest.approx(10.5 + 0j)
    assert made[1].centre == pytest.approx(10 + 0j)
    assert made[1].radius == pytest.approx(E)
    assert math.degrees(made[1].sweep) == pytest.approx(90.0)


@pytest.mark.parametrize("kink", [0.3, 1.0, 2.9])
def test_a_kink_is_cut_across_within_a_micron_and_without_a_sidestep(kink):
    turn = cmath.rect(1.0, math.radians(kink))
    tip = Path((Line(0j, 20 + 0j), Line(20 + 0j, 20 + 20 * turn)), False)
    made = Path.of(pivot_segments(tip, E, 10.0), False)
    tips, _ = drive(made, E, 0.0, step=0.005)
    assert region.directed_deviation(tips, region.curve(tip)).max() < 0.001
    turns = [
        abs(math.degrees(cmath.phase(b.tangent(0.0) / a.tangent(1.0))))
        for a, b in zip(made.segments, made.segments[1:], strict=False)
    ]
    assert max(turns) < 15


def test_a_kink_before_a_tight_bend_is_not_cut_across_far():
    """A kink of 0.4 degrees where the bend begins at a radius near the blade offset."""
    turn = cmath.rect(1.0, math.radians(90.4))
    bend = Arc(1j, 1j - 1j * turn + turn, math.tan(math.pi / 8))
    tip = Path((Line(-4j, 1j), bend), False)
    made = Path.of(pivot_segments(tip, E, 10.0), False)
    tips, _ = drive(made, E, math.pi / 2, step=0.005)
    assert region.directed_deviation(tips, region.curve(tip, 1e-5)).max() < 0.002


def outlines():
    return {
        "square": rectangle(40, 40, 60, 40),
        "rounded": rounded(40, 40, 60, 40, 8),
        "circle": Path.circle(80 + 80j, 30),
        "leaf": leaf(60, 80, 50),
        "star": Path.polygon(
            [
                100 + 100j + (40 if k % 2 == 0 else 22) * cmath.rect(1, math.pi * k / 5)
                for k in range(10)
            ]
        ),
        "notched": Path.polygon(
            [30 + 30j, 90 + 30j, 90 + 60j, 64 + 60j, 60 + 50j, 56 + 60j, 30 + 60j]
        ),
    }


@pytest.mark.parametrize("name", outlines())
@pytest.mark.parametrize("heading", HEADINGS)
def test_the_tip_cuts_the_outline_from_any_start_heading(name, heading):
    target = outlines()[name]
    cuts, findings = compensate(sheet(piece(target)), TOOL, 0.006)
    assert not findings
    (cut,) = cuts
    assert not cut.path.closed
    assert all(isinstance(s, Line | Arc) for s in cut.path.segments)
    out, back = worst_tip(cut, target, heading)
    limit = 0.003 if name != "leaf" else 0.0065
    assert out < limit
    assert back < limit


@pytest.mark.parametrize("name", outlines())
@pytest.mark.parametrize("e", [0.5, 1.0])
def test_chords_do_as_well(name, e):
    target = outlines()[name]
    tool = Tool("drag-knife", blade_offset=e, curves="lines")
    (cut,), _ = compensate(sheet(piece(target)), tool, 0.006)
    assert all(isinstance(s, Line) for s in cut.path.segments)
    out, back = worst_tip(cut, target, 100.0, e)
    assert max(out, back) < 0.0065


@pytest.mark.parametrize("name", outlines())
@pytest.mark.parametrize("curves", ["arcs", "lines"])
def test_the_tip_cuts_the_outline_by_every_entry(name, curves):
    target = outlines()[name]
    tool = Tool("drag-knife", blade_offset=E, overlap=1.0, curves=curves)
    (cut,), _ = compensate(sheet(piece(target)), tool, 0.006)
    assert len(cut.entries) >= 8
    starts = [e.start for e in cut.entries]
    assert len({complex(round(p.real, 3), round(p.imag, 3)) for p in starts}) == len(starts)
    assert cut.path == cut.entries[0].path
    few = cut.entries[:: 2 if curves == "arcs" else 5]
    for k, entry in enumerate(few):
        run = Cut("p", "outline", "CUT_OUTER", entry.path)
        assert run.path.start == pytest.approx(entry.start, abs=1e-9)
        assert run.path.end == pytest.approx(entry.end, abs=1e-9)
        assert max(worst_tip(run, target, HEADINGS[k % len(HEADINGS)])) < 0.0065


def test_a_dropped_blade_offset_is_seen_by_the_same_check():
    """The check above can fail: the plain outline driven as a pivot path cuts corners off."""
    target = rectangle(40, 40, 60, 40)
    run = Line(target.start - 4, target.start)
    plain = Cut("p", "outline", "CUT_OUTER", Path((run, *target.segments), False))
    out, back = worst_tip(plain, target, 0.0)
    assert max(out, back) > 0.1


def test_run_ins_stay_out_of_every_piece():
    """Two pieces 12 mm apart: the tip from any heading stays out of both."""
    parts = [
        piece(rectangle(20, 20, 50, 40)),
        piece(rectangle(82, 20, 50, 40)),
        piece(leaf(30, 110, 40)),
    ]
    laid = sheet(*parts)
    cuts, findings = compensate(laid, TOOL, 0.006)
    assert not findings
    solids = [region.grown(region.region(p.outline), -0.004) for p in parts]
    assert all(len(cut.entries) > 1 for cut in cuts)
    for entry in (e for cut in cuts for e in cut.entries):
        stroke = entry.path.segments[0]
        for off in range(-150, 151, 60):
            heading = cmath.phase(stroke.tangent(0.0)) + math.radians(off)
            tips, _ = drive(Path((stroke,), False), E, heading)
            assert not any(region.touches_or_overlaps(s, region.polyline(tips)) for s in solids)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(off=st.floats(-150, 150), e=st.floats(0.15, 1.0))
def test_the_zone_holds_the_tip_from_any_heading(off, e):
    stroke = Line(3 + 4j, 3 + 4j + run_in_length(e) * cmath.rect(1.0, 0.7))
    tips, _ = drive(Path((stroke,), False), e, 0.7 + math.radians(off))
    where = region.grown(zone(stroke, e), 0.003 * e)
    assert region.covers(where, region.polyline(tips))
    assert abs(tips[-1] - (stroke.end - e * stroke.tangent(1.0))) < 0.0021


def test_slits_and_marks_are_set_down_after_an_alignment_stroke():
    mark = Mark("toe", "line", 60 + 60j, (Path.polygon([60 + 55j, 60 + 65j], closed=False),))
    slit = Path.polygon([50 + 50j, 70 + 50j, 70 + 60j], closed=False)
    laid = sheet(piece(rectangle(40, 40, 60, 40), slits=(slit,), marks=(mark,)))
    cuts, findings = compensate(laid, TOOL, 0.006)
    assert not findings
    assert [c.contour for c in cuts] == ["align", "mark:toe", "slit:s0", "outline"]
    assert {c.operation for c in cuts} == {"CUT_SLIT", "CUT_OUTER"}
    assert cuts[0].operation == "CUT_SLIT"
    for off in (-150.0, 20.0, 150.0):
        _, heading = drive(cuts[0].path, E, math.radians(off))
        for cut, target in ((cuts[1], mark.paths[0]), (cuts[2], slit)):
            tips, heading = drive(cut.path, E, heading)
            edge = region.curve(target)
            assert region.directed_deviation(tips, edge).max() < 0.003
            assert math.degrees(heading) % 360 == pytest.approx(0, abs=0.3) or math.degrees(
                heading
            ) % 360 == pytest.approx(360, abs=0.3)


def test_set_down_cuts_may_stand_in_any_sequence():
    slits = tuple(
        Path.polygon([80 + 80j + 5 * v, 80 + 80j + 15 * v], closed=False)
        for v in (cmath.rect(1, math.radians(a)) for a in (0, 100, 180, 181, 270))
    )
    laid = sheet(piece(rectangle(40, 40, 80, 80), slits=slits))
    cuts, _ = compensate(laid, TOOL, 0.006)
    align, *set_down, _ = cuts
    _, heading = drive(align.path, E, math.radians(130))
    for k in (3, 0, 4, 2, 1):
        tips, heading = drive(set_down[k].path, E, heading)
        assert region.directed_deviation(tips, region.curve(slits[k])).max() < 0.003


def test_a_small_opening_is_set_down_and_told():
    laid = sheet(piece(rectangle(40, 40, 60, 40), openings=(Path.circle(60 + 60j, 1.5),)))
    cuts, findings = compensate(laid, TOOL, 0.006)
    assert [f.code for f in findings] == ["C512"]
    assert cuts[0].contour == "align"
    opening = next(c for c in cuts if c.contour == "opening:o0")
    assert len(opening.entries) > 1
    for entry in opening.entries:
        tips, heading = drive(entry.path, E, 0.0)
        assert np.abs(np.abs(tips - (60 + 60j)) - 1.5).max() < 0.003
        assert math.cos(heading) == pytest.approx(1.0, abs=1e-4)


def test_an_opening_with_room_is_entered_from_inside():
    hole = Path.circle(70 + 60j, 8).clockwise()
    laid = sheet(piece(rectangle(40, 40, 60, 40), openings=(hole,)))
    cuts, findings = compensate(laid, TOOL, 0.006)
    assert not findings
    cut = next(c for c in cuts if c.contour == "opening:o0")
    for off in HEADINGS:
        assert max(worst_tip(cut, hole, off)) < 0.003
    assert abs(cut.path.start - (70 + 60j)) < 8


def test_without_scrap_for_the_alignment_stroke_the_sheet_is_refused():
    slit = Path.polygon([50 + 50j, 70 + 50j], closed=False)
    laid = sheet(piece(rectangle(0, 0, 100, 100), slits=(slit,)), width=100, length=100)
    _, findings = compensate(laid, TOOL, 0.006)
    assert "C513" in [f.code for f in findings if f.is_fault]


def test_a_curve_tighter_than_the_offset_is_told():
    laid = sheet(piece(rounded(40, 40, 60, 40, 0.3)))
    _, findings = compensate(laid, TOOL, 0.006)
    assert [f.code for f in findings] == ["C511"]


def test_a_curve_tighter_than_the_offset_is_told_where_the_machine_compensates_too():
    laid = sheet(piece(rounded(40, 40, 60, 40, 0.3)))
    tool = Tool("drag-knife", frozenset({"blade-offset"}), blade_offset=E)
    _, (found,) = compensate(laid, tool, 0.006)
    assert found.code == "C511"
    assert "radius 0.30 mm" in found.what


def test_left_to_the_machine_the_outline_stays_plain():
    target = rounded(40, 40, 60, 40, 8)
    tool = Tool("drag-knife", frozenset({"blade-offset"}), blade_offset=E)
    (cut,), findings = compensate(sheet(piece(target)), tool, 0.006)
    assert cut.path == target
    assert not findings


def test_pen_marks_are_drawn_as_they_are():
    line = Path.polygon([60 + 55j, 60 + 65j], closed=False)
    laid = sheet(piece(rectangle(40, 40, 60, 40), marks=(Mark("toe", "line", 60j, (line,)),)))
    tool = Tool("drag-knife", blade_offset=E, marks_by="pen")
    cuts, _ = compensate(laid, tool, 0.006)
    assert cuts[0].path == line
    assert cuts[0].operation == "PEN"


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    bend=st.tuples(*[st.floats(-15, 15)] * 4),
    e=st.floats(0.2, 1.0),
)
def test_the_tip_follows_any_fair_cubic(bend, e):
    a, b, c, d = bend
    curve = Cubic(0j, complex(20 + a, b), complex(40 + c, d), 60 + 10j)
    tip = Path((curve,), False)
    made = fit_arcs(Path.of(pivot_segments(tip, e, 10.0), False, 1.0), 0.0002)
    tips, _ = drive(made, e, cmath.phase(curve.tangent(0.0)), step=0.5)
    assert region.directed_deviation(tips, region.curve(tip, 1e-5)).max() < 0.0004


@pytest.mark.parametrize("short", [0.0, 1e-6, 1e-3, 0.05])
def test_the_blade_is_swung_through_a_cubic_s_cusp(short):
    """At a stop, or nearly one, the tip rests and the pivot goes round it: no cubic lies there."""
    cubic = Cubic(60 + 50j, 10 + short + 100j, 60 - short + 100j, 10 + 50j)
    outline = Path.of(
        [Line(10 + 50j, 10 + 20j), Line(10 + 20j, 60 + 20j), Line(60 + 20j, 60 + 50j), cubic], True
    )
    (made,), _ = compensate(sheet(piece(outline)), TOOL, 0.006)
    out, back = worst_tip(made, outline, 150.0)
    assert out < 0.01
    assert back < 0.01
