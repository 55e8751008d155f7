"""Notches against a blade's footprint: cut as asked, made a slit, or made a mark."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.job import Notch, PieceSpec, Seam
from foamwright.model import Footprint
from foamwright.stages.alter.cuttable import fitted_notch, suited

SWIVEL = Footprint(swing=0.5)
SINGLE = Footprint(section=2.3, overrun=2.0, flat_max=1.0)
DOUBLE = Footprint(section=4.6, overrun=2.0, ends=2, flat_max=1.0)


def notch(shape: str = "v", depth: float = 4.0, width: float | None = None) -> Notch:
    return Notch.model_validate({"point": "p", "shape": shape, "depth": depth, "width": width})


@pytest.mark.parametrize("blade", [Footprint(), SWIVEL, SINGLE, DOUBLE])
@pytest.mark.parametrize("shape", ["v", "slit"])
def test_an_ordinary_notch_stays_as_asked(blade: Footprint, shape: str) -> None:
    asked = notch(shape)
    assert fitted_notch(asked, blade, 6.0) == (asked, "")


@pytest.mark.parametrize(
    ("blade", "asked", "allowance", "becomes", "words"),
    [
        (SWIVEL, notch(width=0.4), 6.0, "slit", "turning at its mouth"),
        (SWIVEL, notch("slit", depth=0.3), 6.0, "mark", "shorter than the blade reaches"),
        (SWIVEL, notch(), 4.3, "mark", "reach the stitch line, 0.3 mm away"),
        (SWIVEL, notch("castle", width=0.4), 6.0, "slit", "turning at its mouth"),
        (SWIVEL, notch("u", width=0.8), 6.0, "slit", "round end of 0.4 mm"),
        (SWIVEL, notch("t", depth=0.7), 6.0, "slit", "bar of 0.4 mm"),
        (SINGLE, notch("castle", width=2.0), 6.0, "slit", "too short for a blade 2.3 mm wide"),
        (SINGLE, notch("u", width=2.0), 6.0, "slit", "round end of 1 mm"),
        (DOUBLE, notch(depth=1.5), 6.0, "mark", "cut of 1.7 mm is too short"),
        (DOUBLE, notch(depth=2.0, width=8.0), 6.0, "mark", ""),
        (Footprint(section=4.6, overrun=3.0, ends=2), notch(depth=2.5), 6.0, "mark", "would keep"),
    ],
)
def test_what_the_blade_cannot_cut(
    blade: Footprint, asked: Notch, allowance: float, becomes: str, words: str
) -> None:
    made, why = fitted_notch(asked, blade, allowance)
    if not words:
        assert made == asked  # a flank of 4.5 mm bears the blade
        return
    assert made.shape == becomes
    assert words in why
    assert made.depth == asked.depth


@settings(max_examples=60, deadline=None, derandomize=True)
@given(depth=st.floats(0.6, 6), width=st.floats(0.1, 6), swing=st.floats(0.15, 1.0))
def test_a_swivel_blades_turn_at_the_mouth_is_measured_square_to_the_flank(
    depth: float, width: float, swing: float
) -> None:
    """The disc on which it turns about one lip, against the line of the other flank."""
    blade = Footprint(swing=swing)
    made, _ = fitted_notch(notch("v", depth, width), blade, 20.0)
    lip, point = complex(width, 0), complex(width / 2, depth)
    to_flank = abs(((0 - lip) * ((point - lip) / abs(point - lip)).conjugate()).imag)
    half = math.atan2(width / 2, depth)
    assert to_flank == pytest.approx(width * math.cos(half))
    if abs(to_flank - swing) > 1e-9 and abs(depth - swing) > 1e-9:
        assert (made.shape == "v") == (to_flank > swing and abs(point) > swing)


def spec() -> PieceSpec:
    return PieceSpec.model_validate(
        {
            "name": "upper",
            "outline": "a.svg#b",
            "material": "felt",
            "allowance": {"default": 6.0, "toe": 4.2},
            "edges": {"toe": ("1", "2")},
            "notch": [
                {"edge": "toe", "at": 3.0, "width": 0.2},
                {"point": "heel", "shape": "v"},
            ],
        }
    )


def test_what_changed_is_told_with_the_seams_other_edge() -> None:
    seams = (Seam(name="ankle", joins=("leg.bottom", "upper.toe")),)
    made, (found,) = suited(spec(), SWIVEL, seams)
    assert [n.shape for n in made.notch] == ["mark", "v"]
    assert (found.code, found.where) == ("A331", "upper notch-1")
    assert "became a mark on the face" in found.what
    assert "leg.bottom (seam ankle) stays as asked: change it alike" in found.mend


def test_without_an_allowance_a_notch_is_a_mark_whatever_the_blade() -> None:
    bare = spec().model_copy(update={"allowance": {}})
    assert suited(bare, SWIVEL) == (bare, ())
