"""Cusps of cubics: where one turns back or as good as does, and the cutting there."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence

import numpy as np

from foamwright.geometry.segments import Cubic, Points

#: Directions that differ by more than this across a stretch as long as the tolerance: a cusp.
CUSP_TURN = math.radians(45.0)
#: A speed below this share of the control polygon is none: the cubic stands still and turns back.
STANDSTILL = 1e-7
#: A place this near to an end, as a share of the tolerance, is the end.
AT_END = 0.01


def controls_of(cubics: Sequence[Cubic]) -> Points:
    """Control points: (k, 4)."""
    return np.array([(c.start, c.control1, c.control2, c.end) for c in cubics])


def _velocities(controls: Points) -> Points:
    """Of cubics (k, 4), their speeds' powers of t, lowest first: (k, 3)."""
    p0, p1, p2, p3 = controls.T
    return np.column_stack((3 * (p1 - p0), 6 * (p0 - 2 * p1 + p2), 3 * (p3 - p0 + 3 * (p1 - p2))))


def cut_at_cusps(cubic: Cubic, tolerance: float) -> list[Cubic]:
    """The cubic in pieces that begin and end where it turns back or as good as does.

    A place counts where directions differ by CUSP_TURN across a stretch no longer than tolerance,
    and that is not as good as an end.
    """
    parts, done, rest = [], 0.0, cubic
    for t in _slow_places(cubic):
        at = cubic.point(t)
        if min(abs(at - cubic.start), abs(at - cubic.end)) <= AT_END * tolerance:
            continue
        if not _is_cusp(cubic, t, tolerance):
            continue
        head, rest = rest.split((t - done) / (1 - done))
        parts.append(head)
        done = t
    return [*parts, rest]


def _slow_places(cubic: Cubic) -> list[float]:
    """Parameters within (0, 1) where the speed is least: roots of B' . B''."""
    v = _velocities(controls_of([cubic]))[0]
    w = np.array([v[1], 2 * v[2]])
    if abs(v[1]) + abs(v[2]) <= 1e-9 * abs(v[0]):
        return []
    product = np.convolve(v.real, w.real) + np.convolve(v.imag, w.imag)
    size = float(np.abs(product).max())
    while len(product) > 1 and abs(product[-1]) <= 1e-14 * size:
        product = product[:-1]
    roots = np.roots(product[::-1])
    real = roots.real[np.abs(roots.imag) < 1e-6]
    return sorted(float(t) for t in real if 1e-6 < t < 1 - 1e-6)


def _is_cusp(cubic: Cubic, t: float, tolerance: float) -> bool:
    """Whether directions half a tolerance before and after t differ by more than CUSP_TURN."""
    polygon = abs(cubic.control1 - cubic.start) + abs(cubic.control2 - cubic.control1)
    polygon += abs(cubic.end - cubic.control2)
    if abs(cubic.derivative(t)) <= STANDSTILL * polygon:
        return True
    before = cubic.tangent(t - _step_within(cubic, t, -1.0, tolerance / 2))
    after = cubic.tangent(t + _step_within(cubic, t, 1.0, tolerance / 2))
    return abs(cmath.phase(after / before)) > CUSP_TURN


def _step_within(cubic: Cubic, t: float, way: float, reach: float) -> float:
    """The step of the parameter that stays within reach of the point at t, to a third."""
    here, most = cubic.point(t), (1 - t if way > 0 else t)
    step = 1e-9
    while step < most and abs(cubic.point(t + way * step) - here) <= reach:
        step *= 1.5
    return min(step / 1.5, most)
