"""Places on a closed way where the tool may begin: what order chooses from to save travel.

Corners, the sharpest outside ones first, since a start scars least where the edge turns anyway; and
places in even steps between them, each in the middle of its step, so that a lead-in or run-in has
room on either side.  Does not say whether a place is clear (`ground`).
"""

from __future__ import annotations

import math

from foamwright.geometry.path import Path, turn_degrees
from foamwright.model import Entry

#: mm between two places on a way, where neither bound of their number holds (common practice, no
#: source: travel saved falls off where places lie closer than a tenth of a piece).
STEP = 12.0
#: Places in even steps, at least and at most, and corners at most: bounds the search.
LEAST, MOST, CORNERS = 8, 24, 8
#: mm to a joint that count as being on it.
AT_JOINT = 1e-6


def places(way: Path) -> tuple[tuple[int, float], ...]:
    """Outside corners, then even places that aren't beside one."""
    corners = outside_corners(way)
    at = [way.segments[i].start for i, _ in corners]
    apart = min(STEP, way.length / LEAST) / 4
    even = (
        (i, t)
        for i, t in even_places(way)
        if all(abs(way.segments[i].point(t) - p) > apart for p in at)
    )
    return (*corners, *even)


def even_places(way: Path) -> tuple[tuple[int, float], ...]:
    """Segment and parameter of the middles of equal stretches of a closed way."""
    count = min(max(math.ceil(way.length / STEP), LEAST), MOST)
    step = way.length / count
    found: list[tuple[int, float]] = []
    at, passed = step / 2, 0.0
    for i, s in enumerate(way.segments):
        size = s.length()
        while at < passed + size - AT_JOINT and len(found) < count:
            on = at - passed
            found.append((i, s.at_length(on) if on > AT_JOINT else 0.0))
            at += step
        passed += size
    return tuple(found)


def outside_corners(way: Path) -> tuple[tuple[int, float], ...]:
    """The corners that turn to the left, as the material does, the sharpest first."""
    turns = {
        i: turn_degrees(way.segments[i - 1].tangent(1.0), way.segments[i].tangent(0.0))
        for i in way.corners
    }
    outside = sorted((i for i in turns if turns[i] > 0), key=lambda i: (-turns[i], i))
    return tuple((i, 0.0) for i in outside[:CORNERS])


def ways(path: Path) -> tuple[Entry, ...]:
    """The ways to run a path as it is: a closed one from its places, another from either end."""
    if not path.closed:
        return Entry(path), Entry(path.reversed())
    return (Entry(path), *(Entry(path, *p) for p in places(path) if p != (0, 0.0)))
