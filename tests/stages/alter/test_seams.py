"""Seams: lengths, ease, and corners that meet flat."""

from __future__ import annotations

import math

import pytest

from foamwright.geometry.path import Path
from foamwright.job import Seam
from foamwright.stages.alter import measure_seams
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import drafts

TUBE = piece("leg", rectangle(114.3, 300))
EDGES = {"bottom": ("1", "2"), "front": ("2", "3"), "back": ("4", "1")}


def seam(*joins: str, **keys: object) -> Seam:
    return Seam.model_validate({"name": "s", "joins": joins, **keys}, context={"units": "mm"})


def measured(one: Seam, opening_radius: float = 114.3 / (2 * math.pi)) -> list[str]:
    upper = piece("upper", rectangle(200, 200), [Path.circle(100 + 100j, opening_radius)])
    pieces = {
        "leg": drafts(TUBE, edges=EDGES)[0].pattern,
        "upper": drafts(upper)[0].pattern,
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
    pieces = {"leg": drafts(slanted, edges=EDGES)[0].pattern}
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
    part = drafts(shape, scale, **keys)[0].pattern
    joins = [("low", "step"), ("rise", "wrap")]
    seams = tuple(seam(f"leg.{a}", f"leg.{b}", ease=1000) for a, b in joins)
    rows, _ = measure_seams(seams, {"leg": part})
    lengths = [n / scale for r in rows for n in r.lengths]
    assert lengths == pytest.approx([70, 40, 60, 30 + 90], abs=1e-6)
