"""One circle for a whole run."""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import cmath
import math

import numpy as np

from foamwright.geometry.chains import Floats
from foamwright.geometry.compiled import within
from foamwright.geometry.fitting.arc import balanced_arc, distance_to_arc
from foamwright.geometry.fitting.curve import Curve, Ends, fine_points, turning_of
from foamwright.geometry.fitting.plane import dot, magnitude, turn_between
from foamwright.geometry.fitting.reach import WIDEST_SWEEP
from foamwright.geometry.segments import Points


@within
def one_arc(curve: Curve, ends: Ends, tolerance: float) -> tuple[Points, Floats]:
    """The run as one arc, in parts of 120 degrees at most; none where that doesn't hold."""
    none = np.empty(0, np.complex128), np.empty(0)
    a, b = curve.points[0], curve.points[-1]
    if magnitude(b - a) <= 1e-9 * curve.u[-1] or magnitude(b - a) == 0:
        return none
    fine = fine_points(curve)
    sweep, error = balanced_arc(fine, len(fine), a, b)
    if not error <= tolerance or abs(sweep) >= math.tau - 0.1:
        return none
    spin = cmath.rect(1.0, sweep / 2)
    if abs(turn_between(ends.first, (b - a) / spin)) > ends.first_kink:
        return none
    if (
        abs(turn_between((b - a) * spin, ends.last)) > ends.last_kink
        or abs(turning_of(curve) - sweep) > 1.0
    ):
        return none
    count = max(1, math.ceil(abs(sweep) / WIDEST_SWEEP - 1e-9))
    joints, sweeps = np.empty(count + 1, np.complex128), np.full(count, sweep / count)
    for i in range(count):
        part = sweep / count * i
        joints[i] = a
        if i > 0:
            # a chord from a: its length over the whole chord, turned by half the remaining sweep
            share = math.sin(part / 2) / math.sin(sweep / 2)
            joints[i] = a + (b - a) * share * cmath.rect(1.0, (part - sweep) / 2)
    joints[count] = b
    return (joints, sweeps) if beside(fine, joints, sweeps) <= tolerance else none


@within
def beside(points: Points, joints: Points, sweeps: Floats) -> float:
    worst = 0.0
    for p in points:
        near = math.inf
        for i in range(len(sweeps)):
            near = min(near, distance_to_arc(p, joints[i], joints[i + 1], sweeps[i]))
        worst = max(worst, near)
    return worst


@within
def full_circle(curve: Curve, tolerance: float) -> tuple[Points, Floats]:
    """A loop as three arcs of 120 degrees, by least squares (Kasa 1976); none: it is no circle."""
    none = np.empty(0, np.complex128), np.empty(0)
    fine = fine_points(curve)
    n = len(fine) - 1
    mean = fine[:n].sum() / n
    xx = xy = yy = xz = yz = 0.0
    for i in range(n):
        d = fine[i] - mean
        z = dot(d, d)
        xx, xy, yy = xx + d.real * d.real, xy + d.real * d.imag, yy + d.imag * d.imag
        xz, yz = xz + d.real * z, yz + d.imag * z
    area = xx * yy - xy * xy
    if not area > 1e-12 * (xx + yy) ** 2:
        return none
    centre = mean + complex(xz * yy - yz * xy, yz * xx - xz * xy) / (2 * area)
    most, least = 0.0, math.inf
    for i in range(n):
        off = magnitude(fine[i] - centre)
        most, least = max(most, off), min(least, off)
    turned = turning_of(curve)
    if not (most - least) / 2 <= tolerance or abs(abs(turned) - math.tau) > 0.1:
        return none
    sweep = math.copysign(math.tau / 3, turned)
    spoke = (fine[0] - centre) / magnitude(fine[0] - centre) * (most + least) / 2
    joints = np.empty(4, np.complex128)
    for i in range(3):
        joints[i] = centre + spoke * cmath.rect(1.0, sweep * i)
    joints[3] = joints[0]
    return joints, np.full(3, sweep)
