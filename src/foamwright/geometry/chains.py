"""Closed paths of lines and arcs as arrays, many at once: what compiled functions work on.

Knows nothing of cubics and open paths, nor of what is done with the arrays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Points, line_or_arc

Floats: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]
Indices: TypeAlias = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Chains:
    """Segment k runs from start[k] to end[k]; bulge 0: a line; corner: a corner at its start.

    Path i has the segments first[i] up to first[i + 1].
    """

    start: Points
    end: Points
    bulge: Floats
    corner: Flags
    first: Indices

    @staticmethod
    def of(paths: Sequence[Path]) -> Chains:
        """Raises TypeError where a path holds a cubic."""
        segments = [s for p in paths for s in p.segments]
        bulge = np.array([s.bulge if type(s) is Arc else 0.0 for s in segments])
        first = np.zeros(len(paths) + 1, dtype=np.intp)
        np.cumsum([len(p.segments) for p in paths], out=first[1:])
        corner = np.zeros(len(segments), dtype=np.bool_)
        marked = [int(f) + j for p, f in zip(paths, first, strict=False) for j in p.corners]
        corner[marked] = True
        if any(type(s) is Cubic for s in segments):
            raise TypeError("only lines and arcs go into chains")
        start = np.array([s.start for s in segments], dtype=np.complex128)
        end = np.array([s.end for s in segments], dtype=np.complex128)
        return Chains(start, end, bulge, corner, first)

    def reversed(self) -> Chains:
        """Every path the other way round, beginning at the same joint."""
        order = turned_round(self.first)
        corner = self.corner[joints_turned_round(self.first)]
        return Chains(self.end[order], self.start[order], -self.bulge[order], corner, self.first)

    def clockwise(self) -> Flags:
        """Which paths run clockwise."""
        first = self.first[:-1]
        origin = np.repeat(self.start[first], np.diff(self.first))
        a, b = self.start - origin, self.end - origin
        turn = 4 * np.arctan(self.bulge)
        bent = np.where(self.bulge == 0, 1.0, self.bulge)
        radius = np.abs(b - a) * (1 + bent * bent) / (4 * bent)
        twice = (a.conjugate() * b).imag + radius * radius * (turn - np.sin(turn))
        runs: Flags = np.add.reduceat(twice, first) < 0
        return runs

    def path(self, i: int) -> Path:
        """Path i as segments."""
        at = slice(self.first[i], self.first[i + 1])
        corners = frozenset(np.flatnonzero(self.corner[at]).tolist())
        return Path(curves(self.start[at], self.end[at], self.bulge[at]), True, corners)

    def paths(self) -> Iterator[Path | None]:
        """The paths as segments; None for one that has none."""
        segments = curves(self.start, self.end, self.bulge)
        marked = np.flatnonzero(self.corner)
        upto = np.searchsorted(marked, self.first).tolist()
        corners = marked.tolist()
        first = self.first.tolist()
        for i in range(len(first) - 1):
            low, high = first[i], first[i + 1]
            own = frozenset(c - low for c in corners[upto[i] : upto[i + 1]])
            yield Path(segments[low:high], True, own) if high > low else None


def curves(start: Points, end: Points, bulge: Floats) -> tuple[Line | Arc, ...]:
    """Segments from their ends and bulges."""
    return tuple(map(line_or_arc, start.tolist(), end.tolist(), bulge.tolist()))


def turned_round(first: Indices) -> Indices:
    """For each segment of reversed paths its index in the paths before."""
    return np.repeat(first[:-1] + first[1:] - 1, np.diff(first)) - np.arange(first[-1])


def joints_turned_round(first: Indices) -> Indices:
    """For each joint of reversed paths its index in the paths before: joint 0 stays."""
    count, low = np.diff(first), np.repeat(first[:-1], np.diff(first))
    joint: Indices = low + (low - np.arange(first[-1])) % np.repeat(count, count)
    return joint
