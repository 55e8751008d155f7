"""A copy as the layout search sees it: one polygon at the origin, in the strip's own frame.

The search lays pieces on a strip that grows along its x; on a sheet the stock runs along y.  A
strip point q belongs to the sheet point s by q = -i s + i W (a quarter turn, so left stays left).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from foamwright.geometry.affine import Affine
from foamwright.geometry.segments import Points
from foamwright.model import Copy

#: Chords of the search's polygons, mm: the clearance asked of the search is widened by twice this.
SEARCH_TOLERANCE = 0.05


@dataclass(frozen=True, slots=True)
class Shape:
    """Outline of a copy as drawn (sheet frame, not turned) and the turns it may take."""

    copy: Copy
    points: Points
    rotations: tuple[float, ...]

    @staticmethod
    def of(copy: Copy, rotations: tuple[float, ...]) -> Shape:
        return Shape(copy, copy.piece.outline.flatten(SEARCH_TOLERANCE)[:-1], rotations)

    def size(self, rotation: float) -> tuple[float, float]:
        """Width across and length along when turned, mm (of the exact outline)."""
        return turned_size(self.copy, rotation)

    @property
    def area(self) -> float:
        return self.copy.piece.outline.area


def turned_size(copy: Copy, rotation: float) -> tuple[float, float]:
    box = copy.piece.outline.transformed(Affine.rotation(rotation)).bounds
    return box[2] - box[0], box[3] - box[1]


def strip_points(points: Points) -> list[tuple[float, float]]:
    """Outline in the strip's frame, moved so that its box starts at the origin."""
    turned = points * -1j
    turned = turned - complex(turned.real.min(), turned.imag.min())
    return [(float(p.real), float(p.imag)) for p in np.asarray(turned)]
