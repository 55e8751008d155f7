"""Oscillating knife: strokes, run-ons that sever the bottom face, and what is left for the hand."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets import leaf, piece, rectangle, rounded, sheet

from foamwright.geometry import region
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc, Line
from foamwright.model import Mark, Tool
from foamwright.stages.compensate import compensate
from foamwright.stages.compensate.flat import bent, bow
from foamwright.stages.compensate.oscillating_knife import bent_words, lift_angle

TOLERANCE = 0.006


def tool(overrun: float = 12.7, **more) -> Tool:
    return Tool("oscillating-knife", overrun=overrun, marks_by="pen", **more)


def run(*pieces, knife: Tool | None = None, size: float = 400.0):
    laid = sheet(*pieces, width=size, length=size)
    return compensate(laid, knife or tool(), TOLERANCE)


@pytest.mark.parametrize(("thickness", "overrun"), [(3.0, 3.0), (12.7, 12.7), (25.0, 25.0)])
def test_strokes_run_on_by_what_45_degrees_ask(thickness, overrun):
    """t / tan(beta): 25 mm at 45 degrees in 25 mm."""
    assert thickness / math.tan(math.radians(45)) == pytest.approx(overrun)
    cuts, findings = run(piece(rectangle(100, 100, 100, 60)), knife=tool(overrun))
    assert not findings
    assert [c.contour for c in cuts] == ["outline"] * 4
    first = cuts[0].path
    assert first.segments == (Line(100 + 100j, complex(200 + overrun, 100)),)
    assert sum(c.path.length for c in cuts) == pytest.approx(320 + 4 * overrun)
    assert all(c.left == 0 for c in cuts)


def test_a_double_edged_blade_runs_on_at_both_ends():
    cuts, _ = run(piece(rectangle(100, 100, 100, 60)), knife=tool(10, edges="double"))
    assert cuts[0].path.segments == (Line(90 + 100j, 210 + 100j),)


def test_a_contour_without_corners_is_one_stroke_that_overlaps():
    target = rounded(100, 100, 100, 60, 15)
    cuts, findings = run(piece(target), knife=tool(12.7, overlap=1.0, far_face_max=10.0))
    (cut,) = cuts
    assert [f.code for f in findings] == ["C522"]
    assert not cut.path.closed
    assert cut.path.length == pytest.approx(target.length + 13.7)
    assert cut.path.between(0, target.length).end == pytest.approx(target.start)


def test_a_small_round_hole_is_gone_round_as_often_as_the_bottom_needs():
    hole = Path.circle(150 + 150j, 1.5)
    marks = (Mark("rod", "hole", 150 + 150j, (hole,)),)
    cuts, _ = run(piece(rectangle(100, 100, 100, 100), marks=marks), knife=tool(12.7))
    assert cuts[0].operation == "HOLE"
    assert cuts[0].path.length == pytest.approx(hole.length + 13.7)


def test_at_an_inside_corner_strokes_come_out_of_it():
    """An L: both strokes at the inside corner run away from it, so nothing is left."""
    ell = Path.polygon([100 + 100j, 200 + 100j, 200 + 140j, 150 + 140j, 150 + 200j, 100 + 200j])
    cuts, findings = run(piece(ell))
    assert not findings
    inner = 150 + 140j
    ends = [c.path.end for c in cuts]
    assert min(abs(e - inner) for e in ends) > 12
    assert sum(c.left for c in cuts) == 0


def test_a_square_opening_leaves_its_corners_for_the_hand():
    hole = rectangle(140, 140, 40, 40)
    cuts, findings = run(piece(rectangle(100, 100, 120, 120), openings=(hole,)))
    inner = [c for c in cuts if c.contour == "opening:o0"]
    assert [c.left for c in inner] == pytest.approx([12.7] * 4)
    assert sum(c.path.length for c in inner) == pytest.approx(160)
    (found,) = findings
    assert found.code == "C521"
    assert "50.8 mm at the ends of 4 strokes" in found.what
    assert not found.is_fault


def test_a_neighbour_stops_a_stroke_or_turns_it():
    """The neighbour's edge lies 5 mm past the lower right corner, in the way of one stroke."""
    first = piece(rectangle(100, 100, 100, 60))
    beside = piece(rectangle(205, 60, 50, 60), name="beside")
    cuts, findings = run(first, beside)
    lower = cuts[0].path
    assert lower.start == pytest.approx(200 + 100j)
    assert lower.end == pytest.approx(87.3 + 100j)
    assert not findings


def test_between_neighbours_a_stroke_goes_as_far_as_is_clear():
    row = [
        piece(rectangle(100 + 105 * i, y, 100, h), name=f"n{i}")
        for i, (y, h) in enumerate([(80, 100), (100, 60), (80, 100)])
    ]
    cuts, findings = run(*row, size=500)
    middle = [c for c in cuts if c.copy.startswith("n1")]
    assert middle[0].path.end.real == pytest.approx(310 - 0.1, abs=0.01)
    assert middle[0].left == pytest.approx(12.7 - 4.9, abs=0.01)
    assert "C521" in [f.code for f in findings]


def test_small_turns_are_followed_without_a_lift():
    target = Path.polygon([100 + 100j, 150 + 100j, 200 + 104j, 200 + 160j, 100 + 160j])
    cuts, _ = run(piece(target), knife=tool(3.0))
    assert len(cuts) == 4
    assert len(cuts[0].path.segments) == 2


def test_a_curved_outline_is_cut_between_its_corners():
    target = leaf(100, 150, 60)
    cuts, _ = run(piece(target))
    assert len(cuts) == 2
    assert all(isinstance(s, Line | Arc) for c in cuts for s in c.path.segments)
    edge = region.curve(target, 1e-4)
    for cut in cuts:
        assert cut.path.segments[0].length() == pytest.approx(12.7)  # runs in along the tangent
        stroke = cut.path.between(12.7, cut.path.length - 12.7 + cut.left)
        assert region.directed_deviation(stroke.flatten(0.0005), edge).max() < 0.0065


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    gaps=st.tuples(st.floats(0.5, 40), st.floats(0.5, 40)),
    overrun=st.floats(0.5, 30),
    edges=st.sampled_from(["single", "double"]),
)
def test_no_stroke_enters_any_piece(gaps, overrun, edges):
    dx, dy = gaps
    parts = [
        piece(leaf(60, 100, 40), name="a"),
        piece(rectangle(150 + dx, 60, 40, 60), name="b"),
        piece(
            Path.polygon([60 + 0j, 100 + 0j, 90 + 20j, 100 + 40j, 60 + 40j]).transformed(
                _moved(0, 140 + dy)
            ),
            name="c",
        ),
    ]
    cuts, _ = run(*parts, knife=tool(overrun, edges=edges))
    solids = [region.grown(region.region(p.outline), -0.012) for p in parts]
    for cut in cuts:
        line = region.curve(cut.path)
        assert not any(region.touches_or_overlaps(s, line) for s in solids)


def _moved(x: float, y: float):
    from foamwright.geometry.affine import Affine

    return Affine.translation(complex(x, y))


def test_slits_are_cut_to_their_ends_and_run_out_at_an_edge():
    """A slit from inside to the edge runs on past the edge, whichever way it was drawn."""
    inside = Path.polygon([120 + 120j, 150 + 120j], closed=False)
    notch = Path.polygon([150 + 100j, 150 + 110j], closed=False)
    cuts, findings = run(piece(rectangle(100, 100, 100, 60), slits=(inside, notch)))
    assert cuts[0].path == inside
    assert cuts[0].left == pytest.approx(12.7)
    assert cuts[1].path.start == pytest.approx(150 + 110j)
    assert cuts[1].path.end == pytest.approx(150 + 87.3j)
    assert cuts[1].left == 0
    assert [f.code for f in findings] == ["C521"]


# A flat blade on curves: what it leaves, where it goes in, what is refused


def arc(radius: float, degrees: float, straight: float = 0.0) -> Path:
    """A left turn about the origin from (radius, 0), after a straight way of so many mm."""
    start = complex(radius)
    bend = Arc(
        start, start * cmath.rect(1, math.radians(degrees)), math.tan(math.radians(degrees) / 4)
    )
    return Path((Line(start - 1j * straight, start), bend) if straight else (bend,), False)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(radius=st.floats(8, 300), overrun=st.floats(0.5, 5), longer=st.floats(1.0, 1.5))
def test_what_trails_on_a_curve_is_off_by_closed_forms(radius, overrun, longer):
    """sqrt(R^2 + x^2) - R for the back and the lower edge, R (1 - cos(w / 2R)) for the flat."""
    knife = tool(overrun, plunge=overrun * longer)
    found = bent(arc(radius, 200), knife)
    assert found.far == pytest.approx(math.hypot(radius, overrun) - radius, rel=0.01, abs=0.002)
    assert found.back == pytest.approx(
        math.hypot(radius, knife.section) - radius, rel=0.01, abs=0.002
    )
    bow = radius * (1 - math.cos(knife.section / (2 * radius)))
    assert found.flat == pytest.approx(bow, rel=0.01, abs=0.002)
    assert found.flat == pytest.approx(knife.section**2 / (8 * radius), rel=0.15, abs=0.002)
    assert found.radius == pytest.approx(radius)


def test_a_flat_blade_6_mm_wide_leaves_a_third_of_a_millimetre_on_15_mm():
    """w^2 / 8R = 0.30 mm."""
    assert bent(arc(15, 120), tool(6)).flat == pytest.approx(0.30, abs=0.005)


def test_a_short_sharp_bend_counts_for_no_more_than_it_does():
    """A radius of 0.05 mm would leave w^2 / 8R = 90 mm; turned by 5 degrees it moves the back by
    w sin 5."""
    turn = cmath.rect(1, math.radians(5))
    end = 20 + 0.05j - 0.05j * turn
    bend = Arc(20 + 0j, end, math.tan(math.radians(5) / 4))
    found = bent(Path((Line(0j, 20 + 0j), bend, Line(end, end + 20 * turn)), False), tool(6))
    assert found.back == pytest.approx(6 * math.sin(math.radians(5)), abs=0.02)
    assert found.flat < 0.2


def test_a_straight_stroke_has_nothing_off():
    assert bent(Path((Line(0j, 40 + 0j),), False), tool(6)) is None


def test_a_tight_curve_is_told_and_beyond_the_limit_refused():
    target = rounded(100, 100, 100, 60, 15)
    _, (told,) = run(piece(target), knife=tool(6, far_face_max=1.2))
    assert (told.code, told.is_fault) == ("C522", False)
    assert "leaves 0.30 mm on a curve of radius 15.0 mm" in told.what
    assert "its edge at the bottom face 1.16 mm" in told.what
    _, (refused,) = run(piece(target), knife=tool(6, far_face_max=1.1))
    assert (refused.code, refused.is_fault) == ("C522", True)
    assert "far_face_max is 1.1 mm" in refused.what


def test_a_curve_is_judged_as_it_is_written():
    """6 mm behind on 100 mm an arc leaves 0.18 mm; on chords the blade turns at their joints."""
    target = rounded(20, 20, 300, 300, 100)
    _, (arcs,) = run(piece(target), knife=tool(6, far_face_max=0.2))
    assert not arcs.is_fault
    assert "its edge at the bottom face 0.18 mm" in arcs.what
    _, (chords,) = run(piece(target), knife=tool(6, far_face_max=0.2, curves="lines"))
    assert chords.is_fault
    assert "on a curve of radius 100.0 mm, its back lies 0.2" in chords.what


def test_a_kink_between_flat_arcs_is_called_one():
    first = Arc(0j, 100 + 0j, 0.02)
    turned = cmath.rect(1, math.radians(8)) * first.tangent(1.0) / first.tangent(0.0)
    path = Path((first, Arc(100 + 0j, 100 + 100 * turned, 0.02)), False)
    assert " at a kink, its back lies 0.07 mm off" in bent_words(bent(path, tool(0.5)), tool(0.5))


def test_a_hole_narrower_than_the_blade_is_refused_in_words():
    hole = Path.circle(150 + 150j, 1.5)
    marks = (Mark("rod", "hole", 150 + 150j, (hole,)),)
    _, findings = run(piece(rectangle(100, 100, 100, 100), marks=marks), knife=tool(4.4))
    (found,) = findings
    assert (found.code, found.is_fault) == ("C522", True)
    assert "wider than a curve of radius 1.5 mm: its back swings out 3.1" in found.what


def test_a_round_outline_is_run_into_along_the_tangent_from_the_scrap():
    (cut,), _ = run(piece(Path.circle(150 + 150j, 40)), knife=tool(3))
    first = cut.path.segments[0]
    assert isinstance(first, Line)
    assert first.length() == pytest.approx(3)
    assert abs(first.end - (150 + 150j)) == pytest.approx(40)
    assert turn_degrees(first.tangent(1.0), cut.path.segments[1].tangent(0.0)) == pytest.approx(
        0, abs=1e-6
    )
    assert cut.path.length == pytest.approx(2 * math.pi * 40 + 1 + 3 + 3)


def test_a_rounded_outline_is_entered_half_way_along_its_longest_line():
    target = rounded(100, 100, 100, 60, 15).starting_at(1)
    assert isinstance(target.segments[0], Arc)
    (cut,), _ = run(piece(target), knife=tool(3))
    assert cut.path.start == pytest.approx(150 + 160j)
    assert cut.path.length == pytest.approx(target.length + 4)


def test_a_run_that_starts_on_a_curve_is_run_into_from_the_scrap():
    cuts, _ = run(piece(leaf(100, 150, 60)), knife=tool(3))
    for cut in cuts:
        assert bow(cut.path, 3) == pytest.approx(0, abs=1e-9)


def test_small_turns_that_swing_the_back_out_too_far_are_lifted_at():
    """12.7 mm of blade turned by 4.6 degrees swings out 1.02 mm."""
    assert lift_angle(tool(12.7)) == pytest.approx(math.degrees(math.asin(1 / 12.7)))
    assert lift_angle(tool(0.5)) == 10.0
    target = Path.polygon([100 + 100j, 150 + 100j, 200 + 104j, 200 + 160j, 100 + 160j])
    cuts, _ = run(piece(target), knife=tool(12.7))
    assert len(cuts) == 5


# Going in


def test_a_stroke_shorter_than_the_blade_is_made_longer_into_the_scrap():
    """A tab 3 mm wide under a blade of 6 mm: its end's stroke goes 1.5 mm beyond the overrun."""
    tab = [
        100 + 100j,
        200 + 100j,
        200 + 160j,
        153 + 160j,
        153 + 180j,
        150 + 180j,
        150 + 160j,
        100 + 160j,
    ]
    cuts, findings = run(piece(Path.polygon(tab)), knife=tool(1.5, plunge=6.0))
    assert not findings
    top = next(c for c in cuts if c.path.start == pytest.approx(153 + 180j))
    assert top.path.end == pytest.approx(147 + 180j)
    assert all(c.path.length >= 6 - 1e-9 for c in cuts)


def test_where_a_blade_cannot_go_in_the_job_is_refused():
    hole = rectangle(140, 140, 4, 30)
    _, findings = run(
        piece(rectangle(100, 100, 120, 120), openings=(hole,)), knife=tool(0.0, plunge=6.0)
    )
    assert [f.code for f in findings] == ["C523", "C523"]
    assert all(f.is_fault for f in findings)
    assert "a stroke of 4.0 mm" in findings[0].what


def test_a_double_edged_blade_needs_room_for_both_its_edges():
    hole = rectangle(140, 140, 10, 30)
    ground = piece(rectangle(100, 100, 120, 120), openings=(hole,))
    _, single = run(ground, knife=tool(6.0))
    _, double = run(ground, knife=tool(6.0, edges="double"))
    assert [f.code for f in single] == ["C521"]
    assert [f.code for f in double] == ["C521", "C523", "C523"]


def test_a_v_notch_is_cut_from_its_point_outwards():
    """Both flanks are severed to the point at the bottom face too: the run-on lies in the scrap."""
    notched = Path.polygon(
        [100 + 100j, 148 + 100j, 150 + 104j, 152 + 100j, 200 + 100j, 200 + 160j, 100 + 160j]
    )
    cuts, findings = run(piece(notched), knife=tool(2.0, plunge=2.3))
    assert not findings
    flanks = [c for c in cuts if abs(c.path.start - (150 + 104j)) < 1e-9]
    assert len(flanks) == 2
    assert [c.left for c in cuts] == [0] * 7
    assert all(c.path.end.imag < 100 for c in flanks)


def test_no_stroke_runs_off_the_sheet():
    cuts, _ = run(piece(rectangle(1, 100, 397, 60)), knife=tool(12.7))
    assert all(0 <= x <= 400 for c in cuts for x in (c.path.bounds[0], c.path.bounds[2]))


def test_left_to_the_machine_the_outline_stays_plain():
    target = rectangle(100, 100, 100, 60)
    knife = tool(12.7, applies=frozenset({"tangent", "overrun"}))
    (cut,), findings = run(piece(target), knife=knife)
    assert cut.path == target
    assert not findings


def test_a_knife_with_a_kerf_is_told_that_it_is_not_compensated():
    _, findings = run(piece(rectangle(100, 100, 100, 60)), knife=tool(1.0, kerf=0.4))
    assert [f.code for f in findings] == ["C531"]
