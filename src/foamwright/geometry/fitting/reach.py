"""How far one arc reaches along a curve, and where an even share of the error puts joints.

From that: how many arcs a run needs at least.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import math

import numpy as np

from foamwright.geometry.chains import Floats
from foamwright.geometry.compiled import within
from foamwright.geometry.fitting.arc import balanced_arc
from foamwright.geometry.fitting.curve import Curve, aim, point_at

#: A fitted arc turns by at most this: the writer's rule.
WIDEST_SWEEP = math.radians(120.0)
#: Targets of an arc, and points where a found chain is measured besides the curve's samples.
TARGETS, CHECKS = 12, 40
#: Steps of the search for the longest arc from a place, and how near to the tolerance it ends.
SEARCH_STEPS, NEAR = 12, 0.985
#: Every arc gets at least this share of the run's places.
LEAST_STEP = 1e-4
#: Places where a walk round a loop may begin, within one arc.
ROUNDS = 4
#: A last arc shorter than this share of what it could be counts for nothing.
SMALL_REST = 0.1


@within
def farthest(curve: Curve, start: float, last: float, guess: float, tolerance: float) -> float:
    """The farthest place from `start` towards `last` of one arc within tolerance; last: in reach.

    `guess` is a step to begin with; towards is backward where last is before start.
    """
    aims = np.empty(TARGETS, np.complex128)
    side = 1.0 if last > start else -1.0
    most = abs(last - start)
    good, bad, step = 0.0, math.inf, min(guess, most)
    for k in range(SEARCH_STEPS * 2):
        to = last if step == most else start + side * step
        low, high = min(start, to), max(start, to)
        a, b = point_at(curve, low), point_at(curve, high)
        growth = 0.5
        if a != b:
            aim(curve, low, high, TARGETS, aims)
            sweep, error = balanced_arc(aims, TARGETS, a, b)
            wide = abs(sweep) > WIDEST_SWEEP
            growth = min(max((0.994 * tolerance / max(error, 1e-12)) ** (1 / 3), 0.3), 2.5)
            if wide:
                growth = min(growth, 0.8)
            elif error <= tolerance:
                good = step
                if step == most or (error >= NEAR * tolerance):
                    break
        if good != step:
            # where the error hardly grows with the step, a cube root's step is too small
            bad, growth = step, min(growth, 1 - 0.03 * k)
        if (k >= SEARCH_STEPS and good > 0) or bad - good <= 0.01 * good:
            break
        step = min(step * growth, most)
        if not good < step < bad:
            step = most if bad == math.inf else (good + bad) / 2
    return start + side * max(good, LEAST_STEP * curve.u[-1]) if good < most else last


@within
def walked(curve: Curve, start: float, last: float, loop: bool, tolerance: float) -> Floats:
    """Places of the longest arcs from `start` to `last`, both included; they may run backward.

    The last number is how much of what its arc could be the last arc is.
    """
    at = [start]
    side = 1.0 if last > start else -1.0
    guess = abs(last - start) / 4
    rest = 1.0
    while side * (last - at[-1]) > 1e-9 * abs(last - start):
        room = at[-1] + side * curve.u[-1] if loop else last
        to = farthest(curve, at[-1], room, guess, tolerance)
        guess = abs(to - at[-1])
        if side * (to - last) >= 0:
            full = guess if loop else (abs(at[-1] - at[-2]) if len(at) > 1 else guess)
            rest = abs(last - at[-1]) / max(full, 1e-12)
            to = last
        at.append(to)
    return np.array([*at, rest])


@within
def best_round(curve: Curve, walk: Floats, tolerance: float) -> Floats:
    """Of a few walks round a loop that begin along the first arc, that of the fewest arcs."""
    best = walk
    for k in range(1, ROUNDS):
        first = walk[0] + k / ROUNDS * (walk[1] - walk[0])
        other = walked(curve, first, first + curve.u[-1], True, tolerance)
        if len(other) - 3 + other[-1] < len(best) - 3 + best[-1]:
            best = other
    return best


@within
def least_count(walk: Floats) -> int:
    count = len(walk) - 2
    return max(1, count - (1 if count > 1 and walk[-1] < SMALL_REST else 0))


@within
def even_joints(ahead: Floats, behind: Floats, count: int, lean: float) -> Floats:
    """count + 1 joints that share the error evenly, as far as the longest arcs tell.

    Joint i lies between the farthest that i arcs reach and the nearest that leaves the rest enough.
    """
    first, last = ahead[0], behind[0]
    made = np.empty(count + 1)
    for i in range(count + 1):
        far = ahead[min(i, len(ahead) - 2)]
        near = behind[min(count - i, len(behind) - 2)]
        made[i] = far + (near - far) * min(1.0, max(0.0, i / count - lean))
        if i > 0:
            made[i] = max(made[i], made[i - 1])
    made[0], made[count] = first, last
    for i in range(count):
        if not made[i + 1] - made[i] > 1e-9 * (last - first):
            for k in range(count + 1):
                made[k] = first + (last - first) * k / count
            break
    return made
