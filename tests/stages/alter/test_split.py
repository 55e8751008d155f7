"""A piece in two parts: areas by hand, notches that meet, what a line may not run through."""

from __future__ import annotations

import cmath

import pytest

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.region import area, common, region, union
from foamwright.model import Piece, Slit
from foamwright.stages.alter.split import NOTCH_DEPTH, Cutting, SplitError, split
from tests.pieces import piece, rectangle

STRIP = piece("strip", rectangle(100, 400))
U = [0, 90, 90 + 90j, 60 + 90j, 60 + 30j, 30 + 30j, 30 + 90j, 90j]
ACROSS = Cutting(50 + 180j, 60 + 180j)


def test_without_allowance_the_parts_are_the_piece() -> None:
    far, near = split(STRIP, ACROSS)
    assert far.outline.bounds == pytest.approx((0, 180, 100, 400))
    assert near.outline.bounds == pytest.approx((0, 0, 100, 180))
    assert far.outline.area + near.outline.area == pytest.approx(100 * 400)
    assert [m.shape for m in far.marks] == ["cross", "notch", "notch"]
    assert far.outline.area > 0


def test_an_allowance_stands_over_on_both_parts_and_its_notches_meet() -> None:
    far, near = split(STRIP, Cutting(50 + 180j, 60 + 180j, 12.0))
    assert far.outline.bounds == pytest.approx((0, 168, 100, 400))
    assert near.outline.bounds == pytest.approx((0, 0, 100, 192))
    notch = NOTCH_DEPTH * NOTCH_DEPTH / 2
    assert far.outline.area == pytest.approx(100 * 232 - 2 * notch)
    tips = [
        sorted(p.real for p in part.outline.corner_points() if 168.5 < p.imag < 191.5)
        for part in (far, near)
    ]
    # a tip each of the two notches, at 0.3 and 0.6 of the line, on both parts
    assert tips[0] == pytest.approx([30, 60])
    assert tips[1] == pytest.approx([30, 60])


def test_crosses_lie_as_far_from_the_line_on_both_parts() -> None:
    far, near = split(STRIP, ACROSS)
    (one,) = (m.at for m in far.marks if m.shape == "cross")
    (other,) = (m.at for m in near.marks if m.shape == "cross")
    assert one.real == pytest.approx(other.real)
    assert one.imag - 180 == pytest.approx(180 - other.imag)


@pytest.mark.parametrize("turn", [0, 33, 90, 210])
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_turned_or_mirrored_piece_is_split_alike(turn: int, mirrored: bool) -> None:
    m = Affine.rotation(turn) @ (Affine.mirror_x() if mirrored else Affine.rotation(0))
    moved = STRIP.transformed(m)
    parts = split(moved, Cutting(m(ACROSS.a), m(ACROSS.b), 10.0))
    shapes = [region(p.outline) for p in parts]
    assert sorted(area(s) for s in shapes) == pytest.approx([100 * 190 - 16, 100 * 230 - 16])
    assert area(common(*shapes)) == pytest.approx(100 * 20 - 32, abs=1)
    assert area(union(shapes)) == pytest.approx(100 * 400, abs=1)


def test_a_curved_outline_keeps_its_arcs() -> None:
    disc = piece("disc", Path.circle(0j, 100))
    left, right = split(disc, Cutting(-10j, 10j))
    half = 3.14159265 * 100**2 / 2
    assert left.outline.area == pytest.approx(half, rel=1e-6)
    assert right.outline.area == pytest.approx(half, rel=1e-6)


def test_openings_slits_marks_and_points_go_with_their_part() -> None:
    hole = Path.circle(50 + 300j, 20)
    whole = piece("strip", rectangle(100, 400), [hole])
    slit = Slit("s", Path.polygon([20 + 40j, 80 + 40j], closed=False))
    made = Piece(
        whole.name, whole.outline, whole.openings, (slit,), points={"top": 50 + 399j, "low": 1j}
    )
    far, near = split(made, ACROSS)
    assert (len(far.openings), len(far.slits), [*far.points]) == (1, 0, ["top"])
    assert (len(near.openings), len(near.slits), [*near.points]) == (0, 1, ["low"])


@pytest.mark.parametrize(
    ("made", "line", "why"),
    [
        (STRIP, Cutting(500j, 10 + 500j), "0 times"),
        (STRIP, Cutting(5 + 5j, 5 + 5j), "one place"),
        (
            piece(
                "u", Path.polygon([0, 90, 90 + 90j, 60 + 90j, 60 + 30j, 30 + 30j, 30 + 90j, 90j])
            ),
            Cutting(60j, 10 + 60j),
            "4 times",
        ),
        (piece("o", rectangle(100, 400), [Path.circle(50 + 180j, 9)]), ACROSS, "opening-1"),
    ],
    ids=["beside it", "no line", "through two arms", "through an opening"],
)
def test_a_line_that_parts_nothing_in_two_is_told(made: Piece, line: Cutting, why: str) -> None:
    with pytest.raises(SplitError, match=why):
        split(made, line)


def test_the_notches_tell_the_parts_ends_apart() -> None:
    """Turned round, one part's notches don't meet the other's."""
    far, _ = split(STRIP, Cutting(50 + 180j, 60 + 180j, 12.0))
    tips = [p for p in far.outline.corner_points() if 168.5 < p.imag < 191.5]
    centre = complex(50, 0)
    turned = {round((centre + (p - centre) * cmath.rect(1, cmath.pi)).real) for p in tips}
    assert turned.isdisjoint({round(p.real) for p in tips})
