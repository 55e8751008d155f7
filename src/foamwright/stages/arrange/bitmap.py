"""Regions as rows of cells, each row one whole number, so that a test of all places at once is a
shift and an OR.

Terms: a cover is the set of cells that a region touches, so it is never smaller than the region;
a run is a stretch of cells side by side.  Bit x of row y is the cell from x to x + 1 across and
y to y + 1 along, in cells.  Does not know pieces or stock.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from foamwright.geometry.region import Region, bounds, rings
from foamwright.geometry.segments import Box, Points

#: First cell and number of cells.
Run: TypeAlias = tuple[int, int]
Numbers: TypeAlias = npt.NDArray[np.int64]

#: Part of a cell by which rounding may take a region over a cell's edge.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Cells:
    """The grid: where its first corner lies and the size of a cell, across and along, mm."""

    corner: complex
    across: float
    along: float

    def columns(self, points: Points) -> Points:
        """Points in cells from the grid's corner."""
        moved = points - self.corner
        made: Points = moved.real / self.across + 1j * (moved.imag / self.along)
        return made

    def place(self, x: int, y: int) -> complex:
        """The near left corner of a cell, mm."""
        return self.corner + complex(x * self.across, y * self.along)


@dataclass(frozen=True)
class Bitmap:
    """Rows of a cover; x, y: of the first cell of its box in the grid."""

    x: int
    y: int
    rows: tuple[int, ...]

    @property
    def height(self) -> int:
        return len(self.rows)

    @cached_property
    def width(self) -> int:
        return max((r.bit_length() for r in self.rows), default=0)

    @cached_property
    def runs(self) -> tuple[tuple[int, Run], ...]:
        """Each run with its row; rows far from each other first, so that a clash is met soon."""
        order = sorted(range(self.height), key=_spread)
        return tuple((r, run) for r in order for run in runs_of(self.rows[r]))


def _spread(number: int) -> tuple[int, int]:
    """Every 16th row, then every 8th, and so on."""
    step = next((s for s in (16, 8, 4, 2) if number % s == 0), 1)
    return -step, number


def runs_of(row: int) -> list[Run]:
    """The runs of a row, from its first cell on."""
    found = []
    at = 0
    while row:
        gap = (row & -row).bit_length() - 1
        row >>= gap
        size = (~row & (row + 1)).bit_length() - 1
        found.append((at + gap, size))
        row >>= size
        at += gap + size
    return found


def widened(row: int, size: int) -> int:
    """Bit x is set where any of the `size` bits from x on is."""
    done = 1
    while done < size:
        step = min(done, size - done)
        row |= row >> step
        done += step
    return row


def cover(material: Region, cells: Cells) -> Bitmap:
    """The cells that a region touches."""
    return cover_within(rings(material), bounds(material), cells)


def cover_within(closed: Sequence[Points], box: Box, cells: Cells) -> Bitmap:
    """The cells that closed lines touch or have inside; box: about all of them."""
    lines = [cells.columns(ring) for ring in closed]
    low_x, low_y, high_x, high_y = box
    ends = cells.columns(np.array([complex(low_x, low_y), complex(high_x, high_y)]))
    x, y = (math.floor(v + ROUNDING) for v in (ends[0].real, ends[0].imag))
    width = max(1, math.ceil(ends[1].real - x - ROUNDING))
    height = max(1, math.ceil(ends[1].imag - y - ROUNDING))
    moved = [line - complex(x, y) for line in lines]
    rows = [0] * height
    for first, last, row in (*_inside(moved), *_along_edges(moved)):
        start, stop = max(first, 0), min(last, width)
        if 0 <= row < height and stop > start:
            rows[row] |= ((1 << (stop - start)) - 1) << start
    return Bitmap(x, y, tuple(rows))


def _inside(lines: Sequence[Points]) -> Iterable[tuple[int, int, int]]:
    """Runs of cells whose middles lie inside, by the even-odd rule: first, one past last, row."""
    start, end = _chords(lines)
    low, high = np.minimum(start.imag, end.imag), np.maximum(start.imag, end.imag)
    first, past = np.ceil(low - 0.5).astype(int), np.ceil(high - 0.5).astype(int)
    which, row = _spans(first, past)
    step = (row + 0.5 - start.imag[which]) / (end.imag - start.imag)[which]
    at = start.real[which] + step * (end.real - start.real)[which]
    order = np.lexsort((at, row))
    row, at = row[order], at[order]
    left, right = np.ceil(at[0::2] - 0.5).astype(int), np.ceil(at[1::2] - 0.5).astype(int)
    return zip(left.tolist(), right.tolist(), row[0::2].tolist(), strict=True)


def _along_edges(lines: Sequence[Points]) -> Iterable[tuple[int, int, int]]:
    """Runs of cells that the lines pass through."""
    start, end = _chords(lines)
    low, high = np.minimum(start.imag, end.imag), np.maximum(start.imag, end.imag)
    first = np.floor(low + ROUNDING).astype(int)
    past = np.maximum(np.ceil(high - ROUNDING).astype(int), first + 1)
    which, row = _spans(first, past)
    rise = (end.imag - start.imag)[which]
    level = np.abs(rise) < ROUNDING
    safe = np.where(level, 1.0, rise)
    at = []
    for edge, flat in ((row, 0.0), (row + 1, 1.0)):
        share = np.clip((edge - start.imag[which]) / safe, 0.0, 1.0)
        at.append(start.real[which] + np.where(level, flat, share) * (end.real - start.real)[which])
    left = np.floor(np.minimum(*at) + ROUNDING).astype(int)
    right = np.maximum(np.ceil(np.maximum(*at) - ROUNDING).astype(int), left + 1)
    return zip(left.tolist(), right.tolist(), row.tolist(), strict=True)


def _chords(lines: Sequence[Points]) -> tuple[Points, Points]:
    return np.concatenate([p[:-1] for p in lines]), np.concatenate([p[1:] for p in lines])


def _spans(first: Numbers, past: Numbers) -> tuple[Numbers, Numbers]:
    """For each chord every row from first to past: the chord's index, the row."""
    counts = np.maximum(past - first, 0)
    which = np.repeat(np.arange(len(first)), counts)
    offset = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    return which, first[which] + offset
