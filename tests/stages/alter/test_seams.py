"""Seams: lengths, ease, and corners that meet flat."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding
from foamwright.geometry.path import Path
from foamwright.job import Seam
from foamwright.stages.alter import Draft, SeamRow, measure_seams
from tests.pieces import piece, rectangle, square
from tests.stages.alter.test_alter import drafts

TUBE = piece("leg", rectangle(114.3, 300))
EDGES = {"bottom": ("1", "2"), "front": ("2", "3"), "back": ("4", "1")}


def seam(*joins: str, **keys: object) -> Seam:
    return Seam.model_validate({"name": "s", "joins": joins, **keys}, context={"units": "mm"})


def measured(one: Seam, opening_radius: float = 114.3 / (2 * math.pi)) -> list[str]:
    upper = piece("upper", rectangle(200, 200), [Path.circle(100 + 100j, opening_radius)])
    pieces = {
        "leg": drafts(TUBE, edges=EDGES)[0],
        "upper": drafts(upper)[0],
    }
    return [f.code for f in measure_seams((one,), pieces)[1]]


def test_an_opening_as_long_as_the_limb_s_lower_edge_matches() -> None:
    # common practice, no source: the upper's opening is as long as the limb's lower edge
    assert measured(seam("leg.bottom", "upper.opening-1")) == []


def test_an_opening_of_another_length_is_named_with_both() -> None:
    assert measured(seam("leg.bottom", "upper.opening-1"), opening_radius=20) == ["A312"]


def test_a_stated_ease_is_allowed() -> None:
    ease = 2 * math.pi * 20 - 114.3
    assert measured(seam("leg.bottom", "upper.opening-1", ease=ease), opening_radius=20) == []


def test_a_tube_of_right_angles_closes_flat() -> None:
    # common practice, no source: end corners of 90 degrees meet at 180
    assert measured(seam("leg.front", "leg.back", flat=True)) == []


def test_a_tube_with_slanted_ends_does_not_close_flat() -> None:
    slanted = piece("leg", Path.polygon([0, 100, 120 + 300j, -20 + 300j]))
    pieces = {"leg": drafts(slanted, edges=EDGES)[0]}
    rows, findings = measure_seams((seam("leg.front", "leg.back", flat=True),), pieces)
    assert [f.code for f in findings] == ["A313", "A313"]
    assert rows[0].lengths[0] == pytest.approx(rows[0].lengths[1])


def test_a_seam_of_an_unknown_edge_is_named() -> None:
    assert measured(seam("leg.hem", "upper.opening-1")) == ["A311"]


@pytest.mark.parametrize("scale", [0.5, 1.0, 2.0])
def test_a_cut_line_s_seams_are_measured_on_its_stitch_line(scale: float) -> None:
    """An L with 5 mm of allowance: outer corners take it off an edge's end, an inner one adds it.

    Lengths by hand: the stitch line's, times the scale.
    """
    shape = piece("leg", Path.polygon([0, 80, 80 + 40j, 40 + 40j, 40 + 100j, 100j]))
    edges = {"low": ("1", "2"), "step": ("3", "4"), "rise": ("4", "5"), "wrap": ("5", "1")}
    keys = {"drawn": "cut-line", "allowance": {"default": 5}, "edges": edges}
    part = drafts(shape, scale, **keys)[0]
    joins = [("low", "step"), ("rise", "wrap")]
    seams = tuple(seam(f"leg.{a}", f"leg.{b}", ease=1000) for a, b in joins)
    rows, _ = measure_seams(seams, {"leg": part})
    lengths = [n / scale for r in rows for n in r.lengths]
    assert lengths == pytest.approx([70, 40, 60, 30 + 90], abs=1e-6)


def one_seam(one: Seam, **pieces: Draft) -> tuple[SeamRow, list[Finding]]:
    (row,), findings = measure_seams((one,), pieces)
    return row, list(findings)


def test_the_row_has_what_the_table_shows() -> None:
    """A limb shell's back seam by hand: 300 mm each, notches 100 mm from below."""
    notch = [{"edge": "front", "at": 100}, {"edge": "back", "at": 200, "shape": "slit"}]
    leg = drafts(TUBE, edges=EDGES, notch=notch, allowance={"default": 6})[0]
    row, findings = one_seam(seam("leg.front", "leg.back", flat=True), leg=leg)
    assert not findings
    assert row.lengths == pytest.approx((300, 300))
    assert row.difference == pytest.approx(0)
    assert row.notches == (1, 1)
    assert row.notches_off == pytest.approx(0, abs=1e-9)
    assert row.corners is not None
    assert np.array(row.corners) == pytest.approx(90)
    assert row.is_right


@pytest.mark.parametrize(
    ("back", "said"),
    [
        ([{"edge": "back", "at": 199}], "leg.front lie at 100.00 mm, those of leg.back at 101.00"),
        ([], "leg.front lie at 100.00 mm, those of leg.back nowhere"),
        ([{"edge": "back", "at": 190, "double": True, "apart": 20}], "leg.back at 100.00, 120.00"),
        ([{"point": "4"}], "nowhere"),  # a notch at the seam's end is no notch of the seam
    ],
)
def test_notches_that_don_t_meet_are_named_with_both_places(
    back: list[dict[str, object]], said: str
) -> None:
    leg = drafts(TUBE, edges=EDGES, notch=[{"edge": "front", "at": 100}, *back])[0]
    row, findings = one_seam(seam("leg.front", "leg.back"), leg=leg)
    assert [f.code for f in findings] == ["A361"]
    assert said in findings[0].what
    assert not row.is_right


@settings(max_examples=20, deadline=None)
@given(height=st.floats(250, 330), at=st.floats(5, 240), scale=st.floats(0.5, 2))
def test_ease_is_spread_evenly_between_notches(height: float, at: float, scale: float) -> None:
    """Whatever the two lengths, a notch at the same share of both meets."""
    other = piece("arm", rectangle(80, height))
    here = [{"edge": "front", "at": at}]
    there = [{"edge": "back", "at": height * scale * (1 - at / (300 * scale))}]
    leg = drafts(TUBE, scale, edges=EDGES, notch=here)[0]
    if not 1 < at < 300 * scale - 1:
        return
    arm = drafts(other, scale, edges=EDGES, notch=there)[0]
    ease = abs(300 - height) * scale
    row, findings = one_seam(seam("leg.front", "arm.back", ease=ease), leg=leg, arm=arm)
    assert not findings
    assert row.notches_off == pytest.approx(0, abs=1e-6)


def test_an_edge_sewn_to_its_own_mirror_image_meets_it_end_to_end() -> None:
    """A half of a body, 80 degrees at the one end of its middle edge and 100 at the other."""
    lean = 300 / math.tan(math.radians(80))
    half = piece("half", Path.polygon([0, 150, 150 + lean + 300j, lean + 300j]))
    drawn = drafts(half, edges={"middle": ("4", "1")}, notch=[{"edge": "middle", "at": 40}])[0]
    row, findings = one_seam(seam("half.middle", "half.middle", flat=True), half=drawn)
    assert row.corners is not None
    assert sorted(row.corners) == [pytest.approx((80, 80)), pytest.approx((100, 100))]
    assert row.notches_off == 0
    assert [f.code for f in findings] == ["A313", "A313"]
    assert "160.0 together" in findings[1].what


def test_an_opening_has_no_end_corners() -> None:
    upper = drafts(piece("upper", square(200), [Path.circle(100 + 100j, 114.3 / 2 / math.pi)]))[0]
    leg = drafts(TUBE, edges=EDGES)[0]
    row, _ = one_seam(seam("leg.bottom", "upper.opening-1", flat=True), leg=leg, upper=upper)
    assert row.corners is None
    assert row.closes_flat
