"""The compiled part of `offset_simple.py`: crossings, then loops, then the pieces that stay.

Terms.  A *place* is a length along an element from its start, mm.  A *piece* is a stretch of an
element that stays, from one place to another.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import cmath
import math
from typing import NamedTuple

import numpy as np

from foamwright.geometry.chains import Flags, Floats, Indices
from foamwright.geometry.compiled import compiled
from foamwright.geometry.offset_raw import SLIVER
from foamwright.geometry.path import CORNER_ANGLE
from foamwright.geometry.segments import Points

#: Nearer than this two things may touch or cross for all that doubles tell, mm.
NEAR = 1e-7
#: The sine of the least angle at which two curves cross for certain.
STEEP = 1e-6
#: Roles as in `offset_raw.py`, and how pieces begin.
_JOIN, _INNER = 1, 2
_NONE, _DOUBT = 0, -1
_CORNER = math.radians(CORNER_ANGLE)


class Curves(NamedTuple):
    """Elements: their ends and directions there, radius and sweep (infinite and 0 for a line)."""

    start: Points
    end: Points
    goes: Points
    came: Points
    sweep: Floats
    radius: Floats
    length: Floats
    centre: Points


class Kept(NamedTuple):
    """The pieces that stay: of which element, from which place to which, and how they begin.

    crossing: it begins where two elements cross, not where its own begins.
    """

    element: Indices
    low: Floats
    high: Floats
    crossing: Flags
    upto: Indices


class Pieces(NamedTuple):
    """Pieces of many paths as curves, and their elements; corner: a corner at the start."""

    start: Points
    end: Points
    bulge: Floats
    corner: Flags
    element: Indices
    upto: Indices


@compiled
def curves_of(start: Points, end: Points, bulge: Floats) -> Curves:
    n = len(start)
    sweep, radius, length = np.empty(n), np.empty(n), np.empty(n)
    centre = np.empty(n, np.complex128)
    goes, came = np.empty(n, np.complex128), np.empty(n, np.complex128)
    for k in range(n):
        chord, b = end[k] - start[k], bulge[k]
        size = abs(chord)
        sweep[k] = 4 * math.atan(b)
        # tan(sweep / 4) = b, so half the sweep turns by (1 + ib)^2 / (1 + b^2)
        half = complex(1 - b * b, 2 * b) * (1 / (1 + b * b))
        way = chord * (1 / size)
        goes[k], came[k] = way * half.conjugate(), way * half
        if b == 0:
            radius[k], length[k], centre[k] = np.inf, size, start[k]
        else:
            radius[k] = size * (1 + b * b) / (4 * abs(b))
            length[k] = radius[k] * abs(sweep[k])
            centre[k] = (start[k] + end[k]) / 2 + chord * 1j * (1 - b * b) / (4 * b)
    return Curves(start, end, goes, came, sweep, radius, length, centre)


@compiled
def _way(c: Curves, k: int, at: float) -> complex:
    """The direction at a place."""
    if c.sweep[k] == 0:
        return c.goes[k]
    return c.goes[k] * cmath.rect(1.0, c.sweep[k] * (at / c.length[k]))


@compiled
def _spot(c: Curves, k: int, at: float) -> complex:
    """The point at a place; flat arcs keep their digits."""
    if c.sweep[k] == 0:
        return c.start[k] + (c.end[k] - c.start[k]) * (at / c.length[k])
    half = c.sweep[k] * at / c.length[k] / 2
    return c.start[k] + 2 * c.radius[k] * math.sin(abs(half)) * (
        math.copysign(1.0, half * c.sweep[k]) * _way(c, k, at / 2)
    )


@compiled
def _place(c: Curves, k: int, p: complex) -> float:
    """The place of a point that lies on the element's line or circle."""
    from_start = p - c.start[k]
    goes = c.goes[k]
    if c.sweep[k] == 0:
        return (goes.conjugate() * from_start).real
    turn = 2 * cmath.phase(from_start * goes.conjugate()) * math.copysign(1.0, c.sweep[k])
    if turn < 0:
        turn += 2 * math.pi
    if turn - abs(c.sweep[k]) > 2 * math.pi - turn:
        turn -= 2 * math.pi
    return turn * c.radius[k]


@compiled
def _meetings(c: Curves, p: int, q: int, found: Points) -> int:
    """Where two elements' lines or circles cross, how often; or _DOUBT where they nearly touch."""
    if c.sweep[p] == 0 and c.sweep[q] == 0:
        u, v = c.goes[p], c.goes[q]
        cross = (u.conjugate() * v).imag
        first = (u.conjugate() * (c.start[q] - c.start[p])).imag
        last = (u.conjugate() * (c.end[q] - c.start[p])).imag
        if abs(cross) < STEEP:
            return _NONE if min(first, last) > NEAR or max(first, last) < -NEAR else _DOUBT
        found[0] = c.start[q] - v * (first / cross)
        return 1
    if c.sweep[p] == 0 or c.sweep[q] == 0:
        line, arc = (p, q) if c.sweep[p] == 0 else (q, p)
        u, r = c.goes[line], c.radius[arc]
        foot = c.start[line] + u * (u.conjugate() * (c.centre[arc] - c.start[line])).real
        off = abs(c.centre[arc] - foot)
        if off > r + NEAR:
            return _NONE
        half = u * math.sqrt(max((r - off) * (r + off), 0.0))
        found[0], found[1] = foot - half, foot + half
        return 2 if off < r - NEAR else _DOUBT
    r, s = c.radius[p], c.radius[q]
    across = c.centre[q] - c.centre[p]
    gap = abs(across)
    if gap > r + s + NEAR or gap < abs(r - s) - NEAR:
        return _NONE
    if gap < 1e-9 * max(r, s):
        return _DOUBT
    along = (gap + (r - s) * (r + s) / gap) / 2
    half = 1j * across / gap * math.sqrt(max((r - along) * (r + along), 0.0))
    found[0] = c.centre[p] + across / gap * along - half
    found[1] = c.centre[p] + across / gap * along + half
    return 2 if abs(r - s) + NEAR < gap < r + s - NEAR else _DOUBT


@compiled
def _side(c: Curves, k: int, at: float) -> int:
    """1: the place lies within the element; 0: outside; _DOUBT: too near to an end to tell."""
    if at < -NEAR or at > c.length[k] + NEAR:
        return 0
    return 1 if NEAR < at < c.length[k] - NEAR else _DOUBT


@compiled
def _touches(c: Curves, p: int, q: int, found: Points) -> bool:
    """Whether two elements that nearly touch, or lie on one line or circle, may do so in fact."""
    if c.sweep[p] == 0 and c.sweep[q] == 0:
        return True
    if c.sweep[p] != 0 and c.sweep[q] != 0:
        largest = max(c.radius[p], c.radius[q])
        if abs(c.centre[q] - c.centre[p]) < 1e-9 * largest:
            return abs(c.radius[p] - c.radius[q]) <= NEAR
    round_ = min(c.radius[p], c.radius[q])
    slack = NEAR + 4 * math.sqrt(round_ * NEAR)
    for i in range(2):
        at_p, at_q = _place(c, p, found[i]), _place(c, q, found[i])
        if -slack < at_p < c.length[p] + slack and -slack < at_q < c.length[q] + slack:
            return True
    return False


@compiled
def _beyond_joint(c: Curves, p: int, q: int, joint: complex, found: Points) -> int:
    """Where the lines or circles of neighbours cross besides their shared joint."""
    came, goes = c.came[p], c.goes[q]
    if (came.conjugate() * goes).real < -1 + STEEP:
        return _DOUBT
    if c.sweep[p] == 0 and c.sweep[q] == 0:
        return _NONE
    if c.sweep[p] != 0 and c.sweep[q] != 0:
        across = c.centre[q] - c.centre[p]
        gap = abs(across)
        if gap < 1e-9 * max(c.radius[p], c.radius[q]):
            return _DOUBT if abs(c.sweep[p] + c.sweep[q]) > 6 else _NONE
        axis = across / gap
        foot = c.centre[p] + axis * (axis.conjugate() * (joint - c.centre[p])).real
    else:
        line, arc = (p, q) if c.sweep[p] == 0 else (q, p)
        axis = c.goes[line]
        foot = joint + axis * (axis.conjugate() * (c.centre[arc] - joint)).real
    found[0] = 2 * foot - joint
    return 1 if abs(found[0] - joint) > 2 * NEAR else _NONE


@compiled
def _crossings(c: Curves, p: int, q: int, n: int, found: Points, at: Floats) -> int:
    """Crossings of the elements p < q within both: at[0::2] on p, at[1::2] on q; or _DOUBT."""
    if q == p + 1:
        count = _beyond_joint(c, p, q, c.end[p], found)
    elif p == 0 and q == n - 1:
        count = _beyond_joint(c, q, p, c.end[q], found)
    else:
        count = _meetings(c, p, q, found)
        if count == _DOUBT and not _touches(c, p, q, found):
            count = _NONE
    made = 0
    for i in range(count):
        at_p, at_q = _place(c, p, found[i]), _place(c, q, found[i])
        in_p, in_q = _side(c, p, at_p), _side(c, q, at_q)
        if in_p == 0 or in_q == 0:
            continue
        if _DOUBT in (in_p, in_q):
            return _DOUBT
        for _ in range(2):  # Newton's steps: circles of great radius lose digits at their centres
            u, v = _way(c, p, at_p), _way(c, q, at_q)
            cross = (u.conjugate() * v).imag
            if abs(cross) < STEEP:
                return _DOUBT
            miss = _spot(c, q, at_q) - _spot(c, p, at_p)
            at_p += (miss.conjugate() * v).imag / cross
            at_q += (miss.conjugate() * u).imag / cross
        if _side(c, p, at_p) != 1 or _side(c, q, at_q) != 1:
            return _DOUBT
        at[2 * made], at[2 * made + 1] = at_p, at_q
        made += 1
    return _DOUBT if count == _DOUBT else made


@compiled
def _box(c: Curves, k: int, box: Floats) -> None:
    """Bounds of an element from outside: x_min, x_max, y_min, y_max."""
    a, b = c.start[k], c.end[k]
    wide = NEAR
    if abs(c.sweep[k]) > math.pi:
        a = b = c.centre[k]
        wide += c.radius[k]
    elif c.sweep[k] != 0:  # within its height of its chord
        wide += abs(b - a) / 2 * abs(math.tan(c.sweep[k] / 4))
    box[0], box[1] = min(a.real, b.real) - wide, max(a.real, b.real) + wide
    box[2], box[3] = min(a.imag, b.imag) - wide, max(a.imag, b.imag) + wide


@compiled
def _tree(c: Curves) -> Floats:
    """Boxes of runs of elements: row i bounds rows 2 i and 2 i + 1, the last rows one element each.

    An empty run's box is inside out.
    """
    n = len(c.sweep)
    width = 1
    while width < n:
        width *= 2
    box = np.empty((2 * width, 4))
    for k in range(width):
        if k < n:
            _box(c, k, box[width + k])
        else:
            box[width + k, 0] = box[width + k, 2] = np.inf
            box[width + k, 1] = box[width + k, 3] = -np.inf
    for i in range(width - 1, 0, -1):
        for x in range(0, 4, 2):
            box[i, x] = min(box[2 * i, x], box[2 * i + 1, x])
            box[i, x + 1] = max(box[2 * i, x + 1], box[2 * i + 1, x + 1])
    return box


@compiled
def _all_crossings(c: Curves, box: Floats, places: Floats) -> int:
    """Fills rows of place on the first element, on the second, and both indices; how many."""
    n, width = len(c.sweep), len(box) // 2
    found, at = np.empty(2, np.complex128), np.empty(4)
    left, right = np.empty(256, np.intp), np.empty(256, np.intp)  # 3 pairs a level, 64 levels
    left[0] = right[0] = 1
    waiting, count = 1, 0
    while waiting:
        waiting -= 1
        a, b = left[waiting], right[waiting]
        if box[a, 0] > box[b, 1] or box[b, 0] > box[a, 1]:
            continue
        if box[a, 2] > box[b, 3] or box[b, 2] > box[a, 3]:
            continue
        if a < width:
            for x in range(2):
                for y in range(x if a == b else 0, 2):
                    left[waiting], right[waiting] = 2 * a + x, 2 * b + y
                    waiting += 1
        elif a != b:
            p, q = a - width, b - width
            made = _crossings(c, p, q, n, found, at)
            if made == _DOUBT or count + made > len(places):
                return _DOUBT
            for x in range(made):
                places[count, 0], places[count, 1] = at[2 * x], at[2 * x + 1]
                places[count, 2], places[count, 3] = p, q
                count += 1
    return count


@compiled
def _area_to(c: Curves, k: int, at: float, origin: complex) -> float:
    """Area between the element up to a place and the origin, mm2."""
    a, b = c.start[k] - origin, _spot(c, k, at) - origin
    area = (a.conjugate() * b).imag / 2
    if c.sweep[k] != 0:
        turn = c.sweep[k] * at / c.length[k]
        area += c.radius[k] ** 2 * (turn - math.sin(turn)) / 2
    return area


@compiled
def _keep(kept: Kept, element: int, low: float, high: float, crossing: bool) -> None:
    i = kept.upto[0]
    kept.element[i], kept.low[i], kept.high[i] = element, low, high
    kept.crossing[i] = crossing
    kept.upto[0] += 1


@compiled
def _keep_stretch(c: Curves, kept: Kept, first: int, low: float, last: int, high: float) -> None:
    """The pieces from a place on the first element on to a place on the last."""
    n = len(c.sweep)
    if first == last and low < high:
        _keep(kept, first, low, high, True)
        return
    _keep(kept, first, low, c.length[first], True)
    k = (first + 1) % n
    while k != last:
        _keep(kept, k, 0.0, c.length[k], False)
        k = (k + 1) % n
    _keep(kept, last, 0.0, high, False)


@compiled
def _loops_cut(
    c: Curves, places: Floats, count: int, area_to: Floats, kept: Kept
) -> tuple[bool, float]:
    """Keeps what is left when all loops are cut off; its area; False where loops interlock.

    area_to: area between the curve up to each end of a loop (in the rows of `places`: on the first
    element, on the second) and the origin, then that of the whole curve.  The loop of a crossing
    runs from the strand that the other crosses to its right; an *event* is a loop's start or end.
    """
    events = 2 * count
    element, at = np.empty(events, np.intp), np.empty(events)
    key, opens = np.empty(events), np.empty(events, np.bool_)
    depth = 0
    for e in range(events):
        i, x = e // 2, e % 2
        p, q = int(places[i, 2]), int(places[i, 3])
        wraps = (_way(c, p, places[i, 0]).conjugate() * _way(c, q, places[i, 1])).imag > 0
        element[e], at[e] = (q if x else p), places[i, x]
        key[e] = element[e] + at[e] / c.length[element[e]]
        opens[e] = wraps == (x == 1)
        depth += 1 if wraps and x == 0 else 0
    order = np.argsort(key, kind="mergesort")
    first = -1  # the last event after which no loop is open
    for i in range(events):
        a, e = order[i - 1], order[i]
        if i and element[a] == element[e] and at[e] - at[a] < 2 * NEAR:
            return False, 0.0
        depth += 1 if opens[e] else -1
        if depth == 0:
            first = i
    if first < 0:
        return False, 0.0
    stack = np.empty(events + 1, np.intp)
    depth, area = 0, area_to[events]
    for i in range(events):
        a, e = order[(first + i) % events], order[(first + i + 1) % events]
        if depth == 0:
            _keep_stretch(c, kept, element[a], at[a], element[e], at[e])
        if opens[e]:
            stack[depth] = e
            depth += 1
            continue
        depth -= 1
        if depth < 0 or stack[depth] // 2 != e // 2:
            return False, 0.0
        if depth == 0:
            o = stack[0]
            loop = area_to[e] - area_to[o] + (area_to[events] if key[e] < key[o] else 0.0)
            if loop <= 0:
                return False, 0.0
            area -= loop
    return True, area


@compiled
def _areas_to(c: Curves, places: Floats, count: int) -> Floats:
    """As `_loops_cut` wants them."""
    n = len(c.sweep)
    origin = c.start[0]
    before = np.zeros(n + 1)
    for k in range(n):
        before[k + 1] = before[k] + _area_to(c, k, c.length[k], origin)
    made = np.empty(2 * count + 1)
    for e in range(2 * count):
        k, at = int(places[e // 2, 2 + e % 2]), places[e // 2, e % 2]
        made[e] = before[k] + _area_to(c, k, at, origin)
    made[2 * count] = before[n]
    return made


@compiled
def _put(c: Curves, kept: Kept, role: Indices, sharp: Flags, base: int, out: Pieces) -> None:
    """Adds what is kept as curves, that of the earliest element first.

    A crossing is a corner where it turns enough or the source has an inside corner there.
    """
    n, count, first = len(role), kept.upto[0], 0
    for i in range(1, count):
        if kept.element[i] < kept.element[first]:
            first = i
    for i in range(first, first + count):
        j, before = i % count, (i - 1) % count
        k, b, low, high = kept.element[j], kept.element[before], kept.low[j], kept.high[j]
        o = out.upto[0]
        whole = low == 0.0 and high == c.length[k]
        out.start[o] = c.start[k] if low == 0.0 else _spot(c, k, low)
        share = 1.0 if whole else (high - low) / c.length[k]
        out.bulge[o] = math.tan(c.sweep[k] * share / 4)
        out.corner[o], out.element[o] = sharp[b], base + k
        if kept.crossing[j]:
            turn = cmath.phase(_way(c, k, low) / _way(c, b, kept.high[before]))
            between = (b + 1) % n
            known = (b + 2) % n == k and role[between] == _INNER and sharp[between]
            out.corner[o] = known or abs(turn) > _CORNER
        out.upto[0] += 1
    begun = out.upto[0] - count
    for i in range(count):
        out.end[begun + i] = out.start[begun + (i + 1) % count]


@compiled
def _fit_to_keep(c: Curves, kept: Kept, role: Indices) -> bool:
    """Whether no piece bridges, or is so short that its neighbours might do without it."""
    for i in range(kept.upto[0]):
        k = kept.element[i]
        size = kept.high[i] - kept.low[i]
        round_join = role[k] == _JOIN and c.sweep[k] != 0
        least = 0.0 if round_join else SLIVER
        if size == c.length[k] and (round_join or c.sweep[k] >= 0):
            least = 0.0  # the source's own, but for an arc that the reach made shorter
        if role[k] == _INNER or size < least:
            return False
    return True


@compiled
def _one(
    c: Curves,
    role: Indices,
    sharp: Flags,
    clockwise: bool,
    narrow: float,
    base: int,
    out: Pieces,
) -> None:
    """Adds one path's pieces; none where it isn't known to be simple."""
    n = len(role)
    places = np.empty((2 * n + 8, 4))
    count = _all_crossings(c, _tree(c), places)
    if count == _DOUBT:
        return
    room = n + count
    kept = Kept(
        np.empty(room, np.intp),
        np.empty(room),
        np.empty(room),
        np.empty(room, np.bool_),
        np.zeros(1, np.intp),
    )
    areas = _areas_to(c, places, count)
    area = areas[2 * count]
    if count == 0:
        for k in range(n):
            _keep(kept, k, 0.0, c.length[k], False)
    else:
        known, area = _loops_cut(c, places, count, areas, kept)
        if not known:
            return
    length = (kept.high[: kept.upto[0]] - kept.low[: kept.upto[0]]).sum()
    wound = -area if clockwise else area
    if 2 * wound > narrow * length and _fit_to_keep(c, kept, role):
        _put(c, kept, role, sharp, base, out)


@compiled
def simple_pieces(
    start: Points,
    end: Points,
    bulge: Floats,
    role: Indices,
    sharp: Flags,
    first: Indices,
    clockwise: Flags,
    narrow: float,
) -> tuple[Pieces, Indices]:
    """The pieces of every path known to be simple, and where each path's begin among them.

    A path that isn't known has none, nor one with a piece that is so short that its neighbours
    might do without it.  clockwise: how each source runs.  narrow: a result narrower than this, mm,
    is left to others.
    """
    n = len(start)
    whole = curves_of(start, end, bulge)
    room = 3 * n + 8 * len(first)
    out = Pieces(
        np.empty(room, np.complex128),
        np.empty(room, np.complex128),
        np.empty(room),
        np.empty(room, np.bool_),
        np.empty(room, np.intp),
        np.zeros(1, np.intp),
    )
    begins = np.zeros(len(first), np.intp)
    for i in range(len(first) - 1):
        at = slice(first[i], first[i + 1])
        c = Curves(
            start[at],
            end[at],
            whole.goes[at],
            whole.came[at],
            whole.sweep[at],
            whole.radius[at],
            whole.length[at],
            whole.centre[at],
        )
        if len(c.sweep) > 2:
            _one(c, role[at], sharp[at], clockwise[i], narrow, first[i], out)
        begins[i + 1] = out.upto[0]
    return out, begins
