"""A lower bound to measure fits against: the longest arcs, one after the other.

Each arc goes from a point of the curve to a later one, as far off as the tolerance lets it, with
the bulge that serves it best; neighbours may meet at any angle.  Shares no code with the fit.
"""

from __future__ import annotations

import math

import numba
import numpy as np

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic, Points

#: The writer's widest arc.
WIDEST = math.radians(120.0)
BULGE = math.tan(WIDEST / 4)
#: Samples of each cubic.
STEPS = 240


def smooth_runs(path: Path) -> list[list[Cubic]]:
    """The stretches of cubics between corners and kept segments; a closed one starts at joint 0."""
    runs: list[list[Cubic]] = []
    fresh = True
    for i, s in enumerate(path.segments):
        if not isinstance(s, Cubic):
            fresh = True
            continue
        if fresh or i in path.corners:
            runs.append([])
        runs[-1].append(s)
        fresh = False
    wraps = path.closed and 0 not in path.corners and len(runs) > 1
    if wraps and isinstance(path.segments[0], Cubic) and isinstance(path.segments[-1], Cubic):
        runs[0] = runs.pop() + runs[0]
    return runs


def count(path: Path, tolerance: float) -> int:
    """Arcs that the greedy walk takes over all the path's runs of cubics."""
    return sum(count_run(run, tolerance) for run in smooth_runs(path))


def count_run(cubics: list[Cubic], tolerance: float) -> int:
    t = np.linspace(0.0, 1.0, STEPS + 1)
    points = np.concatenate([cubics[0].points(t[:1])] + [c.points(t[1:]) for c in cubics])
    at, arcs, last = 0, 0, len(points) - 1
    step = STEPS
    while at < last:
        step = _longest(points, at, step, tolerance)
        at, arcs = at + step, arcs + 1
    return arcs


def _longest(points: Points, at: int, guess: int, tolerance: float) -> int:
    """The most steps that one arc takes from `at`: galloping, then bisection."""
    left = len(points) - 1 - at
    good, bad = 1, left + 1
    tried = min(max(2, guess), left)
    while bad - good > 1:
        tried = min(max(tried, good + 1), bad - 1)
        if best_error(points[at : at + tried + 1]) <= tolerance:
            good, tried = tried, 2 * tried
        else:
            bad = tried
        if bad <= left:
            tried = (good + bad) // 2
    return good


def best_error(points: Points) -> float:
    """How far the farthest point is from the best of all arcs from the first to the last."""
    a, b = points[0], points[-1]
    half = abs(b - a) / 2
    if half == 0:
        return math.inf
    return half * _least_worst((points[1:-1] - (a + b) / 2) / ((b - a) / 2))


@numba.njit(cache=True)
def _least_worst(z):  # type: ignore[no-untyped-def]
    """As best_error, of points seen from a chord that runs from -1 to 1."""
    # off grows where the bulge shrinks: bisect until the two sides balance
    low, high = -BULGE, BULGE
    for _ in range(46):
        middle = (low + high) / 2
        least, most = _off(z, middle)
        if least + most > 0:
            low = middle
        else:
            high = middle
    least, most = _off(z, (low + high) / 2)
    return max(most, -least)


@numba.njit(cache=True)
def _off(z, bulge):  # type: ignore[no-untyped-def]
    """The least and the most that points lie to the right of the arc with a bulge."""
    least, most = np.inf, -np.inf
    straight = abs(bulge) < 1e-9
    up = 0.0 if straight else (1 - bulge * bulge) / (2 * bulge)
    radius = 0.0 if straight else (1 + bulge * bulge) / (2 * bulge)
    for p in z:
        if straight:
            off = -p.imag
        else:
            off = math.copysign(math.hypot(p.real, p.imag - up), bulge) - radius
        least, most = min(least, off), max(most, off)
    return least, most
