"""Pieces of a finished layout pushed together along the strip, exactly, all at once.

Each pair of convex parts that lie near each other is parted by a line: it must keep parting them by
the gap.  With turns held, that is linear in the moves, so the moves that leave the strip shortest
are a linear program (compaction as by Li and Milenkovic 1995); lines are then chosen anew.  Pieces
that overlap a little are pushed apart by the same rows.  Turns, and which piece lies beyond which,
stay as they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from foamwright.stages.arrange.linear import Indices, Rows, Values, least

#: How far a piece may go in one step, as a part of the pieces' mean size.
REACH = 0.1
#: A step that shortens the strip by less than this part of it is followed by smaller ones.
WORTH = 1e-5
#: The smallest step, as a part of the first.
LAST_REACH = 1e-3
#: What moves to the strip's beginning are worth beside its length: all pieces close up.
CLOSE_UP = 1e-4
#: What a gap may be missed by, mm, so that what fits exactly still has room to be moved: a fifth of
#: what the check of a layout grants.
EASED = 0.002

Corners = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Body:
    """A turned piece as convex parts. parts: (corners, 2) each, mm, counter-clockwise."""

    parts: tuple[Corners, ...]

    @cached_property
    def box(self) -> Corners:
        """Least and greatest x and y: (2, 2)."""
        every = np.concatenate(self.parts)
        return np.array([every.min(axis=0), every.max(axis=0)])

    @cached_property
    def normals(self) -> tuple[Corners, ...]:
        """Outward unit normals of each part's sides: (sides, 2)."""
        return tuple(_normals(p) for p in self.parts)


def _normals(part: Corners) -> Corners:
    side = np.roll(part, -1, axis=0) - part
    length = np.hypot(side[:, 0], side[:, 1])
    side, length = side[length > 0], length[length > 0]
    return np.column_stack([side[:, 1] / length, -side[:, 0] / length])


def tightened(bodies: Sequence[Body], places: Corners, height: float, gap: float) -> Corners | None:
    """Places, (bodies, 2) in mm, on a strip from x = 0 as short as moves alone make it; or None.

    places: where the bodies lie, overlapping little or not at all.  gap: kept between bodies, and
    not at the strip's edges.  None where overlaps can't be parted within the height.
    """
    strip = _Strip(bodies, height, gap - EASED)
    at = places - [strip.low(places), 0.0]
    size = float(np.mean([np.ptp(b.box, axis=0).max() for b in bodies]))
    reach, length = REACH * size, strip.length(at)
    while reach > LAST_REACH * REACH * size:
        moved = strip.step(at, reach)
        if moved is None:
            return None
        before, length, at = length, strip.length(moved), moved
        if before - length < WORTH * length:
            reach /= 4
    return at if strip.gap_missed(at) < EASED else None


class _Strip:
    """Bodies with what is worked out once for all steps."""

    def __init__(self, bodies: Sequence[Body], height: float, gap: float) -> None:
        self.height, self.gap = height, gap
        self.boxes = np.array([b.box for b in bodies])
        self.owner = np.array([k for k, b in enumerate(bodies) for _ in b.parts])
        self.parts = [p for b in bodies for p in b.parts]
        self.normals = [n for b in bodies for n in b.normals]
        self.part_boxes = np.array([[p.min(axis=0), p.max(axis=0)] for p in self.parts])
        self.apart: dict[tuple[int, int], tuple[Corners, Values]] = {}

    def low(self, at: Corners) -> float:
        return float((at[:, 0] + self.boxes[:, 0, 0]).min())

    def length(self, at: Corners) -> float:
        """Where the last body ends, mm from x = 0."""
        return float((at[:, 0] + self.boxes[:, 1, 0]).max())

    def step(self, at: Corners, reach: float) -> Corners | None:
        """The places after one linear program, each at most `reach` away in x and in y."""
        count = len(at)
        lines = self._lines(at, 3 * reach + self.gap)
        rows = self._rows(at, lines, reach)
        cost = np.zeros(2 * count + 1)
        cost[: 2 * count : 2] = CLOSE_UP / count
        cost[-1] = 1.0
        moves = least(cost, rows)
        return None if moves is None else at + reach * moves[:-1].reshape(count, 2)

    def gap_missed(self, at: Corners) -> float:
        """How much nearer than the gap any two bodies are, or any is out of the strip, mm."""
        _, _, spare = self._lines(at, self.gap)
        out = (self.boxes[:, 1, 1] + at[:, 1]).max() - self.height
        low = -(self.boxes[:, 0] + at).min()
        return float(max(out, low, -spare.min(initial=0.0)))

    def _rows(self, at: Corners, lines: tuple[Indices, Corners, Values], reach: float) -> Rows:
        """In units of the reach: lines kept, no body beyond the length, moves bounded."""
        pairs, normals, spare = lines
        count = len(at)
        every = np.arange(2 * count)
        one, other = 2 * pairs[:, 0], 2 * pairs[:, 1]
        low, high = self._bounds(at, reach)
        unknowns = [
            np.column_stack([one, one + 1, other, other + 1]),
            _wide(np.column_stack([every[::2], np.full(count, 2 * count)])),
            _wide(every[:, None]),
            _wide(every[:, None]),
        ]
        factors = [
            np.hstack([normals, -normals]),
            _wide(np.tile([1.0, -1.0], (count, 1))),
            _wide(np.ones((2 * count, 1))),
            _wide(-np.ones((2 * count, 1))),
        ]
        ends = at[:, 0] + self.boxes[:, 1, 0]
        bounds = np.concatenate([spare, ends.max() - ends, high, -low]) / reach
        return Rows(np.concatenate(unknowns), np.concatenate(factors), bounds)

    def _bounds(self, at: Corners, reach: float) -> tuple[Values, Values]:
        """The least and the greatest move in x and y of each body in turn."""
        low = np.maximum(-reach, -(at + self.boxes[:, 0]))
        high = np.full_like(low, reach)
        high[:, 1] = np.minimum(reach, self.height - (at + self.boxes[:, 1])[:, 1])
        return low.ravel(), np.maximum(high, low).ravel()

    def _lines(self, at: Corners, within: float) -> tuple[Indices, Corners, Values]:
        """Of parts within a distance: the two bodies, the normal from one to the other, the spare.

        Shapes (pairs, 2), (pairs, 2), (pairs,); spare: how much more than the gap they are apart.
        """
        boxes = self.part_boxes + at[self.owner][:, None, :]
        near = np.ones((len(boxes), len(boxes)), dtype=bool)
        for axis in (0, 1):
            near &= boxes[:, None, 0, axis] <= boxes[None, :, 1, axis] + within
        near &= near.T & (self.owner[:, None] < self.owner[None, :])
        pairs, normals, spare = [], [], []
        for i, j in zip(*np.nonzero(near), strict=True):
            a, b = int(self.owner[i]), int(self.owner[j])
            normal, distance = self._line(int(i), int(j), at[b] - at[a])
            if distance <= within:
                pairs.append((a, b))
                normals.append(normal)
                spare.append(distance - self.gap)
        shape = (len(pairs), 2)
        return (
            np.array(pairs, dtype=np.int64).reshape(shape),
            np.array(normals).reshape(shape),
            np.array(spare, dtype=np.float64),
        )

    def _line(self, i: int, j: int, between: Corners) -> tuple[Corners, float]:
        """The line that parts two parts best: its normal from i to j, and how far they are apart.

        between: from the place of i's body to that of j's.
        """
        if (i, j) not in self.apart:
            self.apart[i, j] = self._sides(i, j)
        normals, apart = self.apart[i, j]
        distances = apart + normals @ between
        best = int(distances.argmax())
        if not 0 < distances[best] < self.gap:
            return normals[best], float(distances[best])
        way = (self.parts[j] + between)[:, None] - self.parts[i][None]
        length = np.hypot(way[..., 0], way[..., 1])
        corner = np.unravel_index(length.argmin(), length.shape)
        return self._by_corners(i, j, between, way[corner] / length[corner], best)

    def _by_corners(
        self, i: int, j: int, between: Corners, normal: Corners, best: int
    ) -> tuple[Corners, float]:
        """The better of the line across the nearest corners' join and the best side's."""
        normals, apart = self.apart[i, j]
        by_side = float(apart[best] + normals[best] @ between)
        across = ((self.parts[j] + between) @ normal).min() - (self.parts[i] @ normal).max()
        return (normal, float(across)) if across > by_side else (normals[best], by_side)

    def _sides(self, i: int, j: int) -> tuple[Corners, Values]:
        """Normals from i to j of both parts' sides, and how far each parts them as drawn."""
        one, other = self.parts[i], self.parts[j]
        normals = np.vstack([self.normals[i], -self.normals[j]])
        return normals, (other @ normals.T).min(axis=0) - (one @ normals.T).max(axis=0)


def _wide(columns: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
    """Filled up to four columns with noughts."""
    return np.pad(columns, ((0, 0), (0, 4 - columns.shape[1])))
