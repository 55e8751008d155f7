"""A chain of arcs near a curve, its limits, and how it stands to them.

A *target* of an arc is a point of the curve that it stands for.  A *share* is a quantity over its
limit, and the *excess* is what is above a limit.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import cmath
import math
from typing import NamedTuple

import numpy as np

from foamwright.geometry.chains import Floats
from foamwright.geometry.compiled import within
from foamwright.geometry.fitting.arc import arc_length, balanced_arc, distance_to_turned, off_circle
from foamwright.geometry.fitting.curve import Curve, aim, index_at, on_lap, point_at, spot_at
from foamwright.geometry.fitting.plane import times, wrapped
from foamwright.geometry.fitting.reach import CHECKS, TARGETS, WIDEST_SWEEP
from foamwright.geometry.segments import Points


class Limits(NamedTuple):
    """What a chain must keep: mm off the curve, radians at joints, first and last, mm of an arc."""

    tolerance: float
    kink: float
    first_kink: float
    last_kink: float
    first: complex
    last: complex
    shortest: float


class State(NamedTuple):
    """The unknowns: of each joint its place and how far to the left of it, mm; the sweeps."""

    u: Floats
    across: Floats
    sweeps: Floats


class Around(NamedTuple):
    """What follows from the unknowns: joints, directions and mm for each u; targets; shares."""

    joints: Points
    ways: Points
    rates: Floats
    aims: Points
    off: Floats
    kinks: Floats
    worst: float


@within
def measured(curve: Curve, state: State, limits: Limits, besides: Floats) -> Around:
    n = len(state.sweeps)
    joints, ways = np.empty(n + 1, np.complex128), np.empty(n + 1, np.complex128)
    rates, kinks = np.empty(n + 1), np.empty(n + 1)
    aims, off = np.empty((n, TARGETS), np.complex128), np.empty((n, TARGETS))
    for i in range(n + 1):
        p, ways[i], rates[i] = spot_at(curve, state.u[i])
        joints[i] = p + times(1j * ways[i], state.across[i])
    if limits.first_kink == 0.0:
        joints[n], ways[n], rates[n] = joints[0], ways[0], rates[0]
    worst = 0.0
    came = cmath.phase(limits.first)
    for i in range(n):
        chord = joints[i + 1] - joints[i]
        half, middle = chord / 2, (joints[i + 1] + joints[i]) / 2
        bulge = math.tan(state.sweeps[i] / 4)
        step = (state.u[i + 1] - state.u[i]) / TARGETS
        aim(curve, state.u[i], state.u[i + 1], TARGETS, aims[i])
        for one in besides:
            lap = math.ceil((state.u[i] - one) / curve.u[-1]) if curve.loop else 0
            u = one + curve.u[-1] * lap
            if state.u[i] < u < state.u[i + 1]:
                aims[i, min(int((u - state.u[i]) / step), TARGETS - 1)] = point_at(curve, u)
        for k in range(TARGETS):
            off[i, k] = off_circle(aims[i, k], middle, half, bulge) / limits.tolerance
            worst = max(worst, abs(off[i, k]))
        heading = cmath.phase(chord)
        kinks[i] = wrapped(heading - state.sweeps[i] / 2 - came)
        came = heading + state.sweeps[i] / 2
        worst = max(worst, abs(state.sweeps[i]) / WIDEST_SWEEP)
        worst = max(worst, limits.shortest / arc_length(chord, state.sweeps[i]))
        worst = max(worst, abs(state.across[i]) / limits.tolerance)
    if limits.first_kink == 0.0:
        kinks[0] = wrapped(kinks[0] + cmath.phase(limits.first) - came)
        kinks[n] = 0.0
    else:
        kinks[n] = wrapped(cmath.phase(limits.last) - came)
    for i in range(n + 1):
        kinks[i] /= kink_limit(limits, i, n)
        worst = max(worst, abs(kinks[i]))
    return Around(joints, ways, rates, aims, off, kinks, worst)


@within
def kink_limit(limits: Limits, i: int, n: int) -> float:
    """A loop has no ends: its first kink's limit is told as 0."""
    if limits.first_kink == 0.0 or 0 < i < n:
        return limits.kink
    return limits.first_kink if i == 0 else limits.last_kink


@within
def excess(share: float, inside: float) -> float:
    if share > inside:
        return share - inside
    return share + inside if share < -inside else 0.0


@within
def cost_of(state: State, now: Around, limits: Limits, inside: float) -> float:
    n = len(state.sweeps)
    cost = 0.0
    for i in range(n):
        for k in range(TARGETS):
            cost += excess(now.off[i, k], inside) ** 2
        chord = now.joints[i + 1] - now.joints[i]
        cost += excess(state.sweeps[i] / WIDEST_SWEEP, inside) ** 2
        cost += excess(limits.shortest / arc_length(chord, state.sweeps[i]), inside) ** 2
        cost += excess(state.across[i] / limits.tolerance, inside) ** 2
    for i in range(n + 1):
        cost += excess(now.kinks[i], inside) ** 2
    return cost


@within
def begun_at(curve: Curve, joints: Floats) -> State:
    """Joints on the curve, each arc as good as it can be without regard to its neighbours."""
    n = len(joints) - 1
    sweeps, aims = np.empty(n), np.empty(TARGETS, np.complex128)
    for i in range(n):
        aim(curve, joints[i], joints[i + 1], TARGETS, aims)
        a, b = point_at(curve, joints[i]), point_at(curve, joints[i + 1])
        sweeps[i] = balanced_arc(aims, TARGETS, a, b)[0] if a != b else 0.0
    return State(joints.copy(), np.zeros(n + 1), sweeps)


@within
def with_one_more(curve: Curve, state: State, now: Around, inside: float) -> State:
    """The arc that is worst off, by its own limits and the kinks at its ends, cut in two."""
    n = len(state.sweeps)
    most, at, widest = -1.0, 0, 0
    for i in range(n):
        bad = excess(now.kinks[i], inside) ** 2 + excess(now.kinks[i + 1], inside) ** 2
        for k in range(TARGETS):
            bad += excess(now.off[i, k], inside) ** 2
        gap = state.u[i + 1] - state.u[i]
        if bad > most and gap > 1e-9 * curve.u[-1]:
            most, at = bad, i
        if gap > state.u[widest + 1] - state.u[widest]:
            widest = i
    if most < 0:
        at = widest
    u, across, sweeps = np.empty(n + 2), np.zeros(n + 2), np.empty(n + 1)
    for i in range(n + 1):
        k = i if i <= at else i + 1
        u[k], across[k] = state.u[i], state.across[i]
        if i < n:
            sweeps[i if i <= at else i + 1] = state.sweeps[i]
    u[at + 1] = (state.u[at] + state.u[at + 1]) / 2
    sweeps[at] /= 2
    sweeps[at + 1] = sweeps[at]
    return State(u, across, sweeps)


@within
def deviation_of(curve: Curve, joints: Points, sweeps: Floats, u: Floats) -> tuple[Floats, Floats]:
    """For each arc, how far the farthest of its curve lies from it, and the place of that.

    Measured at CHECKS places of each arc and at the samples.  Each arc's stretch of the curve
    starts and ends over the arc's own ends, so that the arc is no farther from the curve than the
    curve is from the arc (both are without gaps).
    """
    n, span = len(sweeps), curve.u[-1]
    aims, worst, at = np.empty(CHECKS, np.complex128), np.zeros(n), u[:-1].copy()
    for i in range(n):
        a, b = joints[i], joints[i + 1]
        spin, bulge = cmath.rect(1.0, sweeps[i] / 2), math.tan(sweeps[i] / 4)
        aim(curve, u[i], u[i + 1], CHECKS, aims)
        for k in range(CHECKS):
            off = distance_to_turned(aims[k], a, b, spin, bulge)
            if off > worst[i]:
                worst[i], at[i] = off, u[i] + (k + 0.5) / CHECKS * (u[i + 1] - u[i])
        lap = span * math.floor(u[i] / span) if curve.loop else 0.0
        k = index_at(curve, on_lap(curve, u[i]))
        while curve.u[k] + lap <= u[i + 1]:
            if curve.u[k] + lap >= u[i]:
                off = distance_to_turned(curve.points[k], a, b, spin, bulge)
                if off > worst[i]:
                    worst[i], at[i] = off, curve.u[k] + lap
            k += 1
            if k == len(curve.u):
                if not curve.loop:
                    break
                k, lap = 0, lap + span
    return worst, at
