"""What a pattern exchange file holds of a piece: its lines before any tool is thought of.

Made by `alter`, written by `save`.  Coordinates are the piece's own, mm, y up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from foamwright.geometry.path import Path

ExchangeUnits: TypeAlias = Literal["metric", "english"]
NotchShape: TypeAlias = Literal["v", "slit", "t", "castle", "u"]


@dataclass(frozen=True, slots=True)
class PatternNotch:
    """at: on the boundary.  angle: its way into the piece, degrees.  A slit has no width."""

    shape: NotchShape
    at: complex
    depth: float
    width: float
    angle: float


@dataclass(frozen=True, slots=True)
class PatternPiece:
    """boundary, cutouts: cut lines, whole, without notches; slits: open cuts.  sew_lines: closed.

    internal: drawn and not cut.  drills: middles of holes for marks.  grain: degrees.  count,
    mirrored: how many are asked for as drawn and turned over.
    """

    name: str
    boundary: Path
    cutouts: tuple[Path, ...]
    slits: tuple[Path, ...]
    sew_lines: tuple[Path, ...]
    internal: tuple[Path, ...]
    drills: tuple[complex, ...]
    notches: tuple[PatternNotch, ...]
    grain: float
    material: str
    count: int
    mirrored: int
    notes: tuple[str, ...] = ()
