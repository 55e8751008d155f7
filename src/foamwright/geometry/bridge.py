"""A smooth curve from one end to another, with the direction given at each.

Symmetric ends are joined by the circular arc, others by a cubic with the arc's reach.
"""

from __future__ import annotations

import cmath
import math

from foamwright.geometry.segments import Arc, Cubic, Line, Segment

#: Radians by which two ends may miss symmetry and be joined by an arc.
SYMMETRIC = 1e-9
#: The most that a bridge may turn, radians: beyond it a curve would balloon.
MOST_TURN = math.radians(150)


def bridge(start: complex, way_in: complex, end: complex, way_out: complex) -> Segment:
    """From start, travelled the way in, to end, left the way out (both directions of any length).

    Where they turn by more than MOST_TURN, or lead nowhere near each other, a straight line.
    """
    chord = end - start
    first, second = cmath.phase(chord / way_in), cmath.phase(way_out / chord)
    turn = first + second
    if max(abs(first), abs(second)) > MOST_TURN / 2:
        return Line(start, end)
    if max(abs(first), abs(second)) <= SYMMETRIC:
        return Line(start, end)
    if abs(first - second) <= SYMMETRIC:
        return Arc(start, end, math.tan(turn / 4))
    mean = (abs(first) + abs(second)) / 2
    reach = 4 / 3 * math.tan(mean / 2) * abs(chord) / (2 * math.sin(mean))
    handles = (way / abs(way) * reach for way in (way_in, way_out))
    one, other = handles
    return Cubic(start, start + one, end - other, end)
