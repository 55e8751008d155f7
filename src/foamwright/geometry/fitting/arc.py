"""One arc over a chord: how far points lie from it, and the arc that serves a stretch best.

An arc is told by its ends and its sweep, the angle that it turns by (0: a line).
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import cmath
import math

from foamwright.geometry.compiled import within
from foamwright.geometry.fitting.plane import cross, dot, magnitude, turn_between
from foamwright.geometry.segments import Points

#: Steps that balance an arc's error, at the most, and what is balanced, as a share of it.
BALANCINGS, BALANCED = 8, 0.01
#: No arc is sought that turns by more.
WIDEST_BALANCED = math.radians(340.0)


@within
def off_circle(p: complex, middle: complex, half: complex, bulge: float) -> float:
    """Signed distance of p to the left of the circle over a chord, from -half to +half of it.

    Keeps its digits for flat arcs: the circle's equation in the frame of its chord, times bulge.
    """
    reach2 = half.real * half.real + half.imag * half.imag
    d = p - middle
    x, y = dot(half, d) / reach2, cross(half, d) / reach2
    rise = 1 - bulge * bulge
    top = 2 * y * rise - 2 * bulge * (x * x + y * y - 1)
    across = 2 * bulge * y - rise
    bottom = (1 + bulge * bulge) + math.sqrt(4 * bulge * bulge * x * x + across * across)
    return math.sqrt(reach2) * top / bottom


@within
def arc_length(chord: complex, sweep: float) -> float:
    half = sweep / 2
    return max(magnitude(chord), 1e-12) * (half / math.sin(half) if abs(half) > 1e-3 else 1.0)


@within
def balanced_arc(aims: Points, count: int, a: complex, b: complex) -> tuple[float, float]:
    """The sweep of the best arc from a to b, and how far its worst target is off.

    The error is balanced by secants, the first a Newton step on the arc's height.
    """
    half, middle = (b - a) / 2, (a + b) / 2
    reach = magnitude(half)
    z = (aims[count // 2] - middle) / half
    # the inscribed angle at the middle target
    sweep = 2 * turn_between(1 + z, 1 - z)
    worst, before, unbalanced = math.inf, 0.0, 0.0
    for k in range(BALANCINGS):
        if not abs(sweep) < WIDEST_BALANCED:
            return sweep, math.inf
        bulge = math.tan(sweep / 4)
        high, low, at_high, at_low = -math.inf, math.inf, 0, 0
        for i in range(count):
            off = off_circle(aims[i], middle, half, bulge)
            if off > high:
                high, at_high = off, i
            if off < low:
                low, at_low = off, i
        worst = max(abs(high), abs(low))
        if k == BALANCINGS - 1 or abs(high + low) <= BALANCED * worst:
            break
        slope = (high + low - unbalanced) / (sweep - before) if k > 0 else 0.0
        if not slope > 0:
            x = dot(half, aims[at_high] - middle) / (reach * reach)
            y = dot(half, aims[at_low] - middle) / (reach * reach)
            lift = max(0.05, 1 - x * x) + max(0.05, 1 - y * y)
            slope = lift * reach / (4 * math.cos(sweep / 4) ** 2)
        before, unbalanced = sweep, high + low
        sweep -= (high + low) / slope
    return sweep, worst


@within
def distance_to_arc(p: complex, a: complex, b: complex, sweep: float) -> float:
    """Distance of p to the arc itself: to its ends, where it lies beyond."""
    return distance_to_turned(p, a, b, cmath.rect(1.0, sweep / 2), math.tan(sweep / 4))


@within
def distance_to_turned(p: complex, a: complex, b: complex, spin: complex, bulge: float) -> float:
    """As distance_to_arc; spin turns the chord to the arc's last direction."""
    chord = b - a
    if dot(p - a, chord * spin.conjugate()) < 0:
        return magnitude(p - a)
    if dot(p - b, chord * spin) > 0:
        return magnitude(p - b)
    return abs(off_circle(p, (a + b) / 2, chord / 2, bulge))
