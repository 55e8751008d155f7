"""A simple polygon as few convex parts, cut along diagonals between its own corners.

Ears are cut off until triangles are left (Meisters 1975); then diagonals are taken out again where
what they part is convex together (Hertel and Mehlhorn 1983: at most four times the fewest parts).
Does not treat openings, and does not move corners: parts cover the polygon exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np

from foamwright.errors import GeometryError
from foamwright.geometry.segments import Points

#: Indices of corners, counter-clockwise.
Ring: TypeAlias = tuple[int, ...]


def convex_parts(points: Points) -> tuple[Points, ...]:
    """Convex polygons, counter-clockwise, that cover a simple polygon and no more.

    points: its corners as complex numbers, mm, counter-clockwise, the first not repeated.  Raises
    GeometryError where no ear is left, as in one that runs clockwise; not all that cross themselves
    are noticed.
    """
    corners = [complex(p) for p in points]
    parts = _merged(_triangles(np.array(corners)), corners)
    return tuple(np.array([corners[i] for i in ring]) for ring in parts)


def _turn(a: Any, b: Any, c: Any) -> Any:
    """Twice the signed area of a triangle, or of each: above 0 where it turns left."""
    return ((b - a).conjugate() * (c - a)).imag


def _triangles(corners: Points) -> list[Ring]:
    left = np.arange(len(corners))
    made: list[Ring] = []
    while len(left) > 3:
        ring = corners[left]
        turns = _turn(np.roll(ring, 1), ring, np.roll(ring, -1))
        ear = next((int(k) for k in np.flatnonzero(turns >= 0) if _is_ear(ring, int(k))), None)
        if ear is None:
            raise GeometryError("the polygon is not simple and counter-clockwise")
        if turns[ear] > 0:
            made.append((int(left[ear - 1]), int(left[ear]), int(left[(ear + 1) % len(left)])))
        left = np.delete(left, ear)
    if _turn(*corners[left]) > 0:
        made.append((int(left[0]), int(left[1]), int(left[2])))
    return made


def _is_ear(ring: Points, k: int) -> bool:
    """Whether a corner that isn't hollow can be cut off: no other corner is in the cut."""
    a, b, c = ring[k - 1], ring[k], ring[(k + 1) % len(ring)]
    within = (_turn(a, b, ring) >= 0) & (_turn(b, c, ring) >= 0) & (_turn(c, a, ring) >= 0)
    return not bool((within & (ring != a) & (ring != b) & (ring != c)).any())


def _merged(triangles: Sequence[Ring], corners: Sequence[complex]) -> list[Ring]:
    """Rings with every diagonal taken out that isn't needed."""
    rings = dict(enumerate(triangles))
    owner = {edge: n for n, ring in rings.items() for edge in _edges(ring)}
    for a, b in [edge for edge in owner if edge[0] < edge[1]]:
        if (b, a) not in owner:
            continue
        one, other = owner[a, b], owner[b, a]
        if one == other:
            continue
        joint = _joined(rings[one], rings[other], a, b)
        if _is_convex(joint, corners):
            del rings[other], owner[a, b], owner[b, a]
            rings[one] = joint
            owner.update((edge, one) for edge in _edges(joint))
    return list(rings.values())


def _edges(ring: Ring) -> list[tuple[int, int]]:
    return list(zip(ring, (*ring[1:], ring[0]), strict=True))


def _joined(one: Ring, other: Ring, a: int, b: int) -> Ring:
    """Both rings without the edge from a to b of the first, which the second has backwards."""
    first, second = one.index(b), other.index(a)
    return (*one[first:], *one[:first], *(*other[second:], *other[:second])[1:-1])


def _is_convex(ring: Ring, corners: Sequence[complex]) -> bool:
    turned = (*ring, *ring[:2])
    return all(
        bool(_turn(corners[i], corners[j], corners[k]) >= 0)
        for i, j, k in zip(turned, turned[1:], turned[2:], strict=False)
    )
