"""The chain's equations: their answer by another solver, their slopes by finite differences."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from tests.geometry.fitting.made import TOLERANCE, curve_of, ellipse, segments_of, wave

from foamwright.geometry.chains import Floats
from foamwright.geometry.fitting.chain import Around, Limits, State, begun_at, cost_of, measured
from foamwright.geometry.fitting.curve import Curve
from foamwright.geometry.fitting.equations import (
    LEAST_DAMPING,
    equations,
    fill_slots,
    moved,
    natural_sizes,
    solved,
)
from foamwright.geometry.fitting.reach import WIDEST_SWEEP
from foamwright.geometry.segments import Points

NOTHING = np.empty(0)


def banded(n: int, loop: bool) -> tuple[Floats, Floats]:
    """Equations of n arcs as they come: each joint's row touches the arcs on both its sides."""
    rnd = np.random.default_rng(n)
    free = 3 * n if loop else 3 * n - 2
    matrix, slots = np.eye(free) * 0.1, np.full(10, -1)
    for i in range(n if loop else n + 1):
        slots[:] = -1
        if i < n:
            fill_slots(i, n, loop, slots)
        if i > 0 or loop:
            fill_slots((i - 1) % n, n, loop, slots[5:])
        row = np.zeros(free)
        for s in slots[slots >= 0]:
            row[s] += rnd.normal()
        matrix += np.outer(row, row)
    return matrix, rnd.normal(size=free)


@pytest.mark.parametrize(("n", "loop"), [(1, False), (2, False), (9, False), (3, True), (12, True)])
def test_the_answer_is_that_of_a_full_solver(n: int, loop: bool) -> None:
    matrix, right = banded(n, loop)
    made = solved(np.tril(matrix), right.copy(), loop)
    assert made == pytest.approx(np.linalg.solve(matrix, right), rel=1e-8, abs=1e-10)


def chain(loop: bool) -> tuple[Curve, State, Limits]:
    """A chain that is off in every way: joints beside the curve, kinks, sweeps too large."""
    rnd = np.random.default_rng(5)
    curve = curve_of(ellipse(20, 8) if loop else wave(), loop)
    n = 14
    places = np.linspace(0, curve.u[-1], n + 1) + (0.2 if loop else 0.0)
    state = begun_at(curve, places)
    across = rnd.uniform(-1, 1, n + 1) * TOLERANCE
    if loop:
        across[-1] = across[0]
    else:
        across[0] = across[-1] = 0.0
    sweeps = state.sweeps + rnd.uniform(-0.002, 0.002, n)
    held = (0.0, 0.0) if loop else (0.02, 0.05)
    limits = Limits(TOLERANCE, 0.01, *held, cmath.rect(1, 0.1), cmath.rect(1, 0.9), 0.05)
    return curve, State(places, across, sweeps), limits


def shares(joints: Points, sweeps: Floats, across: Floats, aims: Points, limits: Limits) -> Floats:
    """Every quantity over its limit, from arcs with centres: none of the fit's formulas."""
    arcs = segments_of(joints, list(sweeps))
    found = []
    for arc, aimed, sweep in zip(arcs, aims, sweeps, strict=True):
        outward = -math.copysign(1, sweep)
        off = (np.abs(aimed - arc.centre) - arc.radius) * outward / limits.tolerance
        found.extend([*off, sweep / WIDEST_SWEEP, limits.shortest / arc.length()])
    loop = limits.first_kink == 0.0
    came = arcs[-1].tangent(1.0) if loop else limits.first
    for i, arc in enumerate(arcs):
        limit = limits.kink if loop or i > 0 else limits.first_kink
        found.append(cmath.phase(arc.tangent(0.0) / came) / limit)
        came = arc.tangent(1.0)
    if not loop:
        found.append(cmath.phase(limits.last / came) / limits.last_kink)
    return np.array([*found, *(across[:-1] / limits.tolerance)])


def stepped(state: State, now: Around, limits: Limits, step: Floats, loop: bool) -> Floats:
    """The shares after a step of the unknowns, the targets staying where they are."""
    n = len(state.sweeps)
    along, scale = natural_sizes(state, now, limits)
    joints, across, sweeps = now.joints.copy(), state.across.copy(), state.sweeps.copy()
    slots = np.empty(5, np.int64)
    for i in range(n):
        fill_slots(i, n, loop, slots)
        sweeps[i] += step[slots[2]] * scale[i]
        if slots[0] >= 0:
            a, b = step[slots[0]] * along[i], step[slots[1]] * limits.tolerance
            joints[i] += now.ways[i] * complex(a, b)
            across[i] += b
    if loop:
        joints[n] = joints[0]
    return shares(joints, sweeps, across, now.aims, limits)


@pytest.mark.parametrize("loop", [False, True])
def test_the_shares_are_those_of_the_arcs(loop: bool) -> None:
    curve, state, limits = chain(loop)
    now = measured(curve, state, limits, NOTHING)
    found = shares(now.joints, state.sweeps, state.across, now.aims, limits)
    assert now.worst == pytest.approx(np.abs(found).max(), rel=1e-6)
    assert cost_of(state, now, limits, 0.0) == pytest.approx(float(found @ found), rel=1e-6)


@pytest.mark.parametrize("loop", [False, True])
def test_the_slopes_are_those_of_finite_differences(loop: bool) -> None:
    curve, state, limits = chain(loop)
    now = measured(curve, state, limits, NOTHING)
    free = 3 * len(state.sweeps) - (0 if loop else 2)
    # with nothing inside the limits every share is an excess
    normal, metric, pull = equations(state, now, limits, 0.0, loop)
    h = 1e-5
    slopes = np.array(
        [
            stepped(state, now, limits, h * unit, loop)
            - stepped(state, now, limits, -h * unit, loop)
            for unit in np.eye(free)
        ]
    ).T / (2 * h)
    at = stepped(state, now, limits, np.zeros(free), loop)
    wanted = np.tril(slopes.T @ slopes)
    assert normal == pytest.approx(wanted, abs=2e-3 * np.abs(wanted).max())
    assert pull == pytest.approx(slopes.T @ at, abs=1e-2 * np.abs(slopes.T @ at).max())
    # the metric takes all limits but how far joints lie beside the curve
    assert (np.diag(metric) >= 1.0 + LEAST_DAMPING * np.diag(normal) - 1e-9).all()


@pytest.mark.parametrize("loop", [False, True])
def test_a_step_moves_joints_along_and_across_but_never_past_a_neighbour(loop: bool) -> None:
    curve, state, limits = chain(loop)
    now = measured(curve, state, limits, NOTHING)
    free = 3 * len(state.sweeps) - (0 if loop else 2)
    far = moved(curve, state, now, limits, np.full(free, 1e6), loop)
    assert (np.diff(far.u) > 0).all()
    if loop:
        assert far.u[-1] - far.u[0] == pytest.approx(curve.u[-1])
        assert far.across[-1] == far.across[0]
    else:
        assert (far.u[0], far.u[-1]) == (state.u[0], state.u[-1])
        assert far.across[0] == far.across[-1] == 0
    near = measured(
        curve, moved(curve, state, now, limits, np.full(free, 0.01), loop), limits, NOTHING
    )
    along, _ = natural_sizes(state, now, limits)
    step = (near.joints - now.joints) / now.ways
    assert step.real[1:-1] == pytest.approx(0.01 * along[1:-1], rel=0.2)
    assert step.imag[1:-1] == pytest.approx(0.01 * TOLERANCE, abs=0.01 * TOLERANCE)
