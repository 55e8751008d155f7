"""Biarcs along a curve: pairs of arcs that meet each other and the curve's tangents without a kink.

The sure way to fit: any smooth curve is met within any tolerance if the pairs are short enough.
It takes about half as many arcs again as are needed, see `fit_solve.py` for fewer.
"""

from __future__ import annotations

import numpy as np

from foamwright.geometry.fit_chain import WIDEST_SWEEP, Chain, Floats, Solution, distance_to_arc
from foamwright.geometry.fit_curve import Curve
from foamwright.geometry.segments import Points

#: Steps among which the place of the curve over a pair's middle joint is sought.
MIDDLE_STEPS = 129


def fit_biarcs(curve: Curve, tolerance: float) -> Solution:
    """Pairs of arcs from sample to sample, each as long as the tolerance lets it."""
    last = len(curve.u) - 1
    at, joints, sweeps, u = 0, [complex(curve.points[0])], list[float](), [0.0]
    guess = last
    while at < last:
        end, pair = _longest(curve, at, min(last, at + guess), tolerance)
        joints.extend(complex(p) for p in pair.joints[1:])
        sweeps.extend(pair.sweeps.tolist())
        if len(pair) == 2:
            u.append(_u_of_middle(curve, at, end, complex(pair.joints[1])))
        u.append(float(curve.u[end]))
        at, guess = end, 2 * (end - at)
    return Solution(Chain(np.array(joints), np.array(sweeps)), np.array(u))


def _u_of_middle(curve: Curve, at: int, end: int, middle: complex) -> float:
    """The nearest place of the curve between two samples, by even steps and finer ones."""
    low, high = float(curve.u[at]), float(curve.u[end])
    for _ in range(2):
        u = np.linspace(low, high, MIDDLE_STEPS)
        k = int(np.abs(curve.at(u) - middle).argmin())
        low, high = float(u[max(k - 1, 0)]), float(u[min(k + 1, MIDDLE_STEPS - 1)])
    return float(u[k])


def _longest(curve: Curve, at: int, end: int, tolerance: float) -> tuple[int, Chain]:
    last = len(curve.u) - 1
    good, bad = at, last + 1
    best: Chain | None = None
    while good + 1 < bad:
        pair = _biarc(curve, at, end)
        if _holds(pair, curve.points[at : end + 1], tolerance):
            good, best = end, pair
            end = min(last, at + 2 * (end - at)) if bad > last else (good + bad) // 2
        else:
            bad = end
            end = (good + bad + 1) // 2 if good > at else at + max(1, (end - at) // 2)
        if bad == at + 1:
            break
    if best is None:
        chord = np.array([curve.points[at], curve.points[at + 1]])
        return at + 1, Chain(chord, np.zeros(1))
    return good, best


def _biarc(curve: Curve, at: int, end: int) -> Chain:
    a, b = complex(curve.points[at]), complex(curve.points[end])
    ta, tb = complex(curve.tangents[at]), complex(curve.tangents[end])
    v = b - a
    forward = (v * (ta + tb).conjugate()).real
    apart = 1 - (ta * tb.conjugate()).real
    # the positive root of 2 apart d^2 + 2 forward d - |v|^2 = 0, free of cancellation
    root = (forward * forward + 2 * apart * abs(v) ** 2) ** 0.5
    below = forward + root
    if below <= 0:
        return Chain(np.array([a, b]), np.zeros(1))
    d = abs(v) ** 2 / below
    middle = (a + b + d * (ta - tb)) / 2
    joints = np.array([a, middle, b])
    if middle in (a, b):
        return Chain(np.array([a, b]), np.zeros(1))
    first = 2 * np.angle((middle - a) / ta)
    second = 2 * np.angle(tb / (b - middle))
    return Chain(joints, np.array([first, second]))


def _holds(pair: Chain, points: Points, tolerance: float) -> bool:
    if len(pair) != 2 or np.abs(pair.sweeps).max() > WIDEST_SWEEP:
        return False
    a, middle, b = pair.joints
    across = (middle - a) * np.exp(0.5j * pair.sweeps[0])
    first = ((points - middle) * across.conj()).real <= 0
    near = np.where(
        first,
        distance_to_arc(points, a, middle, pair.sweeps[0]),
        distance_to_arc(points, middle, b, pair.sweeps[1]),
    )
    worst: Floats = near.max()
    return bool(worst <= tolerance)
