"""The search for a chain that keeps its limits: damped least squares."""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from foamwright.geometry.chains import Floats
from foamwright.geometry.compiled import within
from foamwright.geometry.fitting.chain import (
    Limits,
    State,
    begun_at,
    cost_of,
    deviation_of,
    measured,
    with_one_more,
)
from foamwright.geometry.fitting.curve import Curve
from foamwright.geometry.fitting.equations import equations, moved, solved
from foamwright.geometry.segments import Points

#: A chain found this near to its limits will do if it holds: they are drawn a little closer.
NEARLY = 1.02
#: How often a chain is sought anew that doesn't hold between its targets.
REPEATS = 6
#: The share of the tolerance that the fit plans with, and what a found chain may take up.
PLANNED, SURE = 0.98, 0.992
#: The excess counts from this share of a limit at first, and from this at last.
INSIDE, INSIDE_LAST = 0.85, 0.985
#: Damping at the start, and what divides it after a good step and multiplies it after a bad one.
DAMPING, EASE, TIGHTEN = 0.1, 3.0, 6.0


class Patience(NamedTuple):
    """How long a search goes on.

    At most `rounds`; one that lowers the cost by less than `stall` of it has stalled, and a search
    that is by then over a limit by more than `hopeless` times is given up.
    """

    rounds: int
    stall: float
    hopeless: float


@within
def sought(
    curve: Curve, joints: Floats, limits: Limits, most: int, patience: Patience, besides: Floats
) -> tuple[Points, State, float]:
    """The chain that the search from these joints leads to, and its worst share.

    besides: places that are targets whatever arc they fall to.

    What passes a limit is pushed back: damped least squares (Levenberg 1944, Marquardt 1963) on the
    excess over all limits at once, until there is none.  Where the search gets stuck, the arc that
    is worst off is cut in two, up to `most` arcs in all.
    """
    loop = limits.first_kink == 0.0
    state = begun_at(curve, joints)
    now = measured(curve, state, limits, besides)
    inside, damping, stalls, rounds = INSIDE, DAMPING, 0, 0
    cost = cost_of(state, now, limits, inside)
    while now.worst > 1.0:
        before = cost
        normal, metric, pull = equations(state, now, limits, inside, loop)
        for _ in range(4):
            step = solved(normal + damping * metric, -pull, loop)
            trial = moved(curve, state, now, limits, step, loop)
            tried = measured(curve, trial, limits, besides)
            new = cost_of(trial, tried, limits, inside)
            if new < cost:
                state, now, cost = trial, tried, new
                damping = max(damping / EASE, 1e-9)
                break
            damping *= TIGHTEN
        rounds += 1
        if cost < (1 - patience.stall) * before and rounds < patience.rounds:
            continue
        stalls += 1
        hopeless = now.worst > patience.hopeless and stalls > 1
        if not hopeless and inside < INSIDE_LAST and rounds < patience.rounds:
            inside = min(INSIDE_LAST, (1 + inside) / 2)
            cost = cost_of(state, now, limits, inside)
            continue
        if len(state.sweeps) >= most or not math.isfinite(cost):
            break
        state = with_one_more(curve, state, now, inside)
        now = measured(curve, state, limits, besides)
        cost = cost_of(state, now, limits, inside)
        damping, stalls, rounds = DAMPING, 0, 0
    return now.joints, state, now.worst


@within
def tried_from(
    curve: Curve, joints: Floats, limits: Limits, most: int, patience: Patience, tolerance: float
) -> tuple[bool, Points, State]:
    """A chain that holds between its targets too; where it doesn't, those places become targets."""
    besides = np.empty(0)
    for _ in range(REPEATS):
        made, state, worst = sought(curve, joints, limits, most, patience, besides)
        if not worst <= NEARLY:
            return False, made, state
        deviations, at = deviation_of(curve, made, state.sweeps, state.u)
        if deviations.max() <= SURE * tolerance:
            return True, made, state
        joints, besides = state.u, np.append(besides, at[deviations > SURE * tolerance])
    return False, made, state
