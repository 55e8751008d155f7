"""How far a piece slides straight on until it meets what it must keep off: exact, no grid.

Terms: a wall is a closed line that a piece's outline may not cross: the outline of another piece
widened by the clearance, or the edge of the room that there is.  Two outlines that move towards
each other meet where a corner of one meets a side of the other (both are followed by chords), so
the way to the nearest such meeting is the way there is.  Does not turn pieces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from foamwright.geometry.segments import Box, Points

#: How closely outlines and walls are followed, mm.
WALL_TOLERANCE = 0.005
#: A slide ends so far before the wall, mm: what chords may miss on both sides.
STOP_SHORT = 2 * WALL_TOLERANCE
#: Rounding by which what touches may seem to be behind, mm.
TOUCH = 1e-6
#: The ways that a piece settles: to the near end, then to the left.
WAYS = (-1j, -1 + 0j)
#: Rounds at most, and the way under which one is the last, mm.
ROUNDS, ENOUGH = 16, 0.05


@dataclass(frozen=True)
class Walls:
    """Closed lines (first point repeated at the end) and the box about all of them."""

    lines: tuple[Points, ...]
    box: Box

    @staticmethod
    def of(lines: Sequence[Points]) -> Walls:
        every = np.concatenate(lines)
        x, y = every.real, every.imag
        box = (float(x.min()), float(y.min()), float(x.max()), float(y.max()))
        return Walls(tuple(lines), box)

    def moved(self, by: complex) -> Walls:
        x0, y0, x1, y1 = self.box
        box = (x0 + by.real, y0 + by.imag, x1 + by.real, y1 + by.imag)
        return Walls(tuple(line + by for line in self.lines), box)

    def is_met(self, box: Box) -> bool:
        a = self.box
        return a[0] <= box[2] and box[0] <= a[2] and a[1] <= box[3] and box[1] <= a[3]


def settled(body: Walls, walls: Sequence[Walls], room: Box, most: float) -> complex:
    """The way by which a piece that meets no wall moves near and left until it rests, mm.

    room: the box that it stays in; most: how far it looks each time.
    """
    way = 0j
    for _ in range(ROUNDS):
        before = way
        for direction in WAYS:
            way += direction * _slide(body.moved(way), walls, direction, room, most)
        if abs(way - before) < ENOUGH:
            break
    return way


def _slide(
    body: Walls, walls: Sequence[Walls], direction: complex, room: Box, most: float
) -> float:
    x0, y0, x1, y1 = body.box
    left = x0 - room[0] if direction.real else y0 - room[1]
    most = min(most, left)
    if most <= 0:
        return 0.0
    by = direction * most
    swept = (x0 + min(0.0, by.real), y0 + min(0.0, by.imag), x1, y1)
    ahead = [w for w in walls if w.is_met(swept)]
    if not ahead:
        return most
    free = way_to_walls(body.lines, [line for w in ahead for line in w.lines], direction)
    return max(0.0, min(most, free - STOP_SHORT))


def way_to_walls(body: Sequence[Points], walls: Sequence[Points], direction: complex) -> float:
    """How far lines may move in a direction (a unit vector) until one meets a wall, mm; infinite
    where none does.
    """
    back = np.conj(direction)
    a, b = _sides(body, back), _sides(walls, back)
    return min(_gap(a, b), _gap((-b[0], -b[1]), (-a[0], -a[1])))


def _sides(lines: Sequence[Points], turn: complex) -> tuple[Points, Points]:
    """Start and end of each chord, turned so that the way ahead is +x."""
    turned = [line * turn for line in lines]
    return np.concatenate([p[:-1] for p in turned]), np.concatenate([p[1:] for p in turned])


def _gap(body: tuple[Points, Points], walls: tuple[Points, Points]) -> float:
    """The least way along +x from a corner of the body to a side of the walls."""
    corners = body[0]
    start, end = walls
    low, high = np.minimum(start.imag, end.imag), np.maximum(start.imag, end.imag)
    beside = (high >= corners.imag.min()) & (low <= corners.imag.max()) & (high > low)
    beside &= np.maximum(start.real, end.real) >= corners.real.min() - TOUCH
    start, end, low, high = (v[beside] for v in (start, end, low, high))
    if not len(start):
        return np.inf
    level = corners.imag[:, None]
    share = (level - start.imag) / (end.imag - start.imag)
    way = start.real + share * (end.real - start.real) - corners.real[:, None]
    meets = (level >= low) & (level <= high) & (way >= -TOUCH)
    return float(way[meets].min(initial=np.inf))
