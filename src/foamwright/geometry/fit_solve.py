"""A chain of a given number of arcs near a curve: within the tolerance and nearly without kinks.

Unknown are where each joint lies (along the curve and across it) and how far each arc turns.
What passes a limit is pushed back: damped least squares (Levenberg 1944, Marquardt 1963) on the
excess over all limits at once, until there is none.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from foamwright.geometry.fit_chain import WIDEST_SWEEP, Chain, Floats, Solution, off_circle
from foamwright.geometry.fit_curve import Curve
from foamwright.geometry.fit_reach import FRACTIONS, best_sweeps
from foamwright.geometry.segments import Points

#: Joints turn by at most this (the writer's limit is 1 degree).
KINK = math.radians(0.95)
#: No arc is shorter than this, mm, where the run isn't.
SHORTEST = 0.05
#: The excess counts from this share of a limit at first, and from this at last.
INSIDE, INSIDE_LAST = 0.85, 0.985
#: Damping at the start, and what divides it after a good step and multiplies it after a bad one.
DAMPING, EASE, TIGHTEN = 0.1, 3.0, 6.0
#: A little damping of each unknown by itself, so that the equations always have an answer.
LEAST_DAMPING = 1e-6


@dataclass(frozen=True, slots=True)
class Ends:
    """What a run's ends must agree with: directions of travel, and by how many radians.

    A closed run has no ends: its last joint is its first, and `loop` is true.
    """

    first: complex
    first_kink: float
    last: complex
    last_kink: float
    loop: bool = False


@dataclass(slots=True)
class _State:
    u: Floats
    across: Floats
    sweeps: Floats


class _Problem:
    """The limits of one run with a fixed count of arcs, and their slopes."""

    def __init__(self, curve: Curve, ends: Ends, arcs: int, tolerance: float) -> None:
        self.curve, self.ends = curve, ends
        self.tolerance = tolerance
        length = float(np.abs(np.diff(curve.points)).sum())
        self.shortest = min(SHORTEST, 0.3 * length / arcs)
        self.inside = INSIDE
        self.slots, self.free = _slots(arcs, ends.loop)

    def excess(self, shares: Floats) -> Floats:
        made: Floats = np.sign(shares) * np.maximum(np.abs(shares) - self.inside, 0.0)
        return made

    def joints(self, state: _State) -> tuple[Points, Points]:
        directions = self.curve.tangent(state.u)
        return self.curve.at(state.u) + 1j * state.across * directions, directions

    def targets(self, state: _State) -> Points:
        step = np.diff(state.u)
        return self.curve.at(state.u[:-1, None] + step[:, None] * FRACTIONS)

    def local(self, points: Points, a: Points, b: Points, w: Floats) -> Floats:
        """Per arc: deviations (k) and length, as shares of their limits; both end directions."""
        off = off_circle(points, a[..., None], b[..., None], w[..., None]) / self.tolerance
        chord = b - a
        heading = np.angle(chord)
        short = self.shortest / np.abs(chord)
        wide = np.abs(w) / WIDEST_SWEEP
        extra = np.stack([short, wide, heading - w / 2, heading + w / 2], axis=-1)
        made: Floats = np.concatenate([off, extra], axis=-1)
        return made

    def kinks(self, headings: Floats) -> Floats:
        """headings (n, 2): turns at all joints as shares of their limits, the ends included."""
        begin, end = headings[:, 0], headings[:, 1]
        inner = _wrapped(begin[1:] - end[:-1]) / KINK
        if self.ends.loop:
            return np.append(_wrapped(begin[:1] - end[-1:]) / KINK, inner)
        first = _wrapped(begin[:1] - cmath.phase(self.ends.first)) / self.ends.first_kink
        last = _wrapped(cmath.phase(self.ends.last) - end[-1:]) / self.ends.last_kink
        return np.concatenate([first, inner, last])


def _wrapped(angle: Floats) -> Floats:
    made: Floats = np.remainder(angle + math.pi, math.tau) - math.pi
    return made


@dataclass(frozen=True, slots=True)
class Patience:
    """How long a search goes on.

    At most `rounds`; one that lowers the cost by less than `stall` of it has stalled, and a search
    that is by then over a limit by more than `hopeless` times is given up.
    """

    rounds: int = 24
    stall: float = 0.07
    hopeless: float = 1.15


QUICK, LONG = Patience(), Patience(rounds=60, stall=0.02, hopeless=2.0)


def solve(
    curve: Curve,
    ends: Ends,
    joints_u: Floats,
    tolerance: float,
    *,
    most: int = 0,
    patience: Patience = QUICK,
) -> Solution | None:
    """The chain that starts the search at joints_u, or None where the limits can't be met so.

    Where the search gets stuck, the arc that is worst off is cut in two, up to `most` arcs in all.
    """
    problem, state = _begun(curve, ends, joints_u, tolerance)
    now = _measure(problem, state)
    damping, stalls, rounds = DAMPING, 0, 0
    while now.worst > 1.0:
        before = now.cost
        equations = _equations(problem, state, now)
        for _ in range(4):
            step = equations.step(damping)
            trial = _moved(problem, state, now, step)
            measured = _measure(problem, trial)
            if measured.cost < now.cost:
                state, now = trial, measured
                damping = max(damping / EASE, 1e-9)
                break
            damping *= TIGHTEN
        rounds += 1
        if now.cost < (1 - patience.stall) * before and rounds < patience.rounds:
            continue
        stalls += 1
        hopeless = now.worst > patience.hopeless and stalls > 1
        if not hopeless and problem.inside < INSIDE_LAST and rounds < patience.rounds:
            problem.inside = min(INSIDE_LAST, (1 + problem.inside) / 2)
            now = _measure(problem, state)
            continue
        if len(state.sweeps) >= most:
            return None
        problem, state = _with_one_more(problem, state, now)
        now = _measure(problem, state)
        damping, stalls, rounds = DAMPING, 0, 0
    return Solution(Chain(now.joints, state.sweeps), state.u)


def _begun(curve: Curve, ends: Ends, joints_u: Floats, tolerance: float) -> tuple[_Problem, _State]:
    """Joints on the curve, each arc as good as it can be without regard to its neighbours."""
    n = len(joints_u) - 1
    problem = _Problem(curve, ends, n, tolerance)
    state = _State(joints_u.copy(), np.zeros(n + 1), np.zeros(n))
    points, _ = problem.joints(state)
    state.sweeps = best_sweeps(problem.targets(state), points[:-1], points[1:])[0]
    return problem, state


def _with_one_more(problem: _Problem, state: _State, now: _Measured) -> tuple[_Problem, _State]:
    """The arc that is worst off, by its own limits and the kinks at its ends, cut in two."""
    over = problem.excess(now.local[:, :-2]) ** 2
    bent = problem.excess(now.kinks) ** 2
    after = np.roll(bent, -1) if problem.ends.loop else bent[1:]
    worst = int((over.sum(axis=1) + bent[: len(over)] + after).argmax())
    room = np.diff(state.u)
    worst = worst if room[worst] > 1e-9 * problem.curve.span else int(room.argmax())
    u = np.insert(state.u, worst + 1, (state.u[worst] + state.u[worst + 1]) / 2)
    halves = np.insert(state.sweeps, worst, state.sweeps[worst] / 2)
    halves[worst + 1] = halves[worst]
    arcs = len(halves)
    across = np.insert(state.across, worst + 1, 0.0)
    made = _Problem(problem.curve, problem.ends, arcs, problem.tolerance)
    return made, _State(u, across, halves)


@dataclass(slots=True)
class _Measured:
    joints: Points
    directions: Points
    targets: Points
    local: Floats
    kinks: Floats
    across: Floats
    cost: float
    worst: float


def _measure(problem: _Problem, state: _State) -> _Measured:
    joints, directions = problem.joints(state)
    if problem.ends.loop:
        joints[-1] = joints[0]
    targets = problem.targets(state)
    local = problem.local(targets, joints[:-1], joints[1:], state.sweeps)
    kinks = problem.kinks(local[:, -2:])
    across = state.across / problem.tolerance
    shares = (local[:, :-2], kinks, across)
    cost = sum(float((problem.excess(s) ** 2).sum()) for s in shares)
    worst = max(float(np.abs(s).max()) for s in shares)
    return _Measured(joints, directions, targets, local, kinks, across, cost, worst)


def _slots(n: int, loop: bool) -> tuple[npt.NDArray[np.intp], int]:
    """Where each arc's five unknowns stand: along and across at both ends, and its sweep.

    Unknowns that are held stand in the last slot, which is left out.
    """
    joints = np.arange(n + 1)
    if loop:
        joints[-1] = 0
        free = 2 * n + n
        along, across, sweeps = 2 * joints, 2 * joints + 1, 2 * n + np.arange(n)
    else:
        free = 2 * (n - 1) + n
        along, across = 2 * (joints - 1), 2 * (joints - 1) + 1
        along[[0, -1]] = across[[0, -1]] = free
        sweeps = 2 * (n - 1) + np.arange(n)
    return np.stack([along[:-1], across[:-1], along[1:], across[1:], sweeps], axis=1), free


def _scales(state: _State, now: _Measured, problem: _Problem) -> tuple[Floats, Floats, Floats]:
    """Natural sizes of the unknowns: along (n + 1, mm), across (n + 1, mm), sweeps (n, rad)."""
    chord = np.abs(np.diff(now.joints))
    near = np.minimum(np.append(chord[0], chord), np.append(chord, chord[-1]))
    return 0.1 * near, np.full(len(near), problem.tolerance), 8 * problem.tolerance / chord


def _slopes(problem: _Problem, state: _State, now: _Measured) -> Floats:
    """Change of each arc's local values for one natural size of its five unknowns: (n, k, 5)."""
    along, across, sweeps = _scales(state, now, problem)
    a, b, w = now.joints[:-1], now.joints[1:], state.sweeps
    da, db = now.directions[:-1], now.directions[1:]
    h = 1e-3
    trials_a = np.stack([a + h * along[:-1] * da, a + h * 1j * across[:-1] * da, a, a, a])
    trials_b = np.stack([b, b, b + h * along[1:] * db, b + h * 1j * across[1:] * db, b])
    trials_w = np.stack([w, w, w, w, w + h * sweeps])
    moved = problem.local(now.targets, trials_a, trials_b, trials_w)
    change = moved - now.local
    change[..., -2:] = _wrapped(change[..., -2:])
    made: Floats = np.moveaxis(change / h, 0, -1)
    return made


@dataclass(frozen=True, slots=True)
class _Equations:
    """Normal equations of the excess, and the metric that damps them: that of all limits.

    Damped so, a step that mends what is over its limit does not spoil what is still within.
    """

    normal: Floats
    metric: Floats
    pull: Floats

    def step(self, damping: float) -> Floats:
        eased = self.normal + damping * self.metric
        return np.asarray(-np.linalg.solve(eased, self.pull), dtype=np.float64)


def _equations(problem: _Problem, state: _State, now: _Measured) -> _Equations:
    slots, free = problem.slots, problem.free
    all_slopes = _slopes(problem, state, now)
    slopes, rows = all_slopes[:, :-2], _kink_rows(problem, all_slopes[:, -2:])
    over, bent = problem.excess(now.local[:, :-2]), problem.excess(now.kinks)
    normal, metric = np.zeros((2, free + 1, free + 1))
    pull = np.zeros(free + 1)
    square = slots[:, :, None], slots[:, None, :]
    active = slopes * (over != 0)[..., None]
    np.add.at(normal, square, active.swapaxes(1, 2) @ active)
    np.add.at(metric, square, slopes.swapaxes(1, 2) @ slopes)
    np.add.at(pull, slots, np.einsum("nki,nk->ni", active, over))
    bending = rows * (bent != 0)[:, None]
    normal += bending.T @ bending
    metric += rows.T @ rows
    pull += rows.T @ bent
    off = problem.excess(now.across)
    if problem.ends.loop:
        off[-1] = 0.0
    where = np.append(slots[:, 1], slots[-1, 3])
    np.add.at(normal, (where, where), (off != 0).astype(float))
    np.add.at(pull, where, off)
    every = np.arange(free)
    metric[every, every] *= 1.0 + LEAST_DAMPING
    metric[every, every] += 1.0
    return _Equations(normal[:free, :free], metric[:free, :free], pull[:free])


def _kink_rows(problem: _Problem, headings: Floats) -> Floats:
    """Slopes of the kinks over all unknowns. headings (n, 2, 5)."""
    slots, free = problem.slots, problem.free
    n = len(slots)
    begin, end = np.zeros((n, free + 1)), np.zeros((n, free + 1))
    row = np.arange(n)[:, None]
    np.add.at(begin, (row, slots), headings[:, 0])
    np.add.at(end, (row, slots), headings[:, 1])
    if problem.ends.loop:
        return (begin - np.roll(end, 1, axis=0)) / KINK
    rows = np.zeros((n + 1, free + 1))
    rows[0] = begin[0] / problem.ends.first_kink
    rows[1:-1] = (begin[1:] - end[:-1]) / KINK
    rows[-1] = -end[-1] / problem.ends.last_kink
    return rows


def _moved(problem: _Problem, state: _State, now: _Measured, step: Floats) -> _State:
    slots = problem.slots
    along, across, sweeps = _scales(state, now, problem)
    whole = np.append(step, 0.0)
    joint_along = np.append(whole[slots[:, 0]], whole[slots[-1, 2]])
    joint_across = np.append(whole[slots[:, 1]], whole[slots[-1, 3]])
    per_u = _mm_per_u(problem.curve, state.u)
    move = np.clip(joint_along, -3.0, 3.0) * along / per_u
    gap = np.diff(state.u)
    room = 0.4 * np.minimum(np.append(gap[0], gap), np.append(gap, gap[-1]))
    if problem.ends.loop:
        room[0] = room[-1] = min(room[0], room[-1])
    move = np.clip(move, -room, room)
    if problem.ends.loop:
        move[-1] = move[0]
    return _State(
        state.u + move,
        state.across + joint_across * across,
        state.sweeps + whole[slots[:, 4]] * sweeps,
    )


def _mm_per_u(curve: Curve, u: Floats) -> Floats:
    h = 1e-4 * curve.span
    low, high = u - h, u + h
    if not curve.loop:
        low, high = np.maximum(low, 0.0), np.minimum(high, curve.span)
    made: Floats = np.maximum(np.abs(curve.at(high) - curve.at(low)) / (high - low), 1e-9)
    return made
