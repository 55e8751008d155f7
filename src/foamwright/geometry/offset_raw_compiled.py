"""The compiled part of raw parallels (`offset_raw.py` has the terms): joints between sides.

Joint k lies between the sides (`offset_sides_compiled.py`) k - 1 and k of its path.  The lines of
an outside corner's join are made by the drawn ends of its sides, and each side is led to them.
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
from foamwright.geometry.offset_sides_compiled import (
    LOSS_SHARE,
    Sides,
    ahead,
    cross,
    dot,
    draw,
    forget,
    heals,
    lead,
    meet,
    met_by,
    settle,
    sides,
    smooth,
    way_at,
    yields,
)
from foamwright.geometry.path import CORNER_ANGLE
from foamwright.geometry.segments import Points

ROUND, MITRE, BEVEL, BUTT_BEFORE, BUTT_AFTER, FOLD_BEFORE, FOLD_AFTER = range(7)
PARALLEL, JOIN, INNER = range(3)
#: What lies at a joint: nothing, a line that bridges what can't be part of the result, an arc about
#: the corner, lines through points, an arc or a step first, or lines by the corner itself.
_NOTHING, _BRIDGE, _ARC, _LINES, _ARC_FIRST, _STEP_FIRST, _BY_CORNER = range(7)

#: Where both parallels' radii are so many reaches, meeting ends widen a kink by a fifth at most.
GENTLE = 5.0
#: At an inside corner sharper than this the raw parallel goes round the corner's disc, which is
#: part of the result in any case; a source that runs over itself by a hair there does no harm then.
CUSP_TURN = math.radians(150)
#: The most points that a join runs through, and elements that a segment and its joint make.
MOST_POINTS = 2
MOST = 1 + MOST_POINTS + 1
_CORNER = math.radians(CORNER_ANGLE)


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
def _crossed(s: Sides, b: int, k: int, tolerance: float) -> bool:
    """Cuts two sides where they cross at an inside corner, if one is a line and it costs little."""
    if s.radius[k] == np.inf:
        fits, spot = met_by(s, b, True, s.start[k], s.goes[k])
    elif s.radius[b] == np.inf:
        fits, spot = met_by(s, k, False, s.end[b], s.came[b])
    else:
        return False
    here, there = dot(spot - s.end[b], s.came[b]), dot(spot - s.start[k], s.goes[k])
    line, lost = (k, there) if s.radius[k] == np.inf else (b, -here)
    if not fits or here > TINY or there < -TINY or lost > LOSS_SHARE * s.length[line]:
        return False
    settle(s, b, True, spot, tolerance)
    settle(s, k, False, spot, tolerance)
    return True


@compiled
def _mitred(s: Sides, b: int, a: int, corner: complex, far: float, points: Points) -> int:
    """A mitre's points, of which the farthest lies `far` mm from the corner: their count."""
    here, there = s.drawn_end[b], s.drawn_start[a]
    came, goes = s.drawn_came[b], s.drawn_goes[a]
    slant = cross(came, goes)
    if slant <= 0:
        return 0
    first, second = cross(there - here, goes) / slant, cross(there - here, came) / slant
    apex = here + first * came
    if abs(apex - corner) <= far * (1 + 1e-12):
        fits = True
        if first < 0:
            fits, apex = met_by(s, b, True, there, goes)
        elif second > 0:
            fits, apex = met_by(s, a, False, here, came)
        points[0] = apex
        return 1 if fits else 0
    if first < 0 or second > 0:
        return 0
    # cut square where the chord between the run-on sides passes at `far`
    axis = (apex - corner) / abs(apex - corner)
    along = -cross(axis, here - corner) / cross(axis, there - here)
    near = dot(here + along * (there - here) - corner, axis)
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
    out = s.drawn_came[own] if own_ends else -s.drawn_goes[own]
    aside = -1j * s.drawn_came[own] if own_ends else -1j * s.drawn_goes[own]
    fits, spot = met_by(s, other, not own_ends, corner, out)
    if not fits:
        return 0
    on = dot(spot - corner, out)
    if on > far:
        fits, spot = met_by(s, other, not own_ends, corner + far * out, aside)
        if not fits:
            return 0
        on = far
        if dot(spot - corner, aside) >= reach - TINY:
            end = s.drawn_end[own] if own_ends else s.drawn_start[own]
            fits, points[0] = met_by(s, other, not own_ends, end, out)
            return 1 if fits else 0
        folds = False
    if reach <= TINY:
        points[0] = spot
        return 1
    if folds:
        # away from the corner along the other side, mirrored at the own side's line
        away = -way_at(s, other, not own_ends, spot)
        mirrored = away - 2 * dot(away, aside) * aside
        fits, tip = met_by(s, own, own_ends, spot, mirrored)
        if fits and dot(mirrored, aside) > 0 and abs(tip - corner) <= far:
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
    """The points of an outside corner's join that isn't round, straight across if need be.

    Their count.
    """
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
    if count == 0:
        points[0], points[1] = s.drawn_end[b], s.drawn_start[a]
        return 2
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
    if differ and smooth(s, b, k, turn, reach[k], tolerance):
        j.by[k] = _NOTHING
        return
    if even and heals(s, b, k, turn, marked, reach[k], tolerance):
        meet(s, b, k, corner, turn, reach[k])
        j.by[k], j.sharp[k] = _NOTHING, marked
        return
    here, there = s.end[b], s.start[k]
    if abs(here - there) <= TINY:
        j.by[k] = _NOTHING
    elif turn < 0:
        j.by[k] = _BRIDGE if uniform else _BY_CORNER
        j.sharp[k] = not uniform
        if not even and _crossed(s, b, k, tolerance):
            j.by[k] = _NOTHING
    elif turn > math.pi or (join == ROUND and turn > 1e-9):
        j.by[k] = _ARC
        if not even:
            j.by[k] = _ARC_FIRST if reach[b] > reach[k] else _STEP_FIRST
            j.sharp[k] = reach[b] < reach[k]
    else:
        j.by[k] = _LINES
        style = join if turn > 1e-9 else BEVEL
        lead(s, b, True, tolerance)
        lead(s, k, False, tolerance)
        count = _outside(s, b, k, corner, reach, style, limit, j.points[k])
        if not _led(s, b, k, j.points[k, 0], j.points[k, count - 1], tolerance):
            forget(s, b, k)
            count = _outside(s, b, k, corner, reach, style, limit, j.points[k])
        j.sharp[k] = settle(s, b, True, j.points[k, 0], tolerance)
        settle(s, k, False, j.points[k, count - 1], tolerance)
        j.upto[k] = count


@compiled
def _led(s: Sides, b: int, a: int, first: complex, last: complex, tolerance: float) -> bool:
    """Whether two sides can be led on or cut back to the first and last point between them."""
    before = ahead(s, b, True, first) >= 0 or yields(s, b, True, first, tolerance)
    after = ahead(s, a, False, last) >= 0 or yields(s, a, False, last, tolerance)
    return before and after


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
        _add(m, at, there, 0.0, JOIN, k, False)  # runs on along the next side's tangent


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
    came: Points,
    goes: Points,
) -> tuple[Made, Indices]:
    """The elements of all paths, and where each path's begin among them.

    reach: of each segment, mm; join: of each joint (ROUND ...); came, goes: the drawing's
    directions into each joint and out of it, 0 where they are the segments' own.
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
            draw(s, b, k, start[k], came[k], goes[k], reach)
            _joint(s, j, b, k, start[k], corner[k], reach, join[k], tolerance, limit, uniform)
        for k in range(low, high):
            b = k - 1 if k > low else high - 1
            after = k + 1 if k + 1 < high else low
            _add_join(m, s, j, b, k, start[k], corner[k], reach)
            _add_side(m, s, k, bulge[k], j.sharp[after] or _is_point(s, after))
        begins[i + 1] = m.upto[0]
    return m, begins
