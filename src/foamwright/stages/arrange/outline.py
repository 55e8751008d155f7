"""A copy as the layout search sees it: one polygon at the origin, in the strip's own frame.

The search lays pieces on a strip that grows along its x from y = 0; on a sheet the stock runs along
y from x = 0.  The strip's frame is the sheet's with x and y changed: a turn there is the opposite
turn here, and the search's first corner is the sheet's near left one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Box, Line, Points
from foamwright.model import Copy

#: Chords of the search's polygons, mm: the clearance asked of the search is widened by twice
#: this, where any piece has curves.
SEARCH_TOLERANCE = 0.05


@dataclass(frozen=True)
class Shape:
    """Outline of a copy as drawn (sheet frame, not turned) and the turns it may take."""

    copy: Copy
    rotations: tuple[float, ...]

    @cached_property
    def points(self) -> Points:
        return self.copy.piece.outline.flatten(SEARCH_TOLERANCE)[:-1]

    @cached_property
    def miss(self) -> float:
        """How far the points may lie off the outline between them, mm."""
        lines = all(isinstance(s, Line) for s in self.copy.piece.outline.segments)
        return 0.0 if lines else SEARCH_TOLERANCE

    def size(self, rotation: float) -> tuple[float, float]:
        """Width across and length along when turned, mm (of the exact outline)."""
        return turned_size(self.copy, rotation)

    @property
    def area(self) -> float:
        return self.copy.piece.outline.area

    @cached_property
    def kind(self) -> tuple[object, ...]:
        """Shapes of one kind have the same outline and turns, to where doubles differ."""
        outline = self.copy.piece.outline
        sizes = (*outline.bounds, outline.length, outline.area)
        about = tuple(round(v, 6) for v in sizes)
        copy = self.copy
        upside = copy.mirrored != copy.turned
        return (copy.of, upside, copy.turnable, copy.free, self.rotations, about)


def alike(shapes: Sequence[Shape]) -> tuple[tuple[int, ...], ...]:
    """Indices of the shapes, each kind together, in the order of each kind's first."""
    kinds: dict[tuple[object, ...], list[int]] = {}
    for i, shape in enumerate(shapes):
        kinds.setdefault(shape.kind, []).append(i)
    return tuple(tuple(k) for k in kinds.values())


def turned_size(copy: Copy, rotation: float) -> tuple[float, float]:
    box = _turned_bounds(copy.piece.outline, rotation)
    return box[2] - box[0], box[3] - box[1]


def turned_corner(copy: Copy, rotation: float) -> complex:
    """The near left corner of the copy's box when it is turned about the origin."""
    box = _turned_bounds(copy.piece.outline, rotation)
    return complex(box[0], box[1])


def _turned_bounds(outline: Path, rotation: float) -> Box:
    x0, y0, x1, y1 = outline.bounds
    if rotation % 90 == 0:
        quarter = {0: (x0, y0, x1, y1), 1: (-y1, x0, -y0, x1), 2: (-x1, -y1, -x0, -y0)}
        return quarter.get(round(rotation % 360 / 90), (y0, -x1, y1, -x0))
    return outline.transformed(Affine.rotation(rotation)).bounds


def changed(p: complex) -> complex:
    """The point or vector with x and y changed: from sheet to strip and back."""
    return complex(p.imag, p.real)


def strip_corner(points: Points) -> complex:
    """Least x and y of an outline in the strip's frame."""
    return complex(points.imag.min(), points.real.min())


def strip_points(points: Points) -> list[tuple[float, float]]:
    """Outline in the strip's frame, moved so that its box starts at the origin."""
    corner = strip_corner(points)
    return [(float(p.imag - corner.real), float(p.real - corner.imag)) for p in points]
