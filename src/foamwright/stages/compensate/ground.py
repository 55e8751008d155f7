"""The sheet as ground for a tool: where it may go without harm to any piece.

Every target of the sheet is kept as a region narrowed by HAIR, so that touching an edge, where the
flattening and the fit differ by microns, does not count as cutting into it.  Scrap is all else: the
ground between pieces and inside their openings.
Does not know any tool.
"""

from __future__ import annotations

import math

from foamwright.geometry import region
from foamwright.geometry.path import Path
from foamwright.geometry.region import Region
from foamwright.geometry.segments import Box
from foamwright.model import Sheet

#: mm into a piece that counts as its edge still: flattening (0.002) and rounding.
HAIR = 0.003


class Ground:
    """The targets of one sheet, for many questions."""

    def __init__(self, sheet: Sheet) -> None:
        self.names = tuple(p.copy.name for p in sheet.placements)
        self.box: Box = (0.0, 0.0, sheet.width, sheet.length)
        pieces = [p.piece for p in sheet.placements]
        solids = [region.region(p.outline, [o.path for o in p.openings]) for p in pieces]
        self._solids = tuple(region.grown(s, -HAIR) for s in solids)
        self._near = region.near(self._solids)
        self._sheet = region.box(self.box)

    @property
    def pieces_box(self) -> Box:
        """The box that holds every piece."""
        boxes = [region.bounds(s) for s in self._solids if not region.is_empty(s)]
        low_x, low_y, high_x, high_y = zip(*boxes, strict=True)
        return min(low_x), min(low_y), max(high_x), max(high_y)

    def is_clear(self, zone: Region, reach: float = 0.0) -> bool:
        """The zone lies on the sheet, and no target is within reach (mm) of it."""
        return region.covers(self._sheet, zone) and not self._near.within(zone, reach)

    def clear_length(self, path: Path) -> float:
        """mm along a straight path to the first target that it enters, or to where it leaves the
        sheet; infinite where it does neither."""
        line = region.curve(path)
        start = region.point(path.start)
        hits = [region.common(line, self._solids[i]) for i in self._near.within(line)]
        if not region.covers(self._sheet, line):
            hits.append(region.minus(line, self._sheet))
        return min((region.distance(start, hit) for hit in hits), default=math.inf)

    def closer_than(self, gap: float) -> tuple[tuple[str, str], ...]:
        """Names of each two pieces whose targets are less than gap mm apart."""
        return tuple((self.names[i], self.names[j]) for i, j in self._near.pairs(gap))
