"""The narrowest neck of a shape: a waist between two wider parts, or the bridge past an opening.

Terms.  *Clearance* of a place is its distance to the nearest edge.  A neck lies where the clearance
along the middle of the shape is least: a saddle.  It is found on the triangles (Delaunay) between
points along the edges: in falling order of clearance the triangles grow together, and where two
parts meet that both hold a wider disc than the place between them, or a part meets itself round an
opening, there is a neck (the saddles of a distance function, by persistence).
A strip of even width and a tip have no neck.  Its width is measured between the two edges there.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from foamwright.geometry.path import Path
from foamwright.geometry.region import (
    Region,
    boundary,
    directed_deviation,
    distance,
    polyline,
    region,
)
from foamwright.geometry.segments import Points

#: Both parts beside a neck are wider than it by this factor at least.
WAIST = 1.05
#: Points along all edges of a shape, and the least step between them, mm.
POINTS, LEAST_STEP = 500, 0.05
#: A neck narrower than so many steps is looked at again with steps of a fourth, so often.
CLOSE, LOOKS = 4.0, 3
#: How far from a neck each of its edges is followed, as a part of its width.
BESIDE = 0.45
#: Spots tried to either side of a side's middle, and then of the best of them.
SPOTS = 5
#: A side no longer than this times the neck's width goes straight across it.
STRAIGHT = 1.05

_Ints = npt.NDArray[np.intp]
_Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Neck:
    """width: between its edges, mm.  at: its middle."""

    width: float
    at: complex


def narrowest_neck(outline: Path, openings: Iterable[Path], tolerance: float) -> Neck | None:
    """The narrowest neck of the material, or None where there is none.

    tolerance: of the flattened edges, mm; a width is true to it.
    """
    paths = (outline, *openings)
    step = max(LEAST_STEP, sum(p.length for p in paths) / POINTS)
    found = None
    for _ in range(LOOKS):
        found = _narrowest(paths, step, tolerance)
        if found is None or found.width >= CLOSE * step or step <= LEAST_STEP:
            break
        step = max(LEAST_STEP, step / 4)
    return found


def _narrowest(paths: Sequence[Path], step: float, tolerance: float) -> Neck | None:
    rings = [_stepped(p.flatten(tolerance), step) for p in paths]
    points = np.concatenate(rings)
    corners = _triangles(rings)
    ends, beside = _shared_sides(corners, rings)
    if not len(ends):
        return None
    edge = boundary(region(paths[0], paths[1:], tolerance))
    spots, saddle = _widest_spots(points[ends], edge)
    room = directed_deviation(points[corners].mean(axis=1), edge)
    np.maximum.at(room, beside.ravel(), np.repeat(saddle, 2))
    necks = _meetings(room, saddle, beside)
    if not necks:
        return None
    k = min(necks, key=lambda k: float(saddle[k]))
    width = 2 * float(saddle[k])
    if abs(points[ends[k, 1]] - points[ends[k, 0]]) <= STRAIGHT * width:
        width = min(width, _width(rings, ends[k]))
    return Neck(width, complex(spots[k]))


def _widest_spots(sides: Points, edge: Region) -> tuple[Points, _Floats]:
    """On each side, (n, 2), the spot of the most clearance, and that, looked for twice."""
    shares, reach = np.full(len(sides), 0.5), 0.5
    spots = sides.mean(axis=1)
    best = directed_deviation(spots, edge)
    for _ in range(2):
        middle = shares
        for k in range(1 - SPOTS, SPOTS):
            share = np.clip(middle + reach * k / SPOTS, 0.0, 1.0)
            tried = sides[:, 0] + share * (sides[:, 1] - sides[:, 0])
            room = directed_deviation(tried, edge)
            better = room > best
            best = np.where(better, room, best)
            spots = np.where(better, tried, spots)
            shares = np.where(better, share, shares)
        reach /= SPOTS
    return spots, best


def _stepped(ring: Points, step: float) -> Points:
    """A ring's points and others between them, no two farther apart; the last is not the first."""
    counts = np.maximum(1, np.ceil(np.abs(np.diff(ring)) / step).astype(np.intp))
    starts = np.repeat(ring[:-1], counts)
    share = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    made: Points = starts + np.repeat(np.diff(ring) / counts, counts) * share
    return made


def _triangles(rings: Sequence[Points]) -> _Ints:
    """Indices, in all rings' points, of the corners of the triangles that fill the material."""
    face = shapely.Polygon(_pairs(rings[0]), [_pairs(r) for r in rings[1:]])
    made = shapely.get_parts(shapely.constrained_delaunay_triangles(face))
    at = shapely.get_coordinates(made).reshape(-1, 4, 2)[:, :3]
    points = np.concatenate(rings)
    order = np.lexsort((points.imag, points.real))
    place = np.searchsorted(points[order], (at[..., 0] + 1j * at[..., 1]).ravel())
    found: _Ints = order[place].reshape(-1, 3)
    return found


def _pairs(points: Points) -> _Floats:
    made: _Floats = np.column_stack([points.real, points.imag])
    return made


def _shared_sides(corners: _Ints, rings: Sequence[Points]) -> tuple[_Ints, _Ints]:
    """Sides between two triangles that are no part of an edge: their ends, and the triangles."""
    sides = np.sort(corners[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    owner = np.repeat(np.arange(len(corners)), 3)
    order = np.lexsort((sides[:, 1], sides[:, 0]))
    sides, owner = sides[order], owner[order]
    twice = np.flatnonzero((sides[1:] == sides[:-1]).all(axis=1))
    ends, beside = sides[twice], np.column_stack([owner[twice], owner[twice + 1]])
    free = np.ones(len(ends), dtype=bool)
    first = 0
    for ring in rings:
        last = first + len(ring) - 1
        mine = (ends[:, 0] >= first) & (ends[:, 1] <= last)
        gap = ends[:, 1] - ends[:, 0]
        free &= ~(mine & ((gap == 1) | (gap == last - first)))
        first = last + 1
    return ends[free], beside[free]


def _meetings(room: _Floats, saddle: _Floats, beside: _Ints) -> list[int]:
    """The sides at which two parts meet that are both wider, or a part meets itself."""
    of = list(range(len(room)))
    widest = room.tolist()
    found = []

    def root(k: int) -> int:
        while of[k] != k:
            of[k] = of[of[k]]
            k = of[k]
        return k

    for k in np.argsort(-saddle, kind="stable").tolist():
        a, b = (root(int(t)) for t in beside[k])
        if a == b or min(widest[a], widest[b]) >= WAIST * saddle[k] > 0:
            found.append(k)
        if a != b:
            low, high = sorted((a, b), key=lambda t: widest[t])
            of[low] = high
    return found


def _width(rings: Sequence[Points], ends: _Ints) -> float:
    """Between the two edges that a side runs between, near it, mm."""
    points = np.concatenate(rings)
    reach = BESIDE * abs(points[ends[1]] - points[ends[0]])
    starts = np.cumsum([0, *(len(r) for r in rings)])
    of = np.searchsorted(starts, ends, "right") - 1
    one, other = (_near(rings[r], int(e - starts[r]), reach) for r, e in zip(of, ends, strict=True))
    return distance(one, other)


def _near(ring: Points, k: int, reach: float) -> shapely.Geometry:
    """The run of a ring within so much to both sides of its point k."""
    halves = []
    for way in (-1, 1):
        turned = np.roll(ring[::way], -(k if way > 0 else len(ring) - 1 - k))
        gone = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(turned)))])
        halves.append(turned[: max(2, int(np.searchsorted(gone, reach, "right")) + 1)])
    return polyline(np.concatenate([halves[0][::-1], halves[1][1:]]))
