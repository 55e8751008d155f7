"""The check of a layout on exact outlines, beside what it grants."""

from __future__ import annotations

import pytest

from foamwright.geometry.path import Path
from foamwright.model import Limits, Placement, Stock
from foamwright.stages.arrange.check import broken_rule
from foamwright.stages.arrange.window import window_of
from tests.pieces import copy_of, piece, square

LIMITS = Limits((400, 300), "flat", (0, 0, 0, 0), clearance=0, edge=0)
WINDOW = window_of(Stock("foam", "sheet", 400, 300), LIMITS)


def beside(way: float, clearance: float) -> str | None:
    """What is told of two squares of 100 mm, the second moved on by so much."""
    one, other = (copy_of(piece(name, square(100))) for name in ("one", "other"))
    return broken_rule([Placement(one, 0, 0, 0), Placement(other, 0, way, 20)], WINDOW, clearance)


@pytest.mark.parametrize("clearance", [0.0, 0.005, 3.0])
@pytest.mark.parametrize("way", [0.0, 10.0, 99.98])
def test_pieces_that_overlap_are_told_whatever_the_clearance(way: float, clearance: float) -> None:
    told = beside(way, clearance)
    assert told is not None
    assert told.startswith("one/drawn/1 and other/drawn/1")


@pytest.mark.parametrize("way", [99.995, 100.0, 100.5])
def test_without_a_clearance_pieces_may_touch(way: float) -> None:
    assert beside(way, 0.0) is None


@pytest.mark.parametrize(("into", "is_wrong"), [(0.002, False), (0.03, True)])
def test_tips_may_share_a_speck(into: float, is_wrong: bool) -> None:
    corners = [[0, 100 + 50j, 100j], [200, 200 + 100j, 100 - into + 50j]]
    tips = [
        Placement(copy_of(piece(name, Path.polygon(at))), 0, 0, 0)
        for name, at in zip(("one", "other"), corners, strict=True)
    ]
    assert (broken_rule(tips, WINDOW, 0.0) is not None) == is_wrong


def test_a_piece_in_an_opening_overlaps_nothing() -> None:
    frame = copy_of(piece("frame", square(200), [square(100, 50 + 50j)]))
    guest = copy_of(piece("guest", square(100)))
    placed = [Placement(frame, 0, 0, 0), Placement(guest, 0, 50, 50)]
    assert broken_rule(placed, WINDOW, 0.0) is None
    assert broken_rule([placed[0], Placement(guest, 0, 60, 50)], WINDOW, 0.0) is not None
