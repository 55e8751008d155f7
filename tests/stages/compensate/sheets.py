"""Sheets, pieces and ways to ask about them, for the compensation and order tests."""

from __future__ import annotations

import math
from dataclasses import replace

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line
from foamwright.model import Copy, Mark, Opening, Piece, Placement, Sheet, Slit, Stock

QUARTER = math.tan(math.pi / 8)


def rectangle(x: float, y: float, w: float, h: float) -> Path:
    return Path.polygon(
        [complex(x, y), complex(x + w, y), complex(x + w, y + h), complex(x, y + h)]
    )


def rounded(x: float, y: float, w: float, h: float, r: float) -> Path:
    """A rectangle with corners rounded by r, from the left end of its lower side."""
    a, b, c, d = x, y, x + w, y + h
    return Path.of(
        [
            Line(complex(a + r, b), complex(c - r, b)),
            Arc(complex(c - r, b), complex(c, b + r), QUARTER),
            Line(complex(c, b + r), complex(c, d - r)),
            Arc(complex(c, d - r), complex(c - r, d), QUARTER),
            Line(complex(c - r, d), complex(a + r, d)),
            Arc(complex(a + r, d), complex(a, d - r), QUARTER),
            Line(complex(a, d - r), complex(a, b + r)),
            Arc(complex(a, b + r), complex(a + r, b), QUARTER),
        ],
        True,
    )


def leaf(x: float, y: float, size: float) -> Path:
    """A cubic outline with two corners and a smooth joint, counter-clockwise."""
    p = complex(x, y)

    def at(u: float, v: float) -> complex:
        return p + size * complex(u, v)

    return Path.of(
        [
            Cubic(at(0, 0), at(0.3, -0.45), at(0.9, -0.35), at(1.4, -0.1)),
            Cubic(at(1.4, -0.1), at(1.68, 0.04), at(1.8, 0.1), at(2, 0.5)),
            Cubic(at(2, 0.5), at(1.2, 0.9), at(0.4, 0.6), at(0, 0)),
        ],
        True,
    )


def piece(
    outline: Path,
    openings: tuple[Path, ...] = (),
    slits: tuple[Path, ...] = (),
    marks: tuple[Mark, ...] = (),
    name: str = "part",
) -> Piece:
    return Piece(
        name,
        outline,
        tuple(Opening(f"o{i}", p.clockwise()) for i, p in enumerate(openings)),
        tuple(Slit(f"s{i}", p) for i, p in enumerate(slits)),
        marks,
    )


def sheet(*pieces: Piece, width: float = 300.0, length: float = 300.0) -> Sheet:
    """The pieces as they lie, each a copy of its own."""
    stock = Stock("cloth", "sheet", width, length)
    copies = [
        Copy(f"{p.name}/drawn/{i}", p.name, replace(p), False, "cloth", "machine")
        for i, p in enumerate(pieces, 1)
    ]
    placed = tuple(Placement(c, 0.0, 0.0, 0.0) for c in copies)
    return Sheet(1, stock, "machine", width, length, placed)
