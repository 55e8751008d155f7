"""Pairs of arcs that meet each other and the curve's directions without a kink.

The sure way to fit: any smooth curve is met within any tolerance if the pairs are short enough.
It takes about half as many arcs again as are needed.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import cmath
import math

import numpy as np

from foamwright.geometry.chains import Floats
from foamwright.geometry.compiled import within
from foamwright.geometry.fitting.arc import distance_to_arc
from foamwright.geometry.fitting.curve import Curve, aim, point_at, way_at
from foamwright.geometry.fitting.plane import dot, turn_between
from foamwright.geometry.fitting.reach import CHECKS, WIDEST_SWEEP
from foamwright.geometry.segments import Points


@within
def biarc(a: complex, way_a: complex, b: complex, way_b: complex) -> tuple[complex, float, float]:
    """Where two arcs meet that leave a and reach b in these directions, and their sweeps.

    inf sweeps where there are none.
    """
    v = b - a
    forward = dot(v, way_a + way_b)
    apart = 1 - dot(way_a, way_b)
    # the positive root of 2 apart d^2 + 2 forward d - |v|^2 = 0, free of cancellation
    below = forward + math.sqrt(forward * forward + 2 * apart * dot(v, v))
    if below <= 0:
        return a, math.inf, math.inf
    d = dot(v, v) / below
    middle = (a + b + d * (way_a - way_b)) / 2
    if middle in (a, b):
        return a, math.inf, math.inf
    return middle, 2 * turn_between(way_a, middle - a), 2 * turn_between(b - middle, way_b)


@within
def biarc_holds(
    curve: Curve,
    low: float,
    high: float,
    a: complex,
    b: complex,
    middle: complex,
    first: float,
    second: float,
    tolerance: float,
) -> bool:
    if max(abs(first), abs(second)) > WIDEST_SWEEP:
        return False
    aims = np.empty(CHECKS, np.complex128)
    aim(curve, low, high, CHECKS, aims)
    way = (middle - a) * cmath.rect(1.0, first / 2)
    for k in range(CHECKS):
        before = dot(aims[k] - middle, way) <= 0
        off = (
            distance_to_arc(aims[k], a, middle, first)
            if before
            else distance_to_arc(aims[k], middle, b, second)
        )
        if off > tolerance:
            return False
    return True


@within
def place_over(curve: Curve, low: float, high: float, middle: complex, way: complex) -> float:
    """The place between low and high where the curve passes `middle`, across `way`: by halving."""
    for _ in range(48):
        u = (low + high) / 2
        if dot(point_at(curve, u) - middle, way) <= 0:
            low = u
        else:
            high = u
    return (low + high) / 2


@within
def by_biarcs(
    curve: Curve, low: float, high: float, first: complex, last: complex, tolerance: float
) -> tuple[Points, Floats, Floats]:
    """Pairs of arcs, each pair as long as halving and doubling find it within the tolerance.

    The sure way: any smooth curve is met within any tolerance if the pairs are short enough.
    """
    start = point_at(curve, low)
    joints, sweeps, u = [start], [0.0], [low]
    at, way, step = low, first, high - low
    while high - at > 1e-12 * (high - low):
        if step < high - at < 2 * step:
            step = (high - at) / 2
        step = min(step, high - at)
        while True:
            to = high if step >= high - at else at + step
            b = point_at(curve, to)
            way_b = last if to == high else way_at(curve, to)[0]
            middle, one, two = biarc(joints[-1], way, b, way_b)
            small = step < 1e-7 * (high - low)
            if small or biarc_holds(curve, at, to, joints[-1], b, middle, one, two, tolerance):
                break
            step /= 2
        if small:
            sweeps.append(0.0)
        else:
            across = (middle - joints[-1]) * cmath.rect(1.0, one / 2)
            u.append(place_over(curve, at, to, middle, across))
            joints.append(middle)
            sweeps.append(one)
            sweeps.append(two)
        joints.append(b)
        u.append(to)
        at, way, step = to, way_b, 2 * step
    return np.array(joints), np.array(sweeps[1:]), np.array(u)
