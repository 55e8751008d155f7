"""Plain pieces, copies and sheets for tests."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
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


def thin_spike(depth: float) -> Path:
    """A tip at 0 whose sides, a line and an arc of 20 mm, cross: so many mm deep, near the tip."""
    radius, sweep = 20.0, 1.0
    lean = cmath.rect(1.0, -math.sqrt(2 * depth / radius))
    far = lean * radius * (1j + cmath.exp(1j * (sweep - math.pi / 2)))
    return Path.of([Arc(0j, far, math.tan(sweep / 4)), Line(far, 25 + 0j), Line(25 + 0j, 0j)], True)
