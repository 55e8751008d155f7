"""Stated arrows: by an angle or by places, on the piece as drawn, and turned with it."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pytest

from foamwright.findings import Finding
from foamwright.geometry.affine import Affine
from foamwright.model import Piece
from foamwright.stages.alter import alter
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import TOLERANCE, drafts

PART = replace(
    piece("part", rectangle(40, 30)), points=MappingProxyType({"low": 5 + 5j, "high": 5 + 25j})
)


def made(part: Piece, **keys: Any) -> tuple[Piece, list[Finding]]:
    drawn, found = drafts(part, **keys)
    return alter(drawn, TOLERANCE)[0], found


def test_by_an_angle_or_from_place_to_place() -> None:
    target, found = made(PART, grain=30, nap=("high", "low"), stretch=("1", "2"))
    assert not found
    assert (target.grain, target.nap, target.stretch) == pytest.approx((30, -90, 0))


def test_they_are_mirrored_and_turned_with_the_piece() -> None:
    target, _ = made(PART, grain=30, nap=("high", "low"), stretch=("1", "3"))
    image = target.transformed(Affine.rotation(10) @ Affine.mirror_x())
    assert image.grain == pytest.approx(150 + 10)
    assert image.nap == pytest.approx(-90 + 10)
    assert image.stretch is not None
    assert target.stretch is not None
    assert image.stretch == pytest.approx(180 - target.stretch + 10)


def test_with_unlike_factors_an_arrow_leans_as_the_piece_does() -> None:
    target, _ = made(PART, stretch=45, scale_across=2.0)
    assert target.stretch == pytest.approx(26.565, abs=1e-3)  # atan(1/2)


def test_none_is_stated() -> None:
    target, _ = made(replace(PART, grain=12.0))
    assert (target.grain, target.nap, target.stretch) == (12.0, None, None)


def test_a_stated_grain_stands_in_place_of_a_drawn_one_and_says_so() -> None:
    target, (told,) = made(replace(PART, grain=12.0), grain=90)
    assert target.grain == 90
    assert (told.code, told.is_fault) == ("A346", False)
    assert not made(replace(PART, grain=90.0), grain=90)[1]


@pytest.mark.parametrize("places", [("low", "top"), ("low", "low")])
def test_places_that_make_no_arrow_are_refused(places: tuple[str, str]) -> None:
    _, (told,) = made(PART, nap=places)
    assert (told.code, told.is_fault) == ("A346", True)
    assert told.where == "part nap"
