"""Pieces in other pieces' openings: how wide for a hand, turns of both, clearance by shapely."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest

from foamwright.geometry.path import Path
from foamwright.geometry.region import covers, distance, region
from foamwright.model import Copy, Limits, Sheet, Stock
from foamwright.stages.arrange import Asked, arrange, kept
from foamwright.stages.arrange.hosts import usable_openings
from tests.pieces import copy_of, piece, rectangle

LIMITS = Limits((600, 500), "flat", (5, 5, 5, 5), clearance=4, edge=2, hand=100)
SHEET = Stock("foam", "sheet", 420, 420)
QUICK = Asked(seconds=1, first=True)
ROUND = Path.circle(150 + 150j, 110)


def frame(hole: Path = ROUND, turns: tuple[float, ...] = (0.0, 90.0)) -> Copy:
    return copy_of(piece("frame", rectangle(300, 300), [hole]), turns)


def tile(k: int, size: float = 60, turns: tuple[float, ...] = (0.0, 90.0)) -> Copy:
    return copy_of(piece(f"tile-{k}", rectangle(size, size / 2)), turns)


def guests(sheet: Sheet) -> list[str]:
    """Copies that lie in the frame's opening, by shapely; every gap keeps the clearance."""
    host = next(p for p in sheet.placements if p.copy.of == "frame")
    shapes = {
        p.copy.name: region(p.piece.outline, [o.path for o in p.piece.openings])
        for p in sheet.placements
    }
    for a, b in combinations(shapes.values(), 2):
        assert distance(a, b) >= LIMITS.clearance - 0.02
    assert all(p.rotation in p.copy.rotations for p in sheet.placements)
    hole = region(host.piece.openings[0].path)
    return [n for n, s in shapes.items() if n != host.copy.name and covers(hole, s)]


def test_small_pieces_lie_in_a_wide_opening() -> None:
    layout = arrange([frame(), *map(tile, range(6))], [SHEET], LIMITS, QUICK)
    (sheet,) = layout.sheets
    assert len(sheet.placements) == 7
    assert len(guests(sheet)) == 6


@pytest.mark.parametrize(
    ("hole", "limits"),
    [
        (Path.circle(150 + 150j, 49), LIMITS),
        (rectangle(260, 90, 20 + 100j), LIMITS),
        (ROUND, replace(LIMITS, hand=None)),
    ],
    ids=["narrow", "a slot", "a machine that works in bands"],
)
def test_where_no_hand_goes_in_nothing_lies(hole: Path, limits: Limits) -> None:
    assert not usable_openings(frame(hole), limits)
    layout = arrange([frame(hole), tile(1, 40)], [SHEET], limits, QUICK)
    assert not guests(layout.sheets[0])


def test_pinned_and_grouped_pieces_are_no_guests() -> None:
    pinned = replace(tile(1), pin=20 + 330j)
    pair = [replace(tile(k), group="pair") for k in (2, 3)]
    sheets = arrange([frame(), pinned, *pair], [SHEET], LIMITS, QUICK).sheets
    assert not guests(sheets[0])


def test_a_guest_s_turn_is_one_of_its_own_whatever_its_host_s() -> None:
    """The frame lies on its side alone, its guest as drawn or upside down alone."""
    host = frame(rectangle(200, 120, 50 + 90j), turns=(90.0,))
    guest = tile(1, 100, turns=(0.0, 180.0))
    (sheet,) = arrange([host, guest], [SHEET], LIMITS, QUICK).sheets
    assert guests(sheet) == [guest.name]


def test_a_host_keeps_off_turns_that_its_guest_may_not_have() -> None:
    host, guest = frame(turns=(0.0, 90.0)), tile(1, turns=(0.0,))
    (sheet,) = arrange([host, guest], [SHEET], LIMITS, QUICK).sheets
    assert guests(sheet) == [guest.name]
    turned = {p.copy.of: p.rotation for p in sheet.placements}
    assert turned == {"frame": 0.0, "tile-1": 0.0}


def test_a_frame_in_a_frame_has_guests_of_its_own() -> None:
    small = copy_of(piece("small", rectangle(140, 140), [Path.circle(70 + 70j, 55)]), (0.0,))
    copies = [frame(), small, tile(1, 40)]
    (sheet,) = arrange(copies, [SHEET], LIMITS, QUICK).sheets
    assert "small/drawn/1" in guests(sheet)
    assert len(sheet.placements) == 3


def test_a_kept_layout_with_guests_is_used_again_but_not_where_no_hand_goes() -> None:
    copies = [frame(), tile(1)]
    first = arrange(copies, [SHEET], LIMITS, QUICK)
    group = kept.from_text(kept.to_text({first.key: first.sheets}))[first.key]
    again = arrange(copies, [SHEET], LIMITS, QUICK, kept=group)
    assert again.reused
    assert again.sheets == first.sheets
    no_hand = replace(LIMITS, hand=None)
    assert kept.layout_key(copies, [SHEET], no_hand, False) != first.key
    assert not arrange(copies, [SHEET], no_hand, QUICK, kept=group).reused
