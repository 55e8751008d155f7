"""Which stretches of a raw parallel bound the result: the polygon library's part of an offset.

The raw parallel is the convolution of the outline with a disc, so the result is all that it winds
round at least once (`winding.py`); where it runs clockwise, what it leaves open.
Gives each ring as runs: which element bounds it, from which vertex of the polygon to which.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from foamwright.geometry.offset_raw import Element
from foamwright.geometry.segments import Arc, Line, Points
from foamwright.geometry.winding import bounding_rings, twice_area

#: A vertex this near to a chord lies on it but for rounding, mm.
ON_CHORD = 1e-7
Indices: TypeAlias = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of a result's ring that one element bounds.

    begins, ends: the polygon's vertices there; own_start, own_end: the element starts or ends there
    by itself, so that its exact end is known.
    """

    element: int
    begins: complex
    ends: complex
    own_start: bool
    own_end: bool


@dataclass(frozen=True, slots=True)
class Ring:
    """points: closed, the first not repeated, in the direction of the raw parallel.

    owner: for each point the element that bounds the ring from there to the next.
    """

    points: Points
    owner: Indices
    runs: tuple[Run, ...]


@dataclass(frozen=True)
class _Chain:
    """The raw parallel flattened: point i starts a chord that belongs to element owner[i]."""

    points: Points
    owner: Indices

    @staticmethod
    def of(elements: Sequence[Element], tolerance: float) -> _Chain:
        points, owner = flattened([e.curve for e in elements], tolerance)
        keep = points != np.roll(points, -1)
        return _Chain(points[keep], owner[keep])


def flattened(curves: Sequence[Line | Arc], tolerance: float) -> tuple[Points, Indices]:
    """Points along all the curves at once, and whose each is; no curve's end is among them.

    The sagitta of each chord is within tolerance (mm).  A point at the share u of an arc's sweep
    lies at chord sin(u sweep / 2) / sin(sweep / 2), turned by (u - 1) sweep / 2, from the start.
    """
    start = np.array([c.start for c in curves])
    chord = np.array([c.end for c in curves]) - start
    bulge = np.array([c.bulge if isinstance(c, Arc) else 0.0 for c in curves])
    half = 2 * np.arctan(bulge)
    bent = half != 0
    radius = np.abs(chord) / np.where(bent, 2 * np.abs(np.sin(half)), 1.0)
    step = 2 * np.arccos(1 - np.minimum(tolerance / np.maximum(radius, 1e-300), 0.25))
    count = np.where(bent, np.ceil(2 * np.abs(half) / step), 1).astype(np.intp)
    count = np.maximum(count, 1)
    owner = np.repeat(np.arange(len(curves)), count)
    share = (np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)) / count[owner]
    turn = half[owner]
    reach = np.where(
        bent[owner], np.sin(share * turn) / np.where(bent, np.sin(half), 1)[owner], share
    )
    return start[owner] + chord[owner] * reach * np.exp(1j * (share - 1) * turn), owner


def filled(elements: Sequence[Element], clockwise: bool, tolerance: float) -> tuple[Ring, ...]:
    """The rings that bound what the raw parallel winds round, each within tolerance (mm).

    Rings narrower than the tolerance are left out: they have vanished as far as it can tell.
    """
    chain = _Chain.of(elements, tolerance)
    if len(chain.points) < 3:
        return ()
    rings = []
    for points in bounding_rings(chain.points, clockwise):
        if _width(points) > tolerance:
            chord, at = _labels(points, chain)
            owner = chain.owner[chord]
            rings.append(Ring(points, owner, _runs(points, owner, chord, at, chain)))
    return tuple(rings)


def _width(points: Points) -> float:
    """Area over half the outline's length: near the width of a narrow ring."""
    return abs(twice_area(points)) / float(np.abs(points - np.roll(points, -1)).sum())


def _labels(points: Points, chain: _Chain) -> tuple[Indices, Indices]:
    """For each edge of a ring the chord of the chain that it lies on; for each vertex its point.

    The polygon library keeps coordinates to the last digit, so most are found by equality; what
    two crossings cut out of one chord is found by nearness.  A vertex that isn't one: -1.
    """
    at = _same_points(points, chain.points)
    n = len(chain.points)
    ends, after = np.roll(points, -1), np.roll(at, -1)
    chord = np.where(at >= 0, at, np.where(after >= 0, (after - 1) % n, -1))
    tips = np.roll(chain.points, -1)
    start, way = chain.points[chord], (tips - chain.points)[chord]
    off = np.maximum(_miss(points, start, way), _miss(ends, start, way))
    along = (way.conjugate() * (ends - points)).real > 0
    lost = np.flatnonzero((chord < 0) | (off > ON_CHORD) | ~along)
    if len(lost):
        chord[lost] = _nearest_chords(points[lost], ends[lost], chain.points)
    return chord, at


def _same_points(points: Points, known: Points) -> Indices:
    """Index in `known` of each point, -1 where it isn't there or is there more than once."""
    order = np.argsort(known)
    rank = np.searchsorted(known[order], points)
    rank = np.minimum(rank, len(known) - 1)
    found = np.where(known[order][rank] == points, order[rank], -1)
    again = np.minimum(rank + 1, len(known) - 1)
    twice = (again != rank) & (known[order][again] == points)
    return np.where(twice, -1, found)


def _nearest_chords(starts: Points, ends: Points, chain: Points) -> Indices:
    """For each edge the chord that runs along it: nearest at both ends, in its direction."""
    tips = np.roll(chain, -1)
    way = tips - chain
    found = np.empty(len(starts), dtype=np.intp)
    for i, (a, b) in enumerate(zip(starts, ends, strict=True)):
        miss = _miss(a, chain, way) + _miss(b, chain, way)
        miss[(way.conjugate() * (b - a)).real <= 0] = np.inf
        found[i] = int(np.argmin(miss))
    return found


def _miss(p: complex | Points, starts: Points, ways: Points) -> npt.NDArray[np.float64]:
    t = ((p - starts) * ways.conjugate()).real / np.abs(ways) ** 2
    miss: npt.NDArray[np.float64] = np.abs(p - starts - np.clip(t, 0.0, 1.0) * ways)
    return miss


def _runs(
    points: Points, owner: Indices, chord: Indices, at: Indices, chain: _Chain
) -> tuple[Run, ...]:
    """A new run begins where the element changes, or where one is left and met again."""
    n = len(chain.points)
    begins = np.append(chain.owner != np.roll(chain.owner, 1), False)  # at[i] = -1: the last
    back = np.roll(chord, 1)
    stays = (owner == np.roll(owner, 1)) & ((chord == back) | (chord == (back + 1) % n))
    first = np.flatnonzero(~stays | begins[at])
    if not len(first):
        first = np.array([0])
    made = []
    for f, g in zip(first, np.roll(first, -1), strict=True):
        own_start = bool(begins[at[f]] and chord[f] == at[f])
        own_end = bool(begins[at[g]] and (chord[g - 1] + 1) % n == at[g])
        made.append(Run(int(owner[f]), complex(points[f]), complex(points[g]), own_start, own_end))
    return tuple(made)
