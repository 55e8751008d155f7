"""Holding bridges in the proof: what the record tells of must stand, and nothing else may."""

from __future__ import annotations

import pathlib
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import proof_bench as b
import pytest

from foamwright.geometry.path import Path
from foamwright.model import Bridge, Copy, Placement, Program
from foamwright.record import BridgeEntry
from foamwright.stages.save.record import bridges_of, piece_entry
from foamwright.stages.verify.targets import BadTargetError, read_target

R = b.LASER.kerf / 2
CORNER, WIDE, HIGH = 20 + 20j, 60.0, 40.0
WIDTH = 1.0
LENGTH = WIDTH + 2 * R
#: Two bridges, in the middles of the lower and of the upper side.
AT = [50 + 20j, 50 + 60j]


def whole() -> Path:
    """The beam's way about the piece, from the left end of its lower side."""
    return b.rounded(CORNER, WIDE, HIGH, R)


def runs(gap: float = LENGTH, shift: float = 0.0) -> list[Path]:
    """The way in two runs with a gap of so many mm in the middle of the lower and upper side."""
    way = whole()
    quarter = R * 3.141592653589793 / 2
    low = WIDE / 2 + shift
    up = WIDE + HIGH + 2 * quarter + WIDE / 2
    half = gap / 2
    return [way.between(low + half, up - half), way.between(up + half, way.length + low - half)]


def bench(paths: list[Path], bridges: list[Bridge]) -> b.Bench:
    piece = b.Piece("part", b.rectangle(CORNER, WIDE, HIGH))
    cuts = [
        b.outline_cut(piece, p, left=LENGTH, bridge=bridge)
        for p, bridge in zip(paths, [*bridges, *[None] * len(paths)], strict=False)
    ]
    return b.Bench((piece,), tuple(cuts))


def told(length: float = LENGTH, width: float = WIDTH) -> list[Bridge]:
    return [Bridge(AT[1], length, width), Bridge(AT[0], length, width)]


def proven(folder: pathlib.Path, made: b.Bench) -> tuple[Any, list[tuple[str, str]], list[str]]:
    made.write(folder)
    program = made.program()
    b.amend(folder, lambda r: _tell(r, program))
    from foamwright.stages.verify import verify

    proof, found = verify(folder)
    return proof, b.faults(found), [f.what for f in found]


def _tell(record: dict[str, Any], program: Program) -> None:
    for piece in record["pieces"]:
        placed = next(p for p in program.sheet.placements if p.copy.name == piece["copy_name"])
        bridges = bridges_of(program, placed.copy.name)
        piece["bridges"] = piece_entry(placed, 1, bridges).model_dump(mode="json")["bridges"]


def test_bridges_that_the_record_tells_of_are_left_for_the_hand(tmp_path: pathlib.Path) -> None:
    proof, faults, _ = proven(tmp_path, bench(runs(), told()))
    assert faults == []
    assert proof.passed
    assert proof.left_mm == pytest.approx(2 * LENGTH, abs=1e-3)
    assert proof.worst_deviation_mm < 1e-3


def test_a_bridge_that_the_record_does_not_tell_of_is_uncut(tmp_path: pathlib.Path) -> None:
    _, faults, words = proven(tmp_path, bench(runs(), told()[:1]))
    assert set(faults) == {("V009", "part/drawn/1")}
    assert any("is not cut free" in w for w in words)
    (tmp_path / "none").mkdir()
    _, faults, _ = proven(tmp_path / "none", bench(runs(), []))
    assert set(faults) == {("V009", "part/drawn/1")}


def test_a_told_bridge_that_was_cut_is_refused(tmp_path: pathlib.Path) -> None:
    """The whole way in two runs, and two bridges told."""
    way = whole()
    half = way.length / 2
    cut = [way.between(0, half), way.between(half, way.length)]
    _, faults, words = proven(tmp_path, bench(cut, told()))
    assert faults == [("V024", "part/drawn/1")] * 4  # two bridges in two files
    assert all("it is cut through" in w for w in words if "bridge" in w)


@pytest.mark.parametrize(
    ("paths", "bridges", "words"),
    [
        (runs(LENGTH - 0.3), told(), "1 mm wide, and it is 0.70 mm"),
        (runs(LENGTH + 0.3), told(), "1.20 mm of edge uncut, and"),
        (runs(LENGTH), told(length=LENGTH + 0.5), "of edge uncut, and"),
        (runs(shift=0.4), told(), "wide, and it is 0.20 mm"),
    ],
)
def test_a_bridge_is_as_told_or_refused(
    tmp_path: pathlib.Path, paths: list[Path], bridges: list[Bridge], words: str
) -> None:
    proof, faults, found = proven(tmp_path, bench(paths, bridges))
    assert not proof.passed
    assert {c for c, _ in faults} <= {"V024", "V009", "V010"}
    assert any(words in w for w in found), found


def test_the_freed_edge_beside_a_bridge_is_still_measured(tmp_path: pathlib.Path) -> None:
    """One run moved 0.02 mm outwards beside its bridge: beyond the limit, bridges or not."""
    first, second = runs()
    from foamwright.geometry.affine import Affine

    moved = second.transformed(Affine.translation(-0.02j))
    _, faults, _ = proven(tmp_path, bench([first, moved], told()))
    assert {"V008", "V010"} & {c for c, _ in faults}


def test_a_cut_into_the_piece_at_a_bridge_is_still_a_fault(tmp_path: pathlib.Path) -> None:
    lead = Path.polygon([50 + 18j, 50 + 24j], closed=False)
    _, faults, _ = proven(tmp_path, bench([*runs(), lead], told()))
    assert "V008" in {c for c, _ in faults}


def target(change: Callable[[BridgeEntry], BridgeEntry], count: int = 1) -> object:
    piece = b.Piece("part", b.rectangle(CORNER, WIDE, HIGH))
    placed = Placement(Copy("part/drawn/1", "part", piece, False, "card", "bench"), 0.0, 0.0, 0.0)
    entry = piece_entry(placed, 1, told()[:1])
    (bridge,) = entry.bridges
    return read_target(entry.model_copy(update={"bridges": (change(bridge),) * count}), 5e-4)


@pytest.mark.parametrize(
    "change",
    [
        lambda e: e.model_copy(update={"y": e.y + 0.01}),
        lambda e: e.model_copy(update={"x": float("nan")}),
        lambda e: e.model_copy(update={"length": 0.0}),
        lambda e: e.model_copy(update={"width": -1.0}),
        lambda e: e.model_copy(update={"length": float("inf")}),
        lambda e: e.model_copy(update={"length": 51.0}),
    ],
)
def test_bridges_that_cannot_be_meant_make_no_target(
    change: Callable[[BridgeEntry], BridgeEntry],
) -> None:
    assert target(lambda e: e)
    with pytest.raises(BadTargetError, match="bridge"):
        target(change)


def test_an_opening_frees_nothing_through_a_bridge(tmp_path: pathlib.Path) -> None:
    """A ring whose opening is cut whole and whose outline is held: both are as they must be."""
    hole = Path.circle(50 + 40j, 8.0).reversed()
    piece = b.Piece("part", b.rectangle(CORNER, WIDE, HIGH), (b.Opening("eye", hole),))
    made = bench(runs(), told())
    inner = b.cut(piece, "opening:eye", "CUT_INNER", Path.circle(50 + 40j, 8.0 - R).reversed())
    _, faults, _ = proven(tmp_path, replace(made, pieces=(piece,), cuts=(inner, *made.cuts)))
    assert faults == []
