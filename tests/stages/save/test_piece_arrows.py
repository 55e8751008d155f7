"""Arrows of a laid piece: inside it, the way it lies, and the words that say so."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.region import covers, polyline, region
from foamwright.model import Piece, Placement
from foamwright.stages.save.piece_arrows import PieceArrow, arrow_words, piece_arrows
from tests.pieces import copy_of, piece, rectangle

PART = piece("part", rectangle(60, 40))


def laid(part: Piece, turn: float = 0.0) -> Placement:
    return Placement(copy_of(part), turn, 100.0, 50.0)


def arrows(placed: Placement, nap: str = "none", stretch: str = "none") -> list[PieceArrow]:
    inside = region(placed.piece.outline)
    x0, y0, x1, y1 = placed.piece.outline.bounds
    at = complex(x0 + x1, y0 + y1) / 2
    return list(piece_arrows(placed, nap, stretch, inside, at, page=1.0))


def degrees(arrow: PieceArrow) -> float:
    return math.degrees(cmath.phase(arrow.head - arrow.tail)) % 360


@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.floats(0, 360), st.floats(-180, 180), st.floats(-180, 180))
def test_an_arrow_lies_inside_its_piece_the_way_it_is_turned(
    turn: float, nap: float, gives: float
) -> None:
    placed = laid(replace(PART, grain=nap, stretch=gives), turn)
    inside = region(placed.piece.outline)
    grain, stretch = arrows(placed, nap="one-way")
    assert (grain.both, stretch.both) == (False, True)
    for arrow, way in ((grain, nap), (stretch, gives)):
        assert covers(inside, polyline([arrow.tail, arrow.head]))
        assert abs((degrees(arrow) - way - turn + 180) % 360 - 180) < 1e-6


def test_a_piece_that_may_lie_anyhow_has_none() -> None:
    assert not arrows(laid(PART))
    assert arrow_words(laid(PART), "none", "none") == ""


def test_a_nap_across_the_grain_has_an_arrow_of_its_own() -> None:
    nap, grain = arrows(laid(replace(PART, grain=0.0, nap=90.0)), nap="one-way")
    assert (degrees(nap), nap.both) == (pytest.approx(90), False)
    assert (degrees(grain), grain.both) == (pytest.approx(0), True)


@pytest.mark.parametrize(
    ("part", "turn", "nap", "stretch", "words"),
    [
        (PART, 0.0, "one-way", "none", "grain and nap up"),
        (replace(PART, grain=0.0), 90.0, "one-way", "none", "grain and nap up"),
        (replace(PART, grain=90.0, nap=-90.0), 180.0, "one-way", "none", "grain and nap up"),
        (PART, 180.0, "none", "across", "grain along"),
        (replace(PART, stretch=90.0), 90.0, "none", "across", "grain across, gives across"),
        (replace(PART, grain=30.0), 0.0, "none", "none", "grain at 30°"),
        (replace(PART, stretch=90.0), 0.0, "none", "none", "gives along"),
    ],
)
def test_in_words(part: Piece, turn: float, nap: str, stretch: str, words: str) -> None:
    assert arrow_words(laid(part, turn), nap, stretch) == words


def test_where_there_is_no_room_none_is_drawn() -> None:
    assert not arrows(laid(piece("part", rectangle(4, 4))), nap="one-way")
