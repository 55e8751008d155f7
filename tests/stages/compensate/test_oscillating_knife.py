"""Oscillating knife: strokes, run-ons that sever the bottom face, and what is left for the hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets import leaf, piece, rectangle, rounded, sheet

from foamwright.geometry import region
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.model import Mark, Tool
from foamwright.stages.compensate import compensate

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
    cuts, findings = run(piece(target), knife=tool(12.7, overlap=1.0))
    (cut,) = cuts
    assert not findings
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
    assert "50.8 mm at 4" in found.what
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
    cuts, _ = run(piece(target))
    assert len(cuts) == 4
    assert len(cuts[0].path.segments) == 2


def test_a_curved_outline_is_cut_between_its_corners():
    target = leaf(100, 150, 60)
    cuts, _ = run(piece(target))
    assert len(cuts) == 2
    assert all(isinstance(s, Line | Arc) for c in cuts for s in c.path.segments)
    edge = region.curve(target, 1e-4)
    for cut in cuts:
        stroke = cut.path.between(0.0, cut.path.length - 12.7 + cut.left)
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


def test_a_flat_blade_on_a_tight_curve_is_told():
    """w^2 / 8R: 6 mm wide on R = 15 mm leaves 0.30 mm."""
    _, findings = run(piece(rounded(100, 100, 100, 60, 15)), knife=tool(3, blade_width=6.0))
    (found,) = findings
    assert found.code == "C522"
    assert "0.30 mm" in found.what


def test_a_stroke_shorter_than_the_plunge_is_told():
    hole = rectangle(140, 140, 4, 30)
    _, findings = run(
        piece(rectangle(100, 100, 120, 120), openings=(hole,)), knife=tool(0.0, plunge=6.0)
    )
    assert [f.code for f in findings] == ["C523", "C523"]


def test_left_to_the_machine_the_outline_stays_plain():
    target = rectangle(100, 100, 100, 60)
    knife = tool(12.7, applies=frozenset({"tangent", "overrun"}))
    (cut,), findings = run(piece(target), knife=knife)
    assert cut.path == target
    assert not findings


def test_a_knife_with_a_kerf_is_told_that_it_is_not_compensated():
    _, findings = run(piece(rectangle(100, 100, 100, 60)), knife=tool(1.0, kerf=0.4))
    assert [f.code for f in findings] == ["C531"]
