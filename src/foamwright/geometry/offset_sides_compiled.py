"""The compiled part of raw parallels (`offset_raw.py` has the terms): sides, moved at their ends.

A *side* is a source segment's parallel while its ends are still being settled.  Its *drawn* end is
where the parallel of what was drawn ends, in the direction drawn there: where the segment is an arc
through a cubic, a little beside its own.  Knows nothing of joins.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import cmath
import math
from typing import NamedTuple

import numpy as np

from foamwright.geometry.chains import Flags, Floats
from foamwright.geometry.compiled import compiled
from foamwright.geometry.fit import KINK
from foamwright.geometry.offset_raw import SLIVER, TINY
from foamwright.geometry.segments import Points

#: Two parallels may meet away from their own ends by at most this share of either's length.
SHIFT_SHARE = 0.25
#: A parallel may lose at most this share of its length to the join at one of its ends.
LOSS_SHARE = 0.45
#: Arcs wider than this are not bent to be smooth, radians, nor lines run on into arcs as flat.
WIDEST, STEEP = math.radians(150), 1e-4
#: A line this near to a spot that it is run on to goes there, mm.
STRAIGHT = 1e-6
#: No joint sharper than this is ever healed by moving ends, radians.
HEAL_TURN = math.radians(60)


class Sides(NamedTuple):
    """For each source segment its parallel.

    radius, centre: of the parallel, below 0: turned inside out; infinite for a line.  goes, came:
    the directions at its start and end.  drawn_...: the same of its drawn ends.  bent: its sweep is
    no more the segment's.
    """

    start: Points
    end: Points
    drawn_start: Points
    drawn_end: Points
    drawn_goes: Points
    drawn_came: Points
    radius: Floats
    sweep: Floats
    goes: Points
    came: Points
    length: Floats
    centre: Points
    bent: Flags


@compiled
def sides(start: Points, end: Points, bulge: Floats, reach: Floats) -> Sides:
    """Every segment's parallel by itself."""
    n = len(start)
    moved_start, moved_end = np.empty(n, np.complex128), np.empty(n, np.complex128)
    goes, came = np.empty(n, np.complex128), np.empty(n, np.complex128)
    radius, sweep, length = np.empty(n), np.empty(n), np.empty(n)
    centre, bent = np.zeros(n, np.complex128), np.zeros(n, np.bool_)
    for k in range(n):
        chord = end[k] - start[k]
        size = abs(chord)
        b = bulge[k]
        way = chord * (1 / size)
        # tan(sweep / 4) = b, so half the sweep turns by (1 + ib)^2 / (1 + b^2)
        half = complex(1 - b * b, 2 * b) * (1 / (1 + b * b))
        sweep[k] = 4 * math.atan(b)
        goes[k], came[k] = way * half.conjugate(), way * half
        moved_start[k] = start[k] - 1j * reach[k] * goes[k]
        moved_end[k] = end[k] - 1j * reach[k] * came[k]
        if b == 0:
            radius[k], length[k] = np.inf, size
        else:
            own = size * (1 + b * b) / (4 * abs(b))
            radius[k] = own + math.copysign(reach[k], b)
            length[k] = abs(sweep[k] * radius[k])
            centre[k] = start[k] + 1j * math.copysign(own, b) * goes[k]
    return Sides(
        moved_start,
        moved_end,
        moved_start.copy(),
        moved_end.copy(),
        goes.copy(),
        came.copy(),
        radius,
        sweep,
        goes,
        came,
        length,
        centre,
        bent,
    )


@compiled
def draw(
    s: Sides, b: int, a: int, corner: complex, came: complex, goes: complex, reach: Floats
) -> None:
    """Tells two sides the drawing's directions at the corner between them, where it has its own."""
    if came != 0:
        s.drawn_end[b], s.drawn_came[b] = corner - 1j * reach[b] * came, came
    if goes != 0:
        s.drawn_start[a], s.drawn_goes[a] = corner - 1j * reach[a] * goes, goes


@compiled
def forget(s: Sides, b: int, a: int) -> None:
    """Lets the sides' own ends do for the drawn ones at the corner between them."""
    s.drawn_end[b], s.drawn_came[b] = s.end[b], s.came[b]
    s.drawn_start[a], s.drawn_goes[a] = s.start[a], s.goes[a]


@compiled
def dot(a: complex, b: complex) -> float:
    return a.real * b.real + a.imag * b.imag


@compiled
def cross(a: complex, b: complex) -> float:
    return a.real * b.imag - a.imag * b.real


@compiled
def heals(
    s: Sides, b: int, a: int, turn: float, corner: bool, reach: float, tolerance: float
) -> bool:
    """Whether the ends may move to one place within a quarter of the tolerance."""
    shift = reach * math.tan(abs(turn) / 2) if abs(turn) < HEAL_TURN else np.inf
    if shift <= TINY:
        return True
    if s.radius[b] <= TINY or s.radius[a] <= TINY:
        return False
    if shift > SHIFT_SHARE * min(s.length[b], s.length[a]):
        return False
    if corner and (turn < 0 or shift >= SLIVER):
        return False
    tightest = min(s.radius[b], s.radius[a])  # whose end moves off its circle
    off = reach * (1 / math.cos(turn / 2) - 1) + shift * shift / (2 * tightest)
    return off <= tolerance / 4


@compiled
def _bend(s: Sides, k: int, gain: float) -> None:
    """Lets an arc sweep on by so many radians."""
    if s.radius[k] < np.inf:
        s.sweep[k] += math.copysign(gain, s.sweep[k] * gain)
        s.bent[k] = True


@compiled
def _off(s: Sides, k: int, start: complex, goes: complex, end: complex, came: complex) -> float:
    """How far an arc's ends and middle lie off a side's circle; nothing for a line."""
    if s.radius[k] == np.inf:
        return 0.0
    chord = end - start
    bulge = math.tan(cmath.phase(came * goes.conjugate()) / 4)
    middle = start + chord / 2 * complex(1.0, -bulge)
    off = 0.0
    for p in (start, middle, end):
        off = max(off, abs(abs(p - s.centre[k]) - s.radius[k]))
    return off


@compiled
def smooth(s: Sides, b: int, a: int, turn: float, reach: float, tolerance: float) -> bool:
    """Lets two sides whose tangents differ a little meet with one tangent, if they hardly move.

    Each keeps its other end and the direction there; a line stays on itself, and two arcs become
    a biarc.
    """
    gap = reach * turn
    tight_b, tight_a = s.radius[b] < np.inf, s.radius[a] < np.inf
    if min(s.radius[b], s.radius[a]) <= TINY or not (tight_b or tight_a):
        return False
    if max(abs(s.sweep[b]), abs(s.sweep[a])) > WIDEST:
        return False
    first, way, last, came = s.start[b], s.goes[b], s.end[a], s.came[a]
    best, spot, middle = tolerance / 4, 0j, 0j
    for i in range(9):
        if tight_b and tight_a:
            handle = s.radius[b] * math.tan(abs(s.sweep[b]) / 2) + (i - 2) * gap / 8
            across = last - first - handle * way
            other = (abs(across) ** 2 - handle * handle) / (2 * (handle + dot(across, came)))
            inner = first + handle * way
            along = last - other * came - inner
            joint, goes = inner + along * (handle / (handle + other)), along / abs(along)
        else:
            slant = cross(way, came)
            if abs(slant) < STEEP:
                return False
            handle = cross(last - first, came) / slant
            other = cross(way, last - first) / slant
            apex = first + handle * way
            goes = came if tight_b else way
            joint = apex + handle * came if tight_b else apex - other * way
        if handle <= 0 or other <= 0:
            continue
        off = max(_off(s, b, first, way, joint, goes), _off(s, a, joint, goes, last, came))
        if off < best:
            best, spot, middle = off, joint, goes
    if best == tolerance / 4 or min(dot(spot - first, way), dot(last - spot, came)) <= 0:
        return False
    before, after = dot(spot - first, spot - first), dot(last - spot, last - spot)
    if before < _kept(s, b) or after < _kept(s, a):
        return False
    s.end[b] = s.start[a] = spot
    s.came[b] = s.goes[a] = middle
    if tight_b:
        s.sweep[b], s.bent[b] = cmath.phase(middle * way.conjugate()), True
    if tight_a:
        s.sweep[a], s.bent[a] = cmath.phase(came * middle.conjugate()), True
    return True


@compiled
def _kept(s: Sides, k: int) -> float:
    """The square of the least chord that a side keeps when it is joined smoothly."""
    return ((1 - LOSS_SHARE) * abs(s.end[k] - s.start[k])) ** 2


@compiled
def meet(s: Sides, b: int, a: int, corner: complex, turn: float, reach: float) -> None:
    """Moves the ends to where the sides' tangents cross."""
    came, goes = s.came[b], s.goes[a]
    spot = corner - 1j * reach * (came + goes) / (1 + dot(came, goes))
    s.end[b] = s.start[a] = spot
    if abs(turn) * reach > TINY:
        gain = reach * math.tan(turn / 2)
        _bend(s, b, math.atan(gain / s.radius[b]))
        _bend(s, a, math.atan(gain / s.radius[a]))


@compiled
def met_by(s: Sides, k: int, at_end: bool, p: complex, way: complex) -> tuple[bool, complex]:
    """Where a line through p meets a side near its end (or start), run on from its drawn end.

    False where it would cost the side too much of its length.
    """
    end = s.drawn_end[k] if at_end else s.drawn_start[k]
    out = s.drawn_came[k] if at_end else -s.drawn_goes[k]
    slant = cross(out, way)
    if abs(slant) < 1e-9:
        return False, end
    on = cross(p - end, way) / slant
    if on >= -TINY or s.radius[k] == np.inf:
        return on >= -LOSS_SHARE * s.length[k], end + on * out
    if s.radius[k] <= TINY:
        return False, end
    centre = s.centre[k]
    foot = p + way * dot(centre - p, way)
    square = s.radius[k] ** 2 - abs(centre - foot) ** 2
    if square < 0:
        return False, end
    half = way * math.sqrt(square)
    spot = foot + half if abs(foot + half - end) < abs(foot - half - end) else foot - half
    lost = -_gain(s, k, at_end, spot) * s.radius[k]
    own = s.end[k] if at_end else s.start[k]
    return -abs(own - end) <= lost <= LOSS_SHARE * s.length[k], spot


@compiled
def _gain(s: Sides, k: int, at_end: bool, spot: complex) -> float:
    """By how much more an arc sweeps that ends (or starts) over a spot, radians."""
    end = s.end[k] if at_end else s.start[k]
    turn = cmath.phase((spot - s.centre[k]) / (end - s.centre[k]))
    return turn * math.copysign(1.0, s.sweep[k] if at_end else -s.sweep[k])


@compiled
def way_at(s: Sides, k: int, at_end: bool, spot: complex) -> complex:
    """The direction out of a side at a spot on it or on its run-on."""
    end = s.drawn_end[k] if at_end else s.drawn_start[k]
    out = s.drawn_came[k] if at_end else -s.drawn_goes[k]
    if s.radius[k] == np.inf or dot(spot - end, out) >= -TINY:
        return out
    end = s.end[k] if at_end else s.start[k]
    out = s.came[k] if at_end else -s.goes[k]
    return out * (spot - s.centre[k]) / (end - s.centre[k])


@compiled
def ahead(s: Sides, k: int, at_end: bool, spot: complex) -> float:
    """How far a spot lies on from a side's end, mm."""
    return dot(spot - s.end[k], s.came[k]) if at_end else dot(s.start[k] - spot, s.goes[k])


@compiled
def yields(s: Sides, k: int, at_end: bool, spot: complex, tolerance: float) -> bool:
    """Whether a side should itself end at a spot: a line on it, others to save a sliver there."""
    end = s.end[k] if at_end else s.start[k]
    if s.radius[k] == np.inf and abs(cross(spot - end, s.goes[k])) <= STRAIGHT:
        return True
    return ahead(s, k, at_end, spot) < SLIVER and _bears(s, k, at_end, spot, tolerance)


@compiled
def _bears(s: Sides, k: int, at_end: bool, spot: complex, tolerance: float) -> bool:
    """Whether a side may end at a spot near its end: hardly moved, and not cut back too far."""
    if s.radius[k] <= TINY:
        return False
    if s.radius[k] == np.inf:
        gain = ahead(s, k, at_end, spot)
        off = abs(cross(spot - s.end[k], s.goes[k]))
    else:
        gain = _gain(s, k, at_end, spot) * s.radius[k]
        off = abs(abs(spot - s.centre[k]) - s.radius[k])
    return off <= tolerance / 4 and gain >= -LOSS_SHARE * s.length[k]


@compiled
def lead(s: Sides, k: int, at_end: bool, tolerance: float) -> None:
    """Lets a side end where it was drawn to, unless that leaves a kink there."""
    spot = s.drawn_end[k] if at_end else s.drawn_start[k]
    end = s.end[k] if at_end else s.start[k]
    if spot == end or not _bears(s, k, at_end, spot, tolerance):
        return
    way = s.drawn_came[k] if at_end else s.drawn_goes[k]
    own = s.came[k] if at_end else s.goes[k]
    bent = own
    if s.radius[k] < np.inf:
        turn = math.copysign(1.0, s.sweep[k]) * _gain(s, k, at_end, spot)
        bent = own * cmath.rect(1.0, turn if at_end else -turn)
    kink = abs(cmath.phase(way * bent.conjugate()))
    if kink > KINK and kink > abs(cmath.phase(way * own.conjugate())):
        return
    _end_at(s, k, at_end, spot)
    if at_end:
        s.came[k] = bent
    else:
        s.goes[k] = bent


@compiled
def settle(s: Sides, k: int, at_end: bool, spot: complex, tolerance: float) -> bool:
    """Moves a side's end to a spot; False where the join must run on to it by a line."""
    end = s.end[k] if at_end else s.start[k]
    on = abs(spot - end) > TINY and ahead(s, k, at_end, spot) >= 0
    if on and not yields(s, k, at_end, spot, tolerance):
        return False
    _end_at(s, k, at_end, spot)
    return True


@compiled
def _end_at(s: Sides, k: int, at_end: bool, spot: complex) -> None:
    end = s.end[k] if at_end else s.start[k]
    if s.radius[k] < np.inf and abs(spot - end) > TINY:
        _bend(s, k, _gain(s, k, at_end, spot))
    if at_end:
        s.end[k] = spot
    else:
        s.start[k] = spot
