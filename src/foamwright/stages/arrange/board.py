"""A window as a board of cells, and the first free place on it for a piece.

The plain placer's ground: works for stock of any outline, with places that pieces are kept off and
pieces that lie already.  A place that it gives keeps the clearance, since covers are never smaller
than what they cover; it may lose up to two cells of room, which settling wins back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from foamwright.geometry.region import Region, box, is_empty, minus
from foamwright.geometry.region import grown as widened_region
from foamwright.geometry.segments import Box
from foamwright.stages.arrange.bitmap import Bitmap, Cells, cover, widened

#: Cells of a board at most: more take longer to search than they gain room.
MOST_CELLS = 400_000
#: A cell's least size, mm.
LEAST_CELL = 0.5
#: How closely curves are followed for a cover, as a part of a cell.
FINENESS = 0.02


def cells_for(bounds: Box) -> Cells:
    """A grid whose cells fill the window's box exactly, so that an exact fit fits."""
    across, along = bounds[2] - bounds[0], bounds[3] - bounds[1]
    size = max(LEAST_CELL, math.sqrt(across * along / MOST_CELLS))
    nx, ny = (max(1, math.ceil(v / size)) for v in (across, along))
    return Cells(complex(bounds[0], bounds[1]), across / nx, along / ny)


@dataclass
class Board:
    """rows: what is taken; each row one number, a bit a cell.  Changes as pieces are laid."""

    cells: Cells
    width: int
    rows: list[int]
    _wide: dict[int, dict[int, int]] = field(default_factory=dict)

    @staticmethod
    def of(bounds: Box, free: Region | None = None) -> Board:
        """A window's box; free: the part of it that may be used, by default all."""
        cells = cells_for(bounds)
        width = round((bounds[2] - bounds[0]) / cells.across)
        board = Board(cells, width, [0] * round((bounds[3] - bounds[1]) / cells.along))
        if free is not None:
            board.take(minus(box(bounds), free))
        return board

    @property
    def fineness(self) -> float:
        return FINENESS * min(self.cells.across, self.cells.along)

    def copy(self) -> Board:
        return Board(self.cells, self.width, list(self.rows))

    def cover_of(self, material: Region) -> Bitmap:
        return cover(material, self.cells)

    def take(self, material: Region, clearance: float = 0.0) -> None:
        """Marks a region as taken, with so much about it (mm)."""
        if clearance:
            material = widened_region(material, clearance, self.fineness)
        if is_empty(material):
            return
        self.mark(cover(material, self.cells))

    def mark(self, taken: Bitmap) -> None:
        """Marks a cover as taken."""
        whole = (1 << self.width) - 1
        for number, row in enumerate(taken.rows, taken.y):
            if 0 <= number < len(self.rows):
                moved = row << taken.x if taken.x >= 0 else row >> -taken.x
                self.rows[number] |= moved & whole
                self._wide.pop(number, None)

    def is_free(self, piece: Bitmap) -> bool:
        """Whether a cover may lie where it is."""
        if piece.x < 0 or piece.y < 0 or piece.y + piece.height > len(self.rows):
            return False
        if piece.x + piece.width > self.width:
            return False
        return not any(self.rows[y] & (r << piece.x) for y, r in enumerate(piece.rows, piece.y))

    def first_free(self, piece: Bitmap, start: int = 0) -> tuple[int, int] | None:
        """The nearest place along, then the leftmost, from row `start` on: of its box's first cell.

        None where there is none.
        """
        room = self.width - piece.width + 1
        if room < 1:
            return None
        everywhere = (1 << room) - 1
        for y in range(start, len(self.rows) - piece.height + 1):
            places = self._places(piece, y, everywhere)
            if places:
                return (places & -places).bit_length() - 1, y
        return None

    def _places(self, piece: Bitmap, y: int, places: int) -> int:
        for r, (first, size) in piece.runs:
            row = self.rows[y + r]
            if row:
                places &= ~(self._widened(y + r, size) >> first)
                if not places:
                    break
        return places

    def _widened(self, row: int, size: int) -> int:
        known = self._wide.setdefault(row, {})
        found = known.get(size)
        if found is None:
            found = known[size] = widened(self.rows[row], size)
        return found
