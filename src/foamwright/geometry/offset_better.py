"""Of two parallels of one path the better one, part by part.

A part runs from one joint that both have to the next.  It is taken of the new parallel where it has
fewer faults there and is sound: it keeps its distance, leaves nothing of the old one out, and
bounds as much.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely

from foamwright.geometry.offset_course import WITHIN
from foamwright.geometry.offset_faults import own_faults
from foamwright.geometry.path import Path
from foamwright.geometry.region import Region
from foamwright.geometry.segments import Segment

#: The share of the tolerance to which a path is flattened where a new one is measured by it.
MEASURED = 0.015
#: Tolerances within which a sharp tip may be moved: 21 at most were measured.
TIPS_MOVE = 40.0
#: Where a segment is measured, as parameters.
SPOTS = (0.0, 0.03, 0.15, 0.3, 0.5, 0.7, 0.85, 0.97)


def better(
    old: Path, new: Path, source: Path, distance: float, tolerance: float, eager: bool = False
) -> Path | None:
    """The path whose parts between joints that both have are those with fewer faults.

    A part is only taken of the new path where it is sound; eager: where it has no more faults.
    None where nothing is won.
    """
    sound = Soundness(old, source, distance, tolerance)
    wrong, right = (own_faults(p, source, distance, tolerance) for p in (old, new))
    segments: list[Segment] = []
    corners: list[int] = []
    for (a, b), (c, d) in _parts(old, new):
        own, anew = _cyclic(old, a, b), _cyclic(new, c, d)
        ours, theirs = right.of(c, d), wrong.of(a, b)
        won = ours.fewer(theirs) or (eager and ours.no_more(theirs))
        won = won and sound.holds(anew, own)
        part, path, first = (anew, new, c) if won else (own, old, a)
        n = len(path.segments)
        corners.extend(
            len(segments) + i for i in range(len(part)) if (first + i) % n in path.corners
        )
        segments.extend(part)
    found = Path(tuple(segments), True, frozenset(corners))
    left = own_faults(found, source, distance, tolerance)
    return found if left.fewer(wrong) or (eager and left.no_more(wrong)) else None


def _cyclic(path: Path, first: int, last: int) -> list[Segment]:
    return [path.segments[k % len(path.segments)] for k in range(first, last)]


def _parts(old: Path, new: Path) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """From joint to joint that both paths have, as indices of either; all where they have none."""
    n, m = len(old.segments), len(new.segments)
    at = {s.start: i for i, s in enumerate(old.segments)}
    shared = [(at[s.start], j) for j, s in enumerate(new.segments) if s.start in at]
    if not shared:
        return [((0, n), (0, m))]
    first = min(range(len(shared)), key=lambda k: shared[k])
    shared = [(i, j + (m if k < first else 0)) for k, (i, j) in enumerate(shared)]
    shared = shared[first:] + shared[:first]
    shared.append((shared[0][0] + n, shared[0][1] + m))
    if any(b[0] <= a[0] for a, b in pairwise(shared)):
        return [((0, n), (0, m))]
    return [((a[0], b[0]), (a[1], b[1])) for a, b in pairwise(shared)]


class Soundness:
    """Whether parts of a new parallel are in order, measured by the source and the old one."""

    def __init__(self, made: Path, source: Path, distance: float, tolerance: float) -> None:
        self.reach, self.tolerance = abs(distance), tolerance
        self.source, self.before = (
            _chords(p.segments, tolerance * MEASURED) for p in (source, made)
        )

    def holds(self, anew: Sequence[Segment], own: Sequence[Segment]) -> bool:
        """Whether a part keeps its distance wherever it isn't as it was, and is all of it.

        All of it: it passes wherever the old one did, both being off by the tolerance at most, and
        bounds as much area, since a stretch drawn twice round would do so too.
        """
        spots = np.array([s.point(t) for s in anew for t in SPOTS])
        at = shapely.points(spots.real, spots.imag)
        slack = self.tolerance * MEASURED
        most = self.tolerance + slack
        near = shapely.dwithin(self.source, at, self.reach - most)
        far = ~shapely.dwithin(self.source, at, self.reach + most)
        strays = near | far
        strays[strays] = ~shapely.dwithin(self.before, at[strays], slack + WITHIN)
        if strays.any():
            return False
        if not passes(anew, own, self.tolerance):
            return False
        areas = [math.fsum(s.area() for s in part) for part in (anew, own)]
        length = math.fsum(s.length() for s in own)
        return abs(areas[0] - areas[1]) <= 2 * self.tolerance * length


def passes(
    anew: Sequence[Segment],
    own: Sequence[Segment],
    tolerance: float,
    beside: Region | None = None,
    reach: float = math.inf,
    tips: Sequence[complex] = (),
) -> bool:
    """Whether segments pass by all that others do, both being off by the tolerance at most.

    beside, reach: but what lies farther from there, a mitre.  tips: but what lies near sharp tips
    of the others, which their tolerance moves.
    """
    spots = np.array([s.point(t) for s in own for t in SPOTS])
    at = shapely.points(spots.real, spots.imag)
    slack = tolerance * MEASURED
    if beside is not None:
        at = at[shapely.dwithin(beside, at, reach + tolerance)]
    if tips:
        moved = shapely.multipoints([(p.real, p.imag) for p in tips])
        at = at[~shapely.dwithin(moved, at, TIPS_MOVE * tolerance)]
    return bool(shapely.dwithin(_chords(anew, slack), at, 2 * (tolerance + slack)).all())


def _chords(segments: Sequence[Segment], tolerance: float) -> shapely.LineString:
    points = np.concatenate([s.flatten(tolerance) for s in segments])
    ring = shapely.LineString(np.column_stack([points.real, points.imag]))
    shapely.prepare(ring)
    return ring
