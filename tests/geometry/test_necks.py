"""Narrowest necks, against widths that follow from the shape by hand."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.affine import Affine
from foamwright.geometry.necks import Neck, narrowest_neck
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line

TRUE = 0.01


def neck_of(outline: Path, *openings: Path) -> Neck:
    found = narrowest_neck(outline, openings, TRUE)
    assert found is not None
    return found


@settings(max_examples=15, deadline=None)
@given(width=st.floats(0.5, 35), turn=st.floats(-180, 180))
def test_a_bar_between_two_squares(width: float, turn: float) -> None:
    low, high = (40 - width) / 2, (40 + width) / 2
    ends = [0, 40, 40 + low * 1j, 80 + low * 1j, 80, 120, 120 + 40j, 80 + 40j]
    rest = [80 + high * 1j, 40 + high * 1j, 40 + 40j, 40j]
    shape = Path.polygon([*ends, *rest]).transformed(Affine.rotation(turn))
    assert neck_of(shape).width == pytest.approx(width, abs=0.05)


def test_reliefs_from_both_sides_leave_what_is_between_their_tips() -> None:
    # common practice, no source: a knee notch is about 1 in deep from each side of a limb
    points = [0, 114, 114 + 150j, 89 + 152j, 114 + 154j, 114 + 300j]
    found = neck_of(Path.polygon([*points, 300j, 154j, 25 + 152j, 150j]))
    assert found.width == pytest.approx(64, abs=1e-6)
    assert abs(found.at - (57 + 152j)) < 0.5


@pytest.mark.parametrize("radius", [1.0, 5.0, 20.0])
def test_an_opening_near_the_edge_leaves_a_bridge(radius: float) -> None:
    found = neck_of(
        Path.polygon([0, 100, 100 + 100j, 100j]), Path.circle(complex(50, radius + 3), radius)
    )
    assert found.width == pytest.approx(3, abs=0.02)


def test_two_openings_near_each_other() -> None:
    eyes = (Path.circle(50 + 30j, 5), Path.circle(61.2 + 30j, 5))
    found = neck_of(Path.polygon([0, 100, 100 + 100j, 100j]), *eyes)
    assert found.width == pytest.approx(1.2, abs=0.02)


def test_a_waist_between_arcs() -> None:
    """Two arcs of radius 50 and 80 mm long in height bend in by 20 mm each from 110 mm."""
    bulge = math.tan(math.asin(40 / 50) / 2)
    right = [Line(55 - 120j, 55 - 40j), Arc(55 - 40j, 55 + 40j, -bulge), Line(55 + 40j, 55 + 120j)]
    left = [s.transformed(Affine.rotation(180))[0] for s in right]
    across = [Line(left[-1].end, right[0].start), Line(right[-1].end, left[0].start)]
    found = neck_of(Path.of([across[0], *right, across[1], *left], True))
    assert found.width == pytest.approx(110 - 2 * 20, abs=0.05)


@pytest.mark.parametrize(
    "shape",
    [
        Path.polygon([0, 100, 100 + 30j, 30j]),
        Path.polygon([0, 300, 40 + 4j]),
        Path.circle(0j, 50),
        Path.polygon([cmath.rect(50 if k % 2 else 15, k * math.pi / 10) for k in range(20)]),
        Path.polygon([0, 100, 100 + 20j, 20 + 20j, 20 + 100j, 100j]),
    ],
    ids=["strip", "tip", "disc", "star", "bent strip"],
)
def test_strips_and_tips_have_no_neck(shape: Path) -> None:
    assert narrowest_neck(shape, (), TRUE) is None
