"""Turns that bring a piece's grain, nap and give where its material wants them, or none."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.arrow_rules import Arrows, cannot_lie, rotations_for
from foamwright.geometry.affine import Affine
from foamwright.model import Piece
from foamwright.profile_models import MaterialProfile
from tests.pieces import piece, rectangle

QUARTERS = (0.0, 90.0, 180.0, 270.0)


def material(**rules: Any) -> MaterialProfile:
    plain: dict[str, Any] = {
        "name": "Stuff",
        "composition": ["card"],
        "composition_basis": "label",
        "thickness": 3.0,
        "stock": [{"kind": "sheet", "width": 500, "length": 400}],
        "cut": [{"method": "laser", "kerf": 0.2}],
    }
    return MaterialProfile.model_validate({**plain, **rules})


def arrowed(**arrows: float | None) -> Piece:
    plain = piece("part", rectangle(30, 20))
    return Piece(plain.name, plain.outline, **arrows)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("rules", "arrows", "turns"),
    [
        ({}, {}, QUARTERS),
        ({}, {"grain": 0.0}, (90.0, 270.0)),
        ({"stretch": "across"}, {}, (0.0, 180.0)),
        ({"stretch": "along"}, {"grain": 135.0}, (315.0, 135.0)),
        ({"nap": "one-way"}, {}, (0.0,)),
        ({"nap": "one-way"}, {"grain": 0.0}, (90.0,)),
        ({"nap": "one-way", "stretch": "both"}, {"grain": -90.0}, (180.0,)),
        # a nap of its own, along its grain or against it
        ({"nap": "one-way"}, {"grain": 0.0, "nap": 180.0}, (270.0,)),
        ({"nap": "one-way"}, {"grain": 0.0, "nap": 90.0}, ()),
        ({}, {"nap": 45.0}, QUARTERS),
        # the way it must give
        ({"stretch": "across"}, {"stretch": 90.0}, (270.0, 90.0)),
        ({"stretch": "along"}, {"stretch": 90.0}, (0.0, 180.0)),
        ({"stretch": "both"}, {"stretch": 30.0}, QUARTERS),
        ({"stretch": "none"}, {"stretch": 30.0}, ()),
        ({"stretch": "across"}, {"stretch": 90.0, "grain": 90.0}, ()),
        ({"stretch": "across"}, {"stretch": 0.4, "grain": 90.0}, (0.0, 180.0)),
        ({"stretch": "across", "nap": "one-way"}, {"stretch": 0.0}, (0.0,)),
        ({"stretch": "across", "nap": "one-way"}, {"stretch": 90.0}, ()),
        ({"stretch": "across", "nap": "one-way"}, {"stretch": 90.0, "nap": 0.0}, (90.0,)),
    ],
)
def test_turns(rules: dict[str, Any], arrows: dict[str, float], turns: tuple[float, ...]) -> None:
    assert rotations_for(material(**rules), Arrows(**arrows)) == turns


degrees = st.one_of(st.none(), st.floats(-180, 180))


@settings(derandomize=True, deadline=None, max_examples=150)
@given(
    st.sampled_from(["none", "one-way"]),
    st.sampled_from(["none", "across", "along", "both"]),
    degrees,
    degrees,
    degrees,
)
def test_turned_so_every_arrow_lies_as_the_material_wants(
    nap: str, gives: str, grain: float | None, own_nap: float | None, stretch: float | None
) -> None:
    stuff = material(nap=nap, stretch=gives)
    part = arrowed(grain=grain, nap=own_nap, stretch=stretch)
    turns = rotations_for(stuff, Arrows.of(part))
    for turn in turns:
        laid = part.transformed(Affine.rotation(turn))
        if grain is not None and laid.grain is not None:
            assert abs((laid.grain % 180) - 90) <= 1.01
        if nap == "one-way":
            upright = 90.0 + turn if laid.grain is None else laid.grain
            way = upright if laid.nap is None else laid.nap
            assert abs((way - 90 + 180) % 360 - 180) <= 1.01
        if laid.stretch is not None and gives in ("across", "along"):
            off = (laid.stretch - (0 if gives == "across" else 90)) % 180
            assert min(off, 180 - off) <= 1.01
    mirrored = part.transformed(Affine.mirror_x())
    assert bool(rotations_for(stuff, Arrows.of(mirrored))) == bool(turns)
    if not turns:
        assert cannot_lie(stuff, "stuff", part).is_fault


def test_a_piece_that_can_t_lie_so_is_named_with_its_arrows() -> None:
    told = cannot_lie(material(stretch="across"), "jersey", arrowed(grain=90.0, stretch=90.0))
    assert (told.code, told.piece, told.where) == ("A347", "part", "part arrows")
    assert "on jersey its grain, drawn at 90 degrees, must lie along the roll" in told.what
    assert "its stretch, drawn at 90 degrees, must lie across the roll" in told.what
    assert "doesn't give" in cannot_lie(material(), "card", arrowed(stretch=0.0)).what
