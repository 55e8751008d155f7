"""The place on a path that lies nearest to a point."""

from __future__ import annotations

import cmath
import math

import numpy as np

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

#: Samples along a cubic before the nearest one is refined.
SAMPLES = 64


def nearest_length(path: Path, p: complex) -> tuple[float, float]:
    """Arc length from the path's start to its point nearest to p, and the distance, both mm."""
    best, along, total = math.inf, 0.0, 0.0
    for segment in path.segments:
        t = _parameter(segment, p)
        gap = abs(segment.point(t) - p)
        if gap < best:
            best = gap
            along = total + _length_to(segment, t)
        total += segment.length()
    return along, best


def _length_to(segment: Segment, t: float) -> float:
    if isinstance(segment, Cubic):
        return segment.length_between(0.0, t)
    return t * segment.length()


def _parameter(segment: Segment, p: complex) -> float:
    if isinstance(segment, Line):
        chord = segment.end - segment.start
        along = ((p - segment.start) * chord.conjugate()).real / abs(chord) ** 2
        return min(1.0, max(0.0, along))
    if isinstance(segment, Arc):
        return _on_arc(segment, p)
    return _on_cubic(segment, p)


def _on_arc(arc: Arc, p: complex) -> float:
    centre, sweep = arc.centre, arc.sweep
    if p == centre:
        return 0.0
    ahead = cmath.phase((p - centre) / (arc.start - centre))
    if sweep < 0:
        ahead, sweep = -ahead, -sweep
    ahead %= 2 * math.pi
    if ahead <= sweep:
        return ahead / sweep
    return 0.0 if abs(arc.start - p) <= abs(arc.end - p) else 1.0


def _on_cubic(cubic: Cubic, p: complex) -> float:
    t = np.linspace(0.0, 1.0, SAMPLES + 1)
    k = int(np.argmin(np.abs(cubic.points(t) - p)))
    low, high = t[max(0, k - 1)], t[min(SAMPLES, k + 1)]
    golden = (math.sqrt(5) - 1) / 2
    for _ in range(60):
        a, b = high - golden * (high - low), low + golden * (high - low)
        if abs(cubic.point(a) - p) < abs(cubic.point(b) - p):
            high = b
        else:
            low = a
    return float((low + high) / 2)
