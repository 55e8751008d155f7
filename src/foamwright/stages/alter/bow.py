"""An edge bowed: moved across its chord by a cubic with wanted slopes at its ends, and by a bulge.

At a share u of the edge's length the cubic is Hermite's, nought at both ends; the *bulge*,
16 u^2 (1 - u)^2 of its height, leaves the ends and their slopes as they are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from foamwright.geometry.contour import Strand
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic, Line, Points, Segment

#: Parts that an edge is drawn anew in, so that each is a cubic to far below a hundredth of a mm.
PARTS = 24
#: Places of a part where its length is summed (Gauss-Legendre), as shares of it, and their weights.
_NODES, _WEIGHTS = (np.polynomial.legendre.leggauss(4)[k] for k in (0, 1))
#: The bulge that takes back a cubic of slopes a and b: it is so much of (a - b) times the length,
#: which leaves the least squares (integrals of u^m (1 - u)^n: m! n! / (m + n + 1)!).
TAKEN_BACK = 9 / 64

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bow:
    """across: unit direction of the move.  length: of the edge, mm.  start, end: how much it moves
    across per mm along at its ends.  bulge: its height, mm.
    """

    across: complex
    length: float
    start: float
    end: float
    bulge: float = 0.0

    @property
    def taken_back(self) -> float:
        """The bulge that takes back most of what the cubic moves the edge by, mm."""
        return -TAKEN_BACK * self.length * (self.start - self.end)

    def moves(self, u: Floats) -> Floats:
        cubic = self.length * (self.start * u * (1 - u) ** 2 - self.end * u * u * (1 - u))
        return cubic + self.bulge * 16 * (u * (1 - u)) ** 2

    def slopes(self, u: Floats) -> Floats:
        """How much it moves across per mm along, at shares of its length."""
        cubic = self.start * (1 - u) * (1 - 3 * u) + self.end * u * (3 * u - 2)
        return cubic + self.bulge / self.length * 32 * u * (1 - u) * (1 - 2 * u)

    def bent(self, edge: Strand) -> Strand:
        """The edge bowed, its places and corners where they were along it."""
        made: list[Segment] = []
        joints = [0]
        start = 0.0
        for s in edge.path.segments:
            size = s.length()
            count = _parts(s, size / edge.length, bool(self.bulge))
            u = (start + size * np.arange(count + 1) / count) / edge.length
            t = [*(s.at_length(size * k / count) for k in range(count)), 1.0]
            spots = np.array([s.point(x) for x in t]) + self.moves(u) * self.across
            ways = np.array([s.tangent(x) for x in t]) + self.slopes(u) * self.across
            knots = zip(spots.tolist(), (ways * (size / count / 3)).tolist(), strict=True)
            made += [Cubic(p, p + a, q - b, q) for (p, a), (q, b) in pairwise(knots)]
            start += size
            joints.append(len(made))
        corners = frozenset(joints[j] for j in edge.path.corners)
        places = MappingProxyType({n: joints[j] for n, j in edge.places.items()})
        path = Path(tuple(made), False, corners)
        return Strand(path, places).ending_at(edge.start, edge.end)


def _parts(s: Segment, share: float, bulging: bool) -> int:
    """A straight run bowed by the cubic alone is one cubic; all else is drawn in parts."""
    return 1 if isinstance(s, Line) and not bulging else max(1, math.ceil(PARTS * share))


@dataclass(frozen=True)
class Samples:
    """Where an edge's length is summed. ways: unit directions; shares: of its length at which they
    are taken; sizes: mm that each stands for.
    """

    ways: Points
    shares: Floats
    sizes: Floats

    @staticmethod
    def of(edge: Strand) -> Samples:
        ways: list[complex] = []
        at: list[float] = []
        sizes: list[float] = []
        start = 0.0
        for s in edge.path.segments:
            size = s.length()
            part = size / _parts(s, size / edge.length, bulging=True)
            for low in np.arange(0.0, size - part / 2, part):
                along = low + part * (1 + _NODES) / 2
                ways += [s.tangent(s.at_length(float(x))) for x in along]
                at += (start + along).tolist()
                sizes += (part / 2 * _WEIGHTS).tolist()
            start += size
        return Samples(np.array(ways), np.array(at) / edge.length, np.array(sizes))

    def length(self, bow: Bow, turn: complex) -> float:
        """Of the edge turned and stretched as a whole (by a complex factor), then bowed, mm."""
        ways = self.ways * (turn / abs(turn)) + bow.slopes(self.shares) * bow.across
        return float(abs(turn) * (self.sizes @ np.abs(ways)))
