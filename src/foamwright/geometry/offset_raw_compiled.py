"""The compiled part of raw parallels (`offset_raw.py` has the terms): sides, then joints.

A *side* is a source segment's parallel while its ends are still being settled.  Joint k lies
between the sides k - 1 and k of its path.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import cmath
import math
from typing import NamedTuple

import numpy as np

from foamwright.geometry.chains import Flags, Floats, Indices
from foamwright.geometry.compiled import compiled
from foamwright.geometry.offset_raw import SLIVER, TINY
from foamwright.geometry.path import CORNER_ANGLE
from foamwright.geometry.segments import Points

ROUND, MITRE, BEVEL, BUTT_BEFORE, BUTT_AFTER, FOLD_BEFORE, FOLD_AFTER = range(7)
PARALLEL, JOIN, INNER = range(3)
#: What lies at a joint: nothing, a line that bridges what can't be part of the result, an arc about
#: the corner, lines through points, an arc or a step first, or lines by the corner itself.
_NOTHING, _BRIDGE, _ARC, _LINES, _ARC_FIRST, _STEP_FIRST, _BY_CORNER = range(7)

#: Two parallels may meet away from their own ends by at most this share of either's length.
SHIFT_SHARE = 0.25
#: A parallel may lose at most this share of its length to the join at one of its ends.
LOSS_SHARE = 0.45
#: Where both parallels' radii are so many reaches, meeting ends widen a kink by a fifth at most.
GENTLE = 5.0
#: Arcs wider than this are not bent to be smooth, radians, nor lines run on into arcs as flat.
WIDEST, STEEP = math.radians(150), 1e-4
#: At an inside corner sharper than this the raw parallel goes round the corner's disc, which is
#: part of the result in any case; a source that runs over itself by a hair there does no harm then.
CUSP_TURN = math.radians(150)
#: No joint sharper than this is ever healed by moving ends, radians.
HEAL_TURN = math.radians(60)
#: The most points that a join runs through, and elements that a segment and its joint make.
MOST_POINTS = 2
MOST = 1 + MOST_POINTS + 1
_CORNER = math.radians(CORNER_ANGLE)


class Sides(NamedTuple):
    """For each source segment its parallel.

    radius, centre: of the parallel, below 0: turned inside out; infinite for a line.  goes, came:
    the directions at its start and end.  bent: its sweep is no more the segment's.
    """

    start: Points
    end: Points
    radius: Floats
    sweep: Floats
    goes: Points
    came: Points
    length: Floats
    centre: Points
    bent: Flags


class Joints(NamedTuple):
    """For each joint what lies between the sides k - 1 and k: by[k], through points[k, :upto[k]].

    sharp: the side before ends at a corner of the result.
    """

    by: Indices
    points: Points
    upto: Indices
    sharp: Flags


class Made(NamedTuple):
    """Elements as they are made: see `offset_raw.Raw`.  upto[0]: how many so far."""

    start: Points
    end: Points
    bulge: Floats
    role: Indices
    source: Indices
    sharp: Flags
    upto: Indices


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
    return Sides(moved_start, moved_end, radius, sweep, goes, came, length, centre, bent)


@compiled
def _dot(a: complex, b: complex) -> float:
    return a.real * b.real + a.imag * b.imag


@compiled
def _cross(a: complex, b: complex) -> float:
    return a.real * b.imag - a.imag * b.real


@compiled
def _heals(
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
def _smooth(s: Sides, b: int, a: int, turn: float, reach: float, tolerance: float) -> bool:
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
            other = (abs(across) ** 2 - handle * handle) / (2 * (handle + _dot(across, came)))
            inner = first + handle * way
            along = last - other * came - inner
            joint, goes = inner + along * (handle / (handle + other)), along / abs(along)
        else:
            cross = _cross(way, came)
            if abs(cross) < STEEP:
                return False
            handle = _cross(last - first, came) / cross
            other = _cross(way, last - first) / cross
            apex = first + handle * way
            goes = came if tight_b else way
            joint = apex + handle * came if tight_b else apex - other * way
        if handle <= 0 or other <= 0:
            continue
        off = max(_off(s, b, first, way, joint, goes), _off(s, a, joint, goes, last, came))
        if off < best:
            best, spot, middle = off, joint, goes
    if best == tolerance / 4 or min(_dot(spot - first, way), _dot(last - spot, came)) <= 0:
        return False
    before, after = _dot(spot - first, spot - first), _dot(last - spot, last - spot)
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
def _meet(s: Sides, b: int, a: int, corner: complex, turn: float, reach: float) -> None:
    """Moves the ends to where the sides' tangents cross."""
    came, goes = s.came[b], s.goes[a]
    spot = corner - 1j * reach * (came + goes) / (1 + _dot(came, goes))
    s.end[b] = s.start[a] = spot
    if abs(turn) * reach > TINY:
        gain = reach * math.tan(turn / 2)
        _bend(s, b, math.atan(gain / s.radius[b]))
        _bend(s, a, math.atan(gain / s.radius[a]))


@compiled
def _met_by(s: Sides, k: int, at_end: bool, p: complex, way: complex) -> tuple[bool, complex]:
    """Where a line through p meets a side near its end (or start), run on along its tangent there.

    False where it would cost the side too much of its length.
    """
    end = s.end[k] if at_end else s.start[k]
    out = s.came[k] if at_end else -s.goes[k]
    cross = _cross(out, way)
    if abs(cross) < 1e-9:
        return False, end
    on = _cross(p - end, way) / cross
    if on >= -TINY or s.radius[k] == np.inf:
        return on >= -LOSS_SHARE * s.length[k], end + on * out
    if s.radius[k] <= TINY:
        return False, end
    centre = s.centre[k]
    foot = p + way * _dot(centre - p, way)
    square = s.radius[k] ** 2 - abs(centre - foot) ** 2
    if square < 0:
        return False, end
    half = way * math.sqrt(square)
    spot = foot + half if abs(foot + half - end) < abs(foot - half - end) else foot - half
    turn = cmath.phase((spot - centre) / (end - centre)) * math.copysign(1.0, s.sweep[k])
    lost = (-turn if at_end else turn) * s.radius[k]
    return 0 <= lost <= LOSS_SHARE * s.length[k], spot


@compiled
def _way_at(s: Sides, k: int, at_end: bool, spot: complex) -> complex:
    """The direction out of a side at a spot on it or on its run-on."""
    end = s.end[k] if at_end else s.start[k]
    out = s.came[k] if at_end else -s.goes[k]
    if s.radius[k] == np.inf or _dot(spot - end, out) >= -TINY:
        return out
    centre = s.centre[k]
    return out * (spot - centre) / (end - centre)


@compiled
def _settle(s: Sides, k: int, at_end: bool, spot: complex) -> bool:
    """Moves a side's end to a spot; False where the join must run on to it by a line."""
    end = s.end[k] if at_end else s.start[k]
    if abs(spot - end) > TINY and s.radius[k] < np.inf:
        out = s.came[k] if at_end else -s.goes[k]
        if _dot(spot - end, out) >= 0:
            return False
        _bend(s, k, -abs(cmath.phase((spot - s.centre[k]) / (end - s.centre[k]))))
    if at_end:
        s.end[k] = spot
    else:
        s.start[k] = spot
    return True


@compiled
def _crossed(s: Sides, b: int, k: int) -> bool:
    """Cuts two sides where they cross at an inside corner, if one is a line and it costs little."""
    if s.radius[k] == np.inf:
        fits, spot = _met_by(s, b, True, s.start[k], s.goes[k])
    elif s.radius[b] == np.inf:
        fits, spot = _met_by(s, k, False, s.end[b], s.came[b])
    else:
        return False
    here, there = _dot(spot - s.end[b], s.came[b]), _dot(spot - s.start[k], s.goes[k])
    line, lost = (k, there) if s.radius[k] == np.inf else (b, -here)
    if not fits or here > TINY or there < -TINY or lost > LOSS_SHARE * s.length[line]:
        return False
    _settle(s, b, True, spot)
    _settle(s, k, False, spot)
    return True


@compiled
def _mitred(s: Sides, b: int, a: int, corner: complex, far: float, points: Points) -> int:
    """A mitre's points, of which the farthest lies `far` mm from the corner: their count."""
    here, there, came, goes = s.end[b], s.start[a], s.came[b], s.goes[a]
    cross = _cross(came, goes)
    if cross <= 0:
        return 0
    first, second = _cross(there - here, goes) / cross, _cross(there - here, came) / cross
    apex = here + first * came
    if abs(apex - corner) <= far * (1 + 1e-12):
        fits = True
        if first < 0:
            fits, apex = _met_by(s, b, True, there, goes)
        elif second > 0:
            fits, apex = _met_by(s, a, False, here, came)
        points[0] = apex
        return 1 if fits else 0
    if first < 0 or second > 0:
        return 0
    # cut square where the chord between the run-on sides passes at `far`
    axis = (apex - corner) / abs(apex - corner)
    along = -_cross(axis, here - corner) / _cross(axis, there - here)
    near = _dot(here + along * (there - here) - corner, axis)
    share = (far - near) / (abs(apex - corner) - near)
    share = min(share, 1 - SLIVER / abs(there - here))  # the cut is no sliver
    if share <= 0:
        return 0
    points[0], points[1] = here + share * first * came, there + share * second * goes
    return 2


@compiled
def _squared(
    s: Sides,
    own: int,
    other: int,
    own_ends: bool,
    corner: complex,
    reach: float,
    far: float,
    folds: bool,
    points: Points,
) -> int:
    """The points of a butted or folded corner, the side's own end first: their count.

    own_ends: the side that it is made for ends here, else it starts here.
    """
    out = s.came[own] if own_ends else -s.goes[own]
    aside = -1j * s.came[own] if own_ends else -1j * s.goes[own]
    fits, spot = _met_by(s, other, not own_ends, corner, out)
    if not fits:
        return 0
    on = _dot(spot - corner, out)
    if on > far:
        fits, spot = _met_by(s, other, not own_ends, corner + far * out, aside)
        if not fits:
            return 0
        on = far
        if _dot(spot - corner, aside) >= reach - TINY:
            end = s.end[own] if own_ends else s.start[own]
            fits, points[0] = _met_by(s, other, not own_ends, end, out)
            return 1 if fits else 0
        folds = False
    if reach <= TINY:
        points[0] = spot
        return 1
    if folds:
        # away from the corner along the other side, mirrored at the own side's line
        away = -_way_at(s, other, not own_ends, spot)
        mirrored = away - 2 * _dot(away, aside) * aside
        fits, tip = _met_by(s, own, own_ends, spot, mirrored)
        if fits and _dot(mirrored, aside) > 0 and abs(tip - corner) <= far:
            points[0], points[1] = tip, spot
            return 2
    points[0], points[1] = corner + on * out + reach * aside, spot
    return 2


@compiled
def _outside(
    s: Sides,
    b: int,
    a: int,
    corner: complex,
    reach: Floats,
    join: int,
    limit: float,
    points: Points,
) -> int:
    """The points of an outside corner's join that isn't round: their count, 0: straight across."""
    wide = max(reach[b], reach[a])
    count = 0
    if join == MITRE:
        if limit > 1:
            count = _mitred(s, b, a, corner, wide * limit, points)
    elif join in (BUTT_BEFORE, FOLD_BEFORE):
        folds = join == FOLD_BEFORE
        count = _squared(s, b, a, True, corner, reach[b], wide * limit, folds, points)
    elif join in (BUTT_AFTER, FOLD_AFTER):
        folds = join == FOLD_AFTER
        count = _squared(s, a, b, False, corner, reach[a], wide * limit, folds, points)
        if count == 2:
            points[0], points[1] = points[1], points[0]
    return count


@compiled
def _joint(
    s: Sides,
    j: Joints,
    b: int,
    k: int,
    corner: complex,
    marked: bool,
    reach: Floats,
    join: int,
    tolerance: float,
    limit: float,
    uniform: bool,
) -> None:
    """Settles the joint k between the sides b and k.  uniform: of a path with one reach."""
    turn = cmath.phase(s.goes[k] * s.came[b].conjugate())
    if turn < -CUSP_TURN:
        turn += 2 * math.pi
    even = reach[b] == reach[k]
    tight = min(s.radius[b], s.radius[k]) < GENTLE * reach[k]
    differ = even and not marked and tight and reach[k] * abs(turn) > TINY
    if differ and _smooth(s, b, k, turn, reach[k], tolerance):
        j.by[k] = _NOTHING
        return
    if even and _heals(s, b, k, turn, marked, reach[k], tolerance):
        _meet(s, b, k, corner, turn, reach[k])
        j.by[k], j.sharp[k] = _NOTHING, marked
        return
    here, there = s.end[b], s.start[k]
    if abs(here - there) <= TINY:
        j.by[k] = _NOTHING
    elif turn < 0:
        j.by[k] = _BRIDGE if uniform else _BY_CORNER
        j.sharp[k] = not uniform
        if not even and _crossed(s, b, k):
            j.by[k] = _NOTHING
    elif turn > math.pi or (join == ROUND and turn > 1e-9):
        j.by[k] = _ARC
        if not even:
            j.by[k] = _ARC_FIRST if reach[b] > reach[k] else _STEP_FIRST
            j.sharp[k] = reach[b] < reach[k]
    else:
        j.by[k] = _LINES
        count = _outside(s, b, k, corner, reach, join, limit, j.points[k]) if turn > 1e-9 else 0
        j.sharp[k] = True
        if count:
            j.sharp[k] = _settle(s, b, True, j.points[k, 0])
            _settle(s, k, False, j.points[k, count - 1])
        j.upto[k] = count


@compiled
def _add(
    m: Made, start: complex, end: complex, bulge: float, role: int, source: int, sharp: bool
) -> None:
    if abs(end - start) > TINY:
        i = m.upto[0]
        m.start[i], m.end[i], m.bulge[i] = start, end, bulge
        m.role[i], m.source[i], m.sharp[i] = role, source, sharp
        m.upto[0] += 1


@compiled
def _add_join(
    m: Made, s: Sides, j: Joints, b: int, k: int, corner: complex, marked: bool, reach: Floats
) -> None:
    """The elements between the sides b and k."""
    here, there, by = s.end[b], s.start[k], j.by[k]
    if by == _NOTHING:
        return
    turn = cmath.phase(s.goes[k] * s.came[b].conjugate())
    bulge = math.tan((turn + 2 * math.pi if turn < 0 else turn) / 4)
    if by == _BRIDGE:
        _add(m, here, there, 0.0, INNER, k, marked)
    elif by == _ARC:
        _add(m, here, there, bulge, JOIN, k, False)
    elif by == _ARC_FIRST:
        middle = corner - 1j * reach[b] * s.goes[k]
        _add(m, here, middle, bulge, JOIN, k, True)
        _add(m, middle, there, 0.0, JOIN, k, True)
    elif by == _STEP_FIRST:
        middle = corner - 1j * reach[k] * s.came[b]
        _add(m, here, middle, 0.0, JOIN, k, True)
        _add(m, middle, there, bulge, JOIN, k, False)
    elif by == _BY_CORNER:
        _add(m, here, corner, 0.0, JOIN, k, True)
        _add(m, corner, there, 0.0, JOIN, k, True)
    elif by == _LINES:
        at = here
        for i in range(j.upto[k]):
            _add(m, at, j.points[k, i], 0.0, JOIN, k, True)
            at = j.points[k, i]
        smooth = j.upto[k] > 0  # runs on along the next side's tangent
        _add(m, at, there, 0.0, JOIN, k, not smooth)


@compiled
def _add_side(m: Made, s: Sides, k: int, bulge: float, ends_sharp: bool) -> None:
    if bulge == 0:
        _add(m, s.start[k], s.end[k], 0.0, PARALLEL, k, ends_sharp)
        return
    role = INNER if s.radius[k] <= TINY else PARALLEL
    if s.bent[k]:
        bulge = math.tan(s.sweep[k] / 4)
    _add(m, s.start[k], s.end[k], bulge, role, k, ends_sharp)


@compiled
def _is_point(s: Sides, k: int) -> bool:
    """Whether an arc shrank to a point, so that its neighbours meet at a corner."""
    return s.radius[k] < np.inf and abs(s.end[k] - s.start[k]) <= TINY and abs(s.sweep[k]) > _CORNER


@compiled
def raw_elements(
    start: Points,
    end: Points,
    bulge: Floats,
    corner: Flags,
    first: Indices,
    reach: Floats,
    join: Indices,
    tolerance: float,
    limit: float,
) -> tuple[Made, Indices]:
    """The elements of all paths, and where each path's begin among them.

    reach: of each segment, mm; join: of each joint (ROUND ...).
    """
    n = len(start)
    s = sides(start, end, bulge, reach)
    j = Joints(
        np.zeros(n, np.intp),
        np.empty((n, MOST_POINTS), np.complex128),
        np.zeros(n, np.intp),
        np.zeros(n, np.bool_),
    )
    m = Made(
        np.empty(MOST * n, np.complex128),
        np.empty(MOST * n, np.complex128),
        np.empty(MOST * n),
        np.empty(MOST * n, np.intp),
        np.empty(MOST * n, np.intp),
        np.empty(MOST * n, np.bool_),
        np.zeros(1, np.intp),
    )
    begins = np.zeros(len(first), np.intp)
    for i in range(len(first) - 1):
        low, high = first[i], first[i + 1]
        uniform = reach[low:high].min() == reach[low:high].max()
        for k in range(low, high):
            b = k - 1 if k > low else high - 1
            _joint(s, j, b, k, start[k], corner[k], reach, join[k], tolerance, limit, uniform)
        for k in range(low, high):
            b = k - 1 if k > low else high - 1
            after = k + 1 if k + 1 < high else low
            _add_join(m, s, j, b, k, start[k], corner[k], reach)
            _add_side(m, s, k, bulge[k], j.sharp[after] or _is_point(s, after))
        begins[i + 1] = m.upto[0]
    return m, begins
