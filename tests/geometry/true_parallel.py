"""Corners of the true parallel: which kinks of a parallel the mathematics makes.

Where a curve bends more sharply towards its parallel than the distance allows, or has a kink there,
the parallels of both sides cross and the corner between is no one's fault.  Sampled densely by
`dense.py`; shares no code with the package's offset.
"""

from __future__ import annotations

import cmath
import math
from functools import cached_property

import numpy as np
import shapely
from tests.geometry.dense import Points, rough_length, spots_on

from foamwright.geometry.path import Path

#: Between samples, mm; how far along the curve a corner is looked for, mm and in distances.
STEP, ALONG, ALONG_SHARE = 0.004, 1.0, 0.35
#: Samples of a segment at least.
LEAST = 40
#: Steps backwards that lie fewer samples apart than this belong to one corner.
ONE_CORNER = 25


class TrueParallel:
    """The places `distance` mm to the right of a closed path's samples, in order, loops and all."""

    def __init__(self, path: Path, distance: float) -> None:
        self.path, self.distance = path, distance
        self.reach = round(max(ALONG, ALONG_SHARE * abs(distance)) / STEP)

    @cached_property
    def samples(self) -> tuple[Points, Points]:
        """The places, and the directions of travel there."""
        found = [
            spots_on(s, max(LEAST, math.ceil(rough_length(s) / STEP))) for s in self.path.segments
        ]
        points, ways = (np.concatenate(f) for f in zip(*found, strict=True))
        return points - 1j * self.distance * ways, ways

    def turn_near(self, spot: complex, within: float = math.inf) -> float:
        """Degrees of the corner nearest to a spot; 0 where there is none of up to 15 degrees.

        within: how far off, mm, a corner of a degree may lie; one that turns by more, so much less.
        """
        spots, ways = self.samples
        nearest = int(np.abs(spots - spot).argmin())
        reach = min(self.reach, len(spots) // 2 - 1)
        about = np.arange(nearest - reach, nearest + reach + 1) % len(spots)
        spots, ways = spots[about], ways[about]
        onwards = (np.diff(spots) * (ways[1:] + ways[:-1]).conj()).real
        back = np.flatnonzero(onwards < -1e-12)
        if not len(back):
            return 0.0
        loops = np.split(back, np.flatnonzero(np.diff(back) > ONE_CORNER) + 1)
        turns = [t for g in loops if (t := _crossing(spots, ways, g[0], g[-1] + 1, spot))]
        if not turns:
            return 0.0
        away, turn = min(turns)
        return turn if away <= within / max(turn, 1.0) else 0.0


def _crossing(
    spots: Points, ways: Points, last: int, first: int, near: complex
) -> tuple[float, float] | None:
    """How far from a spot the runs up to `last` and on from `first` cross, and their turn there."""
    if last < 1 or first > len(spots) - 2:
        return None
    runs = [
        shapely.LineString(np.column_stack([p.real, p.imag]))
        for p in (spots[: last + 1], spots[first:])
    ]
    met = shapely.get_coordinates(shapely.intersection(*runs))
    if not len(met):
        return None
    places = met[:, 0] + 1j * met[:, 1]
    place = places[np.abs(places - near).argmin()]
    before = int(np.abs(spots[: last + 1] - place).argmin())
    after = first + int(np.abs(spots[first:] - place).argmin())
    return abs(place - near), abs(math.degrees(cmath.phase(ways[after] / ways[before])))
