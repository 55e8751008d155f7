"""The normal equations of a chain's excess, and their answer.

A chain's unknowns are of each joint how far along and across the curve it moves, and of each arc
its sweep, all in natural sizes, joint after arc.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import math

import numpy as np

from foamwright.geometry.chains import Floats, Indices
from foamwright.geometry.compiled import within
from foamwright.geometry.fitting.arc import arc_length
from foamwright.geometry.fitting.chain import Around, Limits, State, excess, kink_limit
from foamwright.geometry.fitting.curve import Curve
from foamwright.geometry.fitting.plane import dot, magnitude, times
from foamwright.geometry.fitting.reach import TARGETS, WIDEST_SWEEP

#: A little damping of each unknown by itself, so that the equations always have an answer.
LEAST_DAMPING = 1e-6


@within
def slots_at(i: int, n: int, loop: bool) -> tuple[int, int, int]:
    """Where arc i's unknowns stand: of its first joint, its sweep, its last joint; -1: held.

    A joint's two unknowns (along, across) follow each other.
    """
    first = 3 * i - 2 if i > 0 else (3 * n - 2 if loop else -1)
    last = 3 * i + 1 if i < n - 1 or loop else -1
    return first, 3 * i, last


@within
def fill_slots(i: int, n: int, loop: bool, made: Indices) -> None:
    first, sweep, last = slots_at(i, n, loop)
    made[0], made[1], made[2] = first, first + 1 if first >= 0 else -1, sweep
    made[3], made[4] = last, last + 1 if last >= 0 else -1


@within
def add_row(squares: Floats, pulls: Floats, row: Floats, over: float) -> None:
    """One limit's slopes: to the metric (squares 0), and where it is over to the equations (1)."""
    for p in range(5):
        for q in range(p + 1):
            squares[0, p, q] += row[p] * row[q]
            if over != 0.0:
                squares[1, p, q] += row[p] * row[q]
        pulls[p] += row[p] * over


@within
def scatter(
    squares: Floats, pulls: Floats, slots: Indices, normal: Floats, metric: Floats, pull: Floats
) -> None:
    """What has been added up over a few unknowns, to the equations of all."""
    for p in range(5):
        if slots[p] < 0:
            continue
        pull[slots[p]] += pulls[p]
        for q in range(p + 1):
            high, low = max(slots[p], slots[q]), min(slots[p], slots[q])
            if low < 0:
                continue
            twice = 2.0 if p != q and high == low else 1.0
            metric[high, low] += twice * squares[0, p, q]
            normal[high, low] += twice * squares[1, p, q]


@within
def scatter_row(
    row: Floats, over: float, slots: Indices, normal: Floats, metric: Floats, pull: Floats
) -> None:
    """As add_row and scatter of one limit's slopes alone."""
    for p in range(len(row)):
        if slots[p] < 0:
            continue
        pull[slots[p]] += row[p] * over
        for q in range(p + 1):
            high, low = max(slots[p], slots[q]), min(slots[p], slots[q])
            if low < 0:
                continue
            twice = 2.0 if p != q and high == low else 1.0
            metric[high, low] += twice * (row[p] * row[q])
            if over != 0.0:
                normal[high, low] += twice * (row[p] * row[q])


@within
def natural_sizes(state: State, now: Around, limits: Limits) -> tuple[Floats, Floats]:
    """Natural sizes of the unknowns: along each joint (n + 1, mm), of each sweep (n, rad)."""
    n = len(state.sweeps)
    along, sweeps = np.empty(n + 1), np.empty(n)
    for i in range(n):
        chord = max(magnitude(now.joints[i + 1] - now.joints[i]), 1e-12)
        sweeps[i] = 8 * limits.tolerance / chord
        along[i] = 0.1 * chord if i == 0 else min(along[i], 0.1 * chord)
        along[i + 1] = 0.1 * chord
    if limits.first_kink == 0.0:
        along[0] = along[n] = min(along[0], along[n])
    return along, sweeps


@within
def add_arc(
    state: State,
    now: Around,
    limits: Limits,
    inside: float,
    i: int,
    sizes: tuple[Floats, Floats],
    squares: Floats,
    pulls: Floats,
    row: Floats,
    begin: Floats,
    end: Floats,
) -> None:
    """Slopes of arc i's own limits over its five unknowns, and of its directions at both ends."""
    along, scale = sizes
    across, inverse = limits.tolerance, 1 / limits.tolerance
    a, b, w = now.joints[i], now.joints[i + 1], state.sweeps[i]
    chord = b - a
    length = max(magnitude(chord), 1e-12)
    # a unit of each unknown, in the frame of half the chord
    forward = chord.conjugate() * (1 / length)
    along_a, across_a = now.ways[i] * forward * along[i], now.ways[i] * forward * across
    along_b = now.ways[i + 1] * forward * along[i + 1]
    across_b = now.ways[i + 1] * forward * across
    s, c = math.sin(w / 2), math.cos(w / 2)
    for k in range(TARGETS):
        x = 2 * dot(chord, now.aims[i, k] - (a + b) / 2) / (length * length)
        x = min(max(x, -1.0), 1.0)
        sine = x * s
        cosine = math.sqrt(max(1 - sine * sine, 0.0))
        lift = (1 - x * x) / max(cosine + c, 1e-6)
        # how the arc's point there follows its ends, along its normal there
        turned = times(complex(sine, cosine), inverse)
        follow_a = turned * complex((1 - x) / 2, s * lift / 2)
        follow_b = turned * complex((1 + x) / 2, -s * lift / 2)
        row[0], row[1] = (follow_a * along_a).real, -(follow_a * across_a).imag
        row[2] = length / 4 * lift * scale[i] / across
        row[3], row[4] = (follow_b * along_b).real, -(follow_b * across_b).imag
        add_row(squares, pulls, row, excess(now.off[i, k], inside))
    begin[0], begin[1] = -along_a.imag / length, -across_a.real / length
    begin[3], begin[4] = along_b.imag / length, across_b.real / length
    end[:] = begin
    begin[2], end[2] = -scale[i] / 2, scale[i] / 2
    # too short, too wide
    short = limits.shortest / arc_length(chord, w)
    shorter = short / length
    row[0], row[1] = shorter * along_a.real, -shorter * across_a.imag
    row[2] = -short * w / 12 * scale[i]
    row[3], row[4] = -shorter * along_b.real, shorter * across_b.imag
    add_row(squares, pulls, row, excess(short, inside))
    row[:] = 0.0
    row[2] = scale[i] / WIDEST_SWEEP
    add_row(squares, pulls, row, excess(w / WIDEST_SWEEP, inside))
    over = excess(state.across[i] / limits.tolerance, inside)
    if over != 0.0:
        squares[1, 1, 1] += 1.0
        pulls[1] += over


@within
def equations(
    state: State, now: Around, limits: Limits, inside: float, loop: bool
) -> tuple[Floats, Floats, Floats]:
    """Normal equations of the excess, the metric that damps them (that of all limits), the pull.

    Damped so, a step that mends what is over its limit does not spoil what is still within.
    Lower triangles.
    """
    n = len(state.sweeps)
    free = 3 * n if loop else 3 * n - 2
    normal, metric, pull = np.zeros((free, free)), np.zeros((free, free)), np.zeros(free)
    sizes = natural_sizes(state, now, limits)
    slots, ten = np.empty(10, np.int64), np.empty(10)
    squares, pulls, row = np.empty((2, 5, 5)), np.empty(5), np.empty(5)
    begin, end = np.empty((n, 5)), np.empty((n, 5))
    for i in range(n):
        squares[:] = 0.0
        pulls[:] = 0.0
        add_arc(state, now, limits, inside, i, sizes, squares, pulls, row, begin[i], end[i])
        fill_slots(i, n, loop, slots)
        scatter(squares, pulls, slots, normal, metric, pull)
    for i in range(n if loop else n + 1):
        limit = kink_limit(limits, i, n)
        ten[:] = 0.0
        slots[:] = -1
        if i < n:
            fill_slots(i, n, loop, slots)
            ten[:5] = begin[i] / limit
        if i > 0 or loop:
            fill_slots((i - 1) % n, n, loop, slots[5:])
            ten[5:] = -end[(i - 1) % n] / limit
        scatter_row(ten, excess(now.kinks[i], inside), slots, normal, metric, pull)
    for i in range(free):
        metric[i, i] = metric[i, i] * (1.0 + LEAST_DAMPING) + 1.0
    return normal, metric, pull


@within
def solved(matrix: Floats, right: Floats, wraps: bool) -> Floats:
    """The answer of equations with a lower triangle of 8 diagonals; a loop's last rows are full.

    By Cholesky's factors, in place.
    """
    n = len(right)
    for i in range(n):
        first = 0 if wraps and i >= n - 6 else max(0, i - 8)
        for j in range(first, i + 1):
            start = max(first, 0 if wraps and j >= n - 6 else max(0, j - 8))
            total = matrix[i, j]
            for k in range(start, j):
                total -= matrix[i, k] * matrix[j, k]
            if i == j:
                matrix[i, i] = math.sqrt(max(total, 1e-300))
            else:
                matrix[i, j] = total / matrix[j, j]
        total = right[i]
        for k in range(first, i):
            total -= matrix[i, k] * right[k]
        right[i] = total / matrix[i, i]
    for i in range(n - 1, -1, -1):
        right[i] /= matrix[i, i]
        first = 0 if wraps and i >= n - 6 else max(0, i - 8)
        for k in range(first, i):
            right[k] -= matrix[i, k] * right[i]
    return right


@within
def moved(
    curve: Curve, state: State, now: Around, limits: Limits, step: Floats, loop: bool
) -> State:
    n = len(state.sweeps)
    along, scale = natural_sizes(state, now, limits)
    u, across, sweeps = state.u.copy(), state.across.copy(), state.sweeps.copy()
    for i in range(n):
        first, sweep, _ = slots_at(i, n, loop)
        sweeps[i] += step[sweep] * scale[i]
        if first < 0:
            continue
        before = state.u[i] - state.u[i - 1] if i > 0 else state.u[n] - state.u[n - 1]
        room = 0.4 * min(before, state.u[i + 1] - state.u[i])
        move = min(max(step[first], -3.0), 3.0) * along[i] / now.rates[i]
        u[i] += min(max(move, -room), room)
        across[i] += step[first + 1] * limits.tolerance
    if loop:
        u[n], across[n] = state.u[n] + (u[0] - state.u[0]), across[0]
    return State(u, across, sweeps)
