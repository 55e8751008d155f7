"""Plain pieces, copies and sheets for tests."""

from __future__ import annotations

from collections.abc import Sequence

from foamwright.geometry.path import Path
from foamwright.model import Copy, Opening, Piece, Placement, Sheet, Stock


def square(side: float, at: complex = 0j) -> Path:
    return rectangle(side, side, at)


def rectangle(width: float, height: float, at: complex = 0j) -> Path:
    corners = [at, at + width, at + complex(width, height), at + 1j * height]
    return Path.polygon(corners)


def piece(name: str, outline: Path, openings: Sequence[Path] = ()) -> Piece:
    holes = tuple(Opening(f"opening-{k}", p.clockwise()) for k, p in enumerate(openings, 1))
    return Piece(name, outline.counter_clockwise(), holes)


def copy_of(made: Piece, turns: tuple[float, ...] = (0.0,), material: str = "foam") -> Copy:
    return Copy(f"{made.name}/drawn/1", made.name, made, False, material, "table", turns)


def sheet_of(
    copies: Sequence[Copy], places: Sequence[complex], width: float, length: float
) -> Sheet:
    stock = Stock("foam", "sheet", width, length)
    placed = tuple(Placement(c, 0.0, p.real, p.imag) for c, p in zip(copies, places, strict=True))
    return Sheet(1, stock, "table", width, length, placed)
