"""Offcuts worth keeping: the largest upright rectangles of a sheet that no piece lies in.

A piece counts as its box and `KEEP` round it, so an offcut is never told larger than it is.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from foamwright.geometry.segments import Box
from foamwright.model import Sheet

#: What the tool may have taken beside a piece, mm (common practice, no source).
KEEP = 5.0
#: The least side of what is worth keeping, mm, and how many are told (common practice, no source).
LEAST, MOST = 80.0, 2


def offcuts(sheet: Sheet) -> tuple[Box, ...]:
    """left, near, right, far in sheet mm, the largest first; none overlaps another.

    None of stock with an outline of its own.
    """
    if sheet.stock.outline is not None:
        return ()
    taken = [_grown(p.piece.outline.bounds, sheet) for p in sheet.placements]
    taken += [_grown(z.outline.bounds, sheet) for z in sheet.stock.zones]
    found: list[Box] = []
    while len(found) < MOST:
        box = largest_free((0.0, 0.0, sheet.width, sheet.length), [*taken, *found])
        if box is None or min(box[2] - box[0], box[3] - box[1]) < LEAST:
            break
        found.append(box)
    return tuple(found)


def _grown(box: Box, sheet: Sheet) -> Box:
    x0, y0, x1, y1 = box
    return (
        max(0.0, x0 - KEEP),
        max(0.0, y0 - KEEP),
        min(sheet.width, x1 + KEEP),
        min(sheet.length, y1 + KEEP),
    )


def largest_free(whole: Box, taken: list[Box]) -> Box | None:
    """The rectangle of the greatest area in `whole` that meets none of the boxes.

    Its sides lie on sides of the boxes or of the whole, so the grid of these is searched: row by
    row, each column's free height as a bar, the largest rectangle under the bars.
    """
    xs = np.unique([whole[0], whole[2], *(v for b in taken for v in (b[0], b[2]))])
    ys = np.unique([whole[1], whole[3], *(v for b in taken for v in (b[1], b[3]))])
    free = np.ones((len(ys) - 1, len(xs) - 1), dtype=bool)
    for x0, y0, x1, y1 in taken:
        rows = slice(np.searchsorted(ys, y0), np.searchsorted(ys, y1))
        free[rows, np.searchsorted(xs, x0) : np.searchsorted(xs, x1)] = False
    best, found = 0.0, None
    low = np.full(len(xs) - 1, ys[0])
    for row, there in enumerate(free):
        top = float(ys[row + 1])
        low = np.where(there, low, top)
        for left, right, height in _under_bars(xs, top - low):
            if (right - left) * height > best:
                best, found = (right - left) * height, (left, top - height, right, top)
    return found


def _under_bars(
    xs: npt.NDArray[np.float64], heights: npt.NDArray[np.float64]
) -> list[tuple[float, float, float]]:
    """Left, right and height of each widest rectangle under bars that stand between the xs."""
    found: list[tuple[float, float, float]] = []
    open_: list[tuple[float, float]] = []  # left edge and height, heights rising
    for x, height in zip(xs.tolist(), [*heights.tolist(), 0.0], strict=True):
        left = x
        while open_ and open_[-1][1] >= height:
            left, tall = open_.pop()
            if tall > 0:
                found.append((left, x, tall))
        open_.append((left, height))
    return found
