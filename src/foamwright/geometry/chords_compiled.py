"""The compiled part of distances to many straight chords (`region.directed_deviation`).

Chords that follow each other lie near each other, so boxes round LEAF of them, and round LEAF such
boxes, tell at once which can't hold the nearest.  Distances are exact, whatever the boxes.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import math

import numpy as np

from foamwright.geometry.chains import Floats
from foamwright.geometry.compiled import compiled
from foamwright.geometry.segments import Points

#: Chords in a box, and boxes in a greater one.
LEAF = 12


@compiled
def _boxes(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Boxes round each LEAF boxes: their low and high corners, (n, 2)."""
    count = (len(low) + LEAF - 1) // LEAF
    lows, highs = np.empty((count, 2)), np.empty((count, 2))
    for k in range(count):
        for axis in range(2):
            lows[k, axis], highs[k, axis] = math.inf, -math.inf
        for i in range(k * LEAF, min(len(low), (k + 1) * LEAF)):
            for axis in range(2):
                lows[k, axis] = min(lows[k, axis], low[i, axis])
                highs[k, axis] = max(highs[k, axis], high[i, axis])
    return lows, highs


@compiled
def _to_box(x: float, y: float, low: Floats, high: Floats, k: int) -> float:
    """Square of the distance from a point to box k; 0 inside it."""
    dx = max(low[k, 0] - x, x - high[k, 0], 0.0)
    dy = max(low[k, 1] - y, y - high[k, 1], 0.0)
    return dx * dx + dy * dy


@compiled
def _to_chord(p: complex, start: complex, end: complex) -> float:
    """Square of the distance from a point to a chord."""
    way, off = end - start, p - start
    size = way.real * way.real + way.imag * way.imag
    share = 0.0
    if size > 0:
        share = min(1.0, max(0.0, (off.real * way.real + off.imag * way.imag) / size))
    dx, dy = off.real - share * way.real, off.imag - share * way.imag
    return dx * dx + dy * dy


@compiled
def nearest_chords(points: Points, starts: Points, ends: Points) -> Floats:
    """For each point its distance to the nearest of the chords, of which there is at least one."""
    low, high = np.empty((len(starts), 2)), np.empty((len(starts), 2))
    for i in range(len(starts)):
        a, b = starts[i], ends[i]
        low[i, 0], high[i, 0] = min(a.real, b.real), max(a.real, b.real)
        low[i, 1], high[i, 1] = min(a.imag, b.imag), max(a.imag, b.imag)
    leaf_low, leaf_high = _boxes(low, high)
    top_low, top_high = _boxes(leaf_low, leaf_high)
    made = np.empty(len(points))
    last = 0
    for n in range(len(points)):
        p = points[n]
        best = _to_chord(p, starts[last], ends[last])
        for t in range(len(top_low)):
            if _to_box(p.real, p.imag, top_low, top_high, t) >= best:
                continue
            for leaf in range(t * LEAF, min(len(leaf_low), (t + 1) * LEAF)):
                if _to_box(p.real, p.imag, leaf_low, leaf_high, leaf) >= best:
                    continue
                for i in range(leaf * LEAF, min(len(starts), (leaf + 1) * LEAF)):
                    off = _to_chord(p, starts[i], ends[i])
                    if off < best:
                        best, last = off, i
        made[n] = math.sqrt(best)
    return made
