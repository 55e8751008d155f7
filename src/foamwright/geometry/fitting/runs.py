"""Smooth runs of cubics as chains of arcs: the cheapest way that holds.

In turn: one circle for all of it; the fewest arcs that can be made to hold, without kinks if that
can be; biarcs.  Whatever comes out has been measured against the curve between its points too.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import cmath
import math

import numpy as np

from foamwright.geometry.chains import Flags, Floats, Indices
from foamwright.geometry.compiled import compiled, within
from foamwright.geometry.fitting.biarcs import by_biarcs
from foamwright.geometry.fitting.chain import Limits, State, begun_at, deviation_of
from foamwright.geometry.fitting.circle import full_circle, one_arc
from foamwright.geometry.fitting.curve import Curve, Ends, point_at, powers_of, sampled, way_at
from foamwright.geometry.fitting.plane import direction, magnitude
from foamwright.geometry.fitting.reach import best_round, even_joints, least_count, walked
from foamwright.geometry.fitting.search import PLANNED, SURE, Patience, tried_from
from foamwright.geometry.segments import Points

#: Joints turn by at most this where it has to be (the limit is 1 degree), and else by at most that.
KINK, SMOOTH = math.radians(0.95), math.radians(0.01)
#: No arc is shorter than this, mm, where the run isn't.
SHORTEST = 0.05
#: A run of more arcs than this is fitted in stretches of about as many, each within two joints.
STRETCH = 32
#: Among so many joints to each side the best is chosen for the end of a stretch.
CALM = 5
#: Arcs allowed beyond the least where the search has to cut arcs, as a share of it, and besides.
MORE_SHARE, MORE = 0.3, 3
#: What to try, in order: is it for loops only; without kinks; arcs (0: the least, 1: one more, 2:
#: the allowed, 3 and on: more); a guess for the joints; with patience; cutting arcs (1: up to the
#: allowed, 2: beyond); arcs shorter than SHORTEST too, for tips of next to no radius.
TRIES = (
    (False, True, 0, 0.0, False, 0, False),
    (False, True, 1, 0.0, False, 0, False),
    (False, True, 2, 0.0, False, 0, False),
    (False, False, 0, 0.0, False, 0, False),
    (False, False, 2, 0.0, False, 0, False),
    (False, False, 2, 0.5, False, 0, False),
    (False, False, 0, 0.0, True, 1, False),
    (False, False, 0, 0.0, True, 1, True),
    (False, False, 2, 0.0, True, 0, False),
    (False, False, 2, 0.0, True, 0, True),
    (False, False, 2, 0.25, True, 0, False),
    (False, False, 2, 0.25, True, 0, True),
    (False, False, 2, -0.25, True, 0, False),
    (False, False, 2, 0.12, True, 0, False),
    (True, False, 2, 0.5, True, 0, False),
    (True, False, 2, 0.5, True, 0, True),
    (True, False, 2, 0.75, True, 0, False),
    (True, False, 2, 0.12, True, 0, False),
    (True, False, 2, 0.38, True, 0, False),
    (False, False, 3, 0.0, True, 0, True),
    (False, False, 3, 0.5, True, 0, True),
    (False, False, 0, 0.0, True, 2, True),
    (False, False, 2, 0.0, False, 2, True),
    (False, False, 4, 0.0, True, 0, True),
    (False, False, 5, 0.0, True, 0, True),
    (False, False, 6, 0.0, True, 2, True),
)
#: Biarcs are planned for this share of the last plan's deviation, so many times.
CLOSER, BIARC_PLANS = 0.85, 12
#: One circle is looked for where so many arcs would do.
ONE_CIRCLE = 4
#: A sweep whose sagitta is below this many mm is written as a line.
FLAT = 1e-7


@within
def fitted_part(
    curve: Curve, ahead: Floats, loop: bool, ends: Ends, tolerance: float
) -> tuple[Points, Floats, int]:
    """The run that was walked as a chain: few arcs, first without kinks; then more; then biarcs."""
    low, high = ahead[0], ahead[-2]
    if loop:
        ahead = best_round(curve, ahead, tolerance)
        low, high = ahead[0], ahead[0] + curve.u[-1]
    behind = walked(curve, high, low, loop, tolerance)
    least = max(least_count(ahead), 3 if loop else 1)
    more = max(least + 1, int(1.1 * (least if loop else len(ahead) - 2)))
    quick, long = Patience(24, 0.07, 1.15), Patience(60, 0.02, 2.0)
    length = 0.0
    before = point_at(curve, low)
    for i in range(1, 4 * least + 1):
        p = point_at(curve, low + (high - low) * i / (4 * least))
        length, before = length + magnitude(p - before), p
    most_of_all = least + MORE + math.ceil(MORE_SHARE * least)
    for k in range(len(TRIES)):
        of_loops, smooth, extra, shift, patient, cuts, short = TRIES[k]
        if (of_loops and not loop) or (extra == 2 and smooth and more == least + 1):
            continue
        count = (least, least + 1, more, more + 1, more + 2, more + 3, more + 4)[extra]
        patience = long if patient else quick
        most = (0, more, most_of_all)[cuts]
        forth, back, lean = ahead, behind, shift
        if loop and shift > 0:
            first = low + shift * (ahead[1] - low)
            forth = walked(curve, first, first + high - low, loop, tolerance)
            back, lean = walked(curve, first + high - low, first, loop, tolerance), 0.0
        joints = even_joints(forth, back, count, lean)
        limits = Limits(
            PLANNED * tolerance,
            SMOOTH if smooth else KINK,
            0.0 if loop else (ends.first_smooth if smooth else ends.first_kink),
            0.0 if loop else (ends.last_smooth if smooth else ends.last_kink),
            ends.first,
            ends.last,
            0.0 if short else min(SHORTEST, 0.3 * length / count),
        )
        found, made, state = tried_from(curve, joints, limits, most, patience, tolerance)
        if found:
            return made, state.sweeps, k
    planned = PLANNED * tolerance
    first_way = way_at(curve, low)[0] if loop else ends.first
    last_way = first_way if loop else ends.last
    for _ in range(BIARC_PLANS):
        points, sweeps, u = by_biarcs(curve, low, high, first_way, last_way, planned)
        if deviation_of(curve, points, sweeps, u)[0].max() <= SURE * tolerance:
            break
        planned *= CLOSER
    return points, sweeps, len(TRIES)


@within
def in_stretches(
    curve: Curve, loop: bool, ends: Ends, walk: Floats, least: int, tolerance: float
) -> tuple[Points, Floats, int]:
    """A long run cut at points of the curve, each half of it bending as its best arcs do there."""
    high = curve.u[-1]
    places = even_joints(walk, walked(curve, high, 0.0, loop, tolerance), least, 0.0)
    begun = begun_at(curve, places)
    parts = math.ceil(least / STRETCH)
    points, sweeps = np.empty(0, np.complex128), np.empty(0)
    how = j = 0
    for k in range(parts):
        i, j = j, least if k == parts - 1 else calm_joint(begun, round((k + 1) * least / parts))
        first, last = way_between(curve, begun, i, loop), way_between(curve, begun, j, loop)
        one = Ends(first, KINK / 2, SMOOTH / 2, last, KINK / 2, SMOOTH / 2)
        if k == 0 and not loop:
            one = Ends(ends.first, ends.first_kink, ends.first_smooth, last, KINK / 2, SMOOTH / 2)
        if k == parts - 1 and not loop:
            one = Ends(
                one.first,
                one.first_kink,
                one.first_smooth,
                ends.last,
                ends.last_kink,
                ends.last_smooth,
            )
        part = walked(curve, places[i], places[j], False, tolerance)
        made, turns, way = fitted_part(curve, part, False, one, tolerance)
        points = np.append(points[:-1] if k > 0 else points, made)
        sweeps = np.append(sweeps, turns)
        how = max(how, way)
    if loop:
        points[-1] = points[0]
    return points, sweeps, how


@within
def calm_joint(chain: State, near: int) -> int:
    """The joint near to a number whose two arcs turn least: a good one to cut a run at."""
    best, least = near, math.inf
    for i in range(max(1, near - CALM), min(len(chain.sweeps), near + CALM + 1)):
        turn = abs(chain.sweeps[i - 1]) + abs(chain.sweeps[i])
        if turn < least:
            best, least = i, turn
    return best


@within
def way_between(curve: Curve, begun: State, i: int, loop: bool) -> complex:
    """The direction half-way between those of the best arcs that joint i joins."""
    n = len(begun.sweeps)
    here = point_at(curve, begun.u[i])
    if not loop and i in (0, n):
        return way_at(curve, begun.u[i])[0]
    after, before = i % n, (i - 1) % n
    goes = (point_at(curve, begun.u[after + 1]) - here) * cmath.rect(1.0, -begun.sweeps[after] / 2)
    came = (here - point_at(curve, begun.u[before])) * cmath.rect(1.0, begun.sweeps[before] / 2)
    both = goes / max(magnitude(goes), 1e-12) + came / max(magnitude(came), 1e-12)
    return both / max(magnitude(both), 1e-12)


@within
def fitted_whole(
    curve: Curve, loop: bool, ends: Ends, tolerance: float
) -> tuple[Points, Floats, int]:
    """Joints and sweeps of the whole run, and which of TRIES found it: see `fit_runs`."""
    walk = walked(curve, 0.0, curve.u[-1], loop, tolerance)
    least = least_count(walk)
    if least <= ONE_CIRCLE:
        points, sweeps = (
            full_circle(curve, PLANNED * tolerance)
            if loop
            else one_arc(curve, ends, PLANNED * tolerance)
        )
        if len(sweeps) > 0:
            return points, sweeps, -1
    if least > STRETCH:
        return in_stretches(curve, loop, ends, walk, least, tolerance)
    return fitted_part(curve, walk, loop, ends, tolerance)


@compiled
def fit_runs(
    controls: Points, upto: Indices, loops: Flags, ways: Points, kinks: Floats, tolerance: float
) -> tuple[Points, Points, Floats, Indices, Indices]:
    """Runs of cubics as arcs within tolerance (mm) that meet each other and the ends within KINK.

    controls (k, 4): control points; run r has the cubics upto[r] to upto[r + 1].  ways (r, 2): the
    directions that its ends must have; kinks (r, 4): how far the first may be off, in radians, how
    far where the joint can be without a kink, and the same of the last.  Loops need neither.
    Gives starts, ends and bulges of all arcs, how many there are up to each run, and for each run
    which of TRIES found it (-1: one circle; beyond the last: biarcs).
    """
    runs = len(loops)
    counts, found = np.zeros(runs + 1, np.int64), np.zeros(runs, np.int64)
    starts, stops, bulges = [], [], []
    for r in range(runs):
        own = controls[upto[r] : upto[r + 1]]
        begins = np.empty(len(own) + 1, np.complex128)
        for k in range(len(own)):
            begins[k] = direction(own[k, 1] - own[k, 0])
            for m in range(2, 4):
                if begins[k] == 0:
                    begins[k] = direction(own[k, m] - own[k, 0])
        begins[-1] = begins[0]
        if not loops[r]:
            begins[0], begins[-1] = ways[r, 0], ways[r, 1]
        curve = sampled(powers_of(own), begins, own[-1, 3], tolerance, loops[r])
        ends = Ends(begins[0], kinks[r, 0], kinks[r, 1], begins[-1], kinks[r, 2], kinks[r, 3])
        joints, sweeps, found[r] = fitted_whole(curve, loops[r], ends, tolerance)
        if not loops[r]:
            joints[0], joints[-1] = own[0, 0], own[-1, 3]
        for i in range(len(sweeps)):
            flat = magnitude(joints[i + 1] - joints[i]) * abs(sweeps[i]) / 8 <= FLAT
            starts.append(joints[i])
            stops.append(joints[i + 1])
            bulges.append(0.0 if flat else math.tan(sweeps[i] / 4))
        counts[r + 1] = len(bulges)
    return np.array(starts), np.array(stops), np.array(bulges), counts, found
