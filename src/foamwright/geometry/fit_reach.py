"""How far one arc through two points of a curve reaches within a tolerance, from all over it.

From that: how many arcs a run needs at least, and where an even share of the error puts the joints.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from foamwright.geometry.fit_chain import WIDEST_SWEEP, Floats, off_circle
from foamwright.geometry.fit_curve import Curve
from foamwright.geometry.segments import Points

Flags = npt.NDArray[np.bool_]

#: Where an arc is measured, as fractions of its stretch of the curve.
FRACTIONS: Floats = (np.arange(18) + 0.5) / 18
#: Starting points that the reach is worked out from: so many, and so many a cubic.
STARTS, STARTS_PER_CUBIC = 24, 3
#: Steps of the search for each reach, and the most where one is still at nought.
SEARCH_STEPS, MOST_STEPS = 6, 16
#: The search aims at this share of the tolerance, so that it ends on the right side of it.
AIM = 0.995
#: A last arc shorter than this share of what it could be counts for nothing.
SMALL_REST = 0.1
#: Every arc gets at least this share of the run's parameter.
LEAST_STEP = 1e-4


def best_sweeps(points: Points, a: Points, b: Points) -> tuple[Floats, Floats]:
    """For each row of points, the sweep of the best arc from a to b, and its error.

    points (m, k); a, b (m,).  The error is balanced by Newton steps on the arc's height.
    """
    half = (b - a) / 2
    reach = np.abs(half)
    z = (points - ((a + b) / 2)[:, None]) / half[:, None]
    near = np.abs(z.real).argmin(axis=1)
    rows = np.arange(len(z))
    middle = z[rows, near]
    # the inscribed angle at the middle point
    sweeps = 2 * np.angle((1 - middle) * (1 + middle).conj())
    for _ in range(3):
        off = off_circle(points, a[:, None], b[:, None], sweeps[:, None])
        high, low = off.argmax(axis=1), off.argmin(axis=1)
        lift = np.maximum(0.05, 1 - z.real[rows, high] ** 2) + np.maximum(
            0.05, 1 - z.real[rows, low] ** 2
        )
        rise = (off[rows, high] + off[rows, low]) / lift
        sweeps = sweeps - 4 * rise / reach * np.cos(sweeps / 4) ** 2
    off = off_circle(points, a[:, None], b[:, None], sweeps[:, None])
    return sweeps, np.abs(off).max(axis=1)


@dataclass(frozen=True, slots=True)
class Reach:
    """From each of `starts` the farthest `ends` of an arc within the tolerance (both rising).

    On a loop the table covers two rounds.
    """

    starts: Floats
    ends: Floats
    span: float

    def forward(self, first: float = 0.0) -> list[float]:
        """Joints of the longest arcs from `first` over the whole run, both ends included."""
        at, last = [first], first + self.span
        while at[-1] < last - 1e-9 * self.span:
            ahead = float(np.interp(at[-1], self.starts, self.ends))
            at.append(max(ahead, at[-1] + LEAST_STEP * self.span))
        at[-1] = last
        return at

    def backward(self, first: float = 0.0) -> list[float]:
        """Joints of the longest arcs that end where the run does, last joint first."""
        loop = self.starts[-1] > self.span
        ends, starts = (self.ends, self.starts) if loop else (self.ends[:-1], self.starts[:-1])
        at = [first + self.span]
        while at[-1] > first + 1e-9 * self.span:
            behind = float(np.interp(at[-1], ends, starts, left=first))
            at.append(min(behind, at[-1] - LEAST_STEP * self.span))
        at[-1] = first
        return at


def reach_of(curve: Curve, tolerance: float) -> Reach:
    """The farthest ends of arcs from even steps of u, by a bracketed search for all at once."""
    count = STARTS + STARTS_PER_CUBIC * len(curve.coefficients)
    starts = np.linspace(0.0, curve.span, count + 1)[:-1]
    limit = starts + curve.span if curve.loop else np.full(count, curve.span)
    low, high = starts.copy(), limit
    tried = starts + (limit - starts) / 4
    for k in range(MOST_STEPS):
        if k >= SEARCH_STEPS and (low > starts).all():
            break
        ok, growth = _holds(curve, starts, tried, tolerance)
        low = np.where(ok, np.maximum(low, tried), low)
        high = np.where(ok, high, np.minimum(high, tried))
        guess = starts + (tried - starts) * growth
        inside = (guess > low) & (guess < high)
        tried = np.where(inside, guess, np.where(ok & (guess >= high), high, (low + high) / 2))
    ends = np.maximum.accumulate(low)
    if curve.loop:
        ends = np.maximum.accumulate(np.append(ends, ends + curve.span))
        return Reach(np.append(starts, starts + curve.span), ends, curve.span)
    ends[0] = max(ends[0], LEAST_STEP * curve.span)
    # the last short reach marks where the end of the run comes into sight
    keep = np.append(True, ends[:-1] < curve.span)
    return Reach(np.append(starts[keep], curve.span), np.append(ends[keep], curve.span), curve.span)


def _holds(curve: Curve, starts: Floats, ends: Floats, tolerance: float) -> tuple[Flags, Floats]:
    """Whether arcs from starts to ends are within tolerance, and the step ratio to try next."""
    u = starts[:, None] + (ends - starts)[:, None] * FRACTIONS
    points = curve.at(u)
    a, b = curve.at(starts), curve.at(ends)
    apart = np.abs(b - a) > 0
    b = np.where(apart, b, a + 1e-9)
    sweeps, errors = best_sweeps(points, a, b)
    wide = np.abs(sweeps) > WIDEST_SWEEP
    ok: Flags = (errors <= tolerance) & ~wide & apart
    growth = np.clip(np.cbrt(AIM * tolerance / np.maximum(errors, 1e-12)), 0.3, 2.5)
    return ok, np.where(wide, np.minimum(growth, 0.8), growth)


def least_count(reach: Reach) -> int:
    """How many of the longest arcs cover the run; on a loop from the best of a few beginnings.

    The reach is read between its starting points, so a small rest counts for nothing.
    """
    loop = reach.starts[-1] > reach.span
    first = reach.forward()[1]
    walks = [reach.forward(first * k / 4) for k in range(4 if loop else 1)]
    return min(_arcs(reach, walk) for walk in walks)


def _arcs(reach: Reach, walk: list[float]) -> int:
    if len(walk) < 3:
        return 1
    full = float(np.interp(walk[-2], reach.starts, reach.ends)) - walk[-2]
    before = walk[-2] - walk[-3]
    rest = (walk[-1] - walk[-2]) / max(full if reach.starts[-1] > reach.span else before, 1e-12)
    return len(walk) - 1 - (rest < SMALL_REST)


def even_joints(reach: Reach, count: int, shift: float = 0.0) -> Floats:
    """u of count + 1 joints that share the error evenly, as far as the reach tells.

    Joint i lies between the farthest that i arcs reach and the nearest that leaves the rest enough.
    Another shift (-0.5..0.5) gives another good guess: on a loop it turns the joints by that share
    of an arc, elsewhere it moves them forward within their room.
    """
    loop = reach.starts[-1] > reach.span
    first = shift * reach.forward()[1] if loop and shift > 0 else 0.0
    lean = 0.0 if loop else shift
    ahead, behind = reach.forward(first), reach.backward(first)
    made = np.empty(count + 1)
    for i in range(count + 1):
        far = ahead[min(i, len(ahead) - 1)]
        near = behind[min(count - i, len(behind) - 1)]
        made[i] = far + (near - far) * min(1.0, max(0.0, i / count - lean))
    made = np.maximum.accumulate(made)
    made[0], made[-1] = first, first + reach.span
    if not (np.diff(made) > 1e-9 * reach.span).all():
        made = first + np.linspace(0.0, reach.span, count + 1)
    return made
