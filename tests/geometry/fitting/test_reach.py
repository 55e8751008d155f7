"""Longest arcs one after the other: they cover the run, hold, and none could be much longer."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from tests.geometry import greedy
from tests.geometry.fitting.made import TOLERANCE, circle, curve_of, ellipse, wave

from foamwright.geometry.fitting.arc import balanced_arc
from foamwright.geometry.fitting.curve import Curve, aim, point_at
from foamwright.geometry.fitting.reach import (
    WIDEST_SWEEP,
    best_round,
    even_joints,
    farthest,
    least_count,
    walked,
)

RUNS = {"ellipse": (ellipse(20, 8), True), "wave": (wave(), False)}


def error_of(curve: Curve, low: float, high: float) -> tuple[float, float]:
    """The best arc's sweep and error, by far more targets than the walk uses."""
    aims = np.empty(300, np.complex128)
    aim(curve, low, high, 300, aims)
    return balanced_arc(aims, 300, point_at(curve, low), point_at(curve, high))


@pytest.mark.parametrize("backward", [False, True])
@pytest.mark.parametrize("name", RUNS)
def test_a_walk_covers_the_run_with_arcs_within_tolerance(name: str, backward: bool) -> None:
    cubics, loop = RUNS[name]
    curve = curve_of(cubics, loop)
    start, last = (curve.u[-1], 0.0) if backward else (0.0, curve.u[-1])
    walk = walked(curve, start, last, loop, TOLERANCE)
    places, rest = walk[:-1], walk[-1]
    assert (places[0], places[-1]) == (start, last)
    assert rest > 0
    steps = np.diff(places)
    assert (steps < 0).all() if backward else (steps > 0).all()
    for a, b in itertools.pairwise(places):
        sweep, error = error_of(curve, min(a, b), max(a, b))
        # twelve targets miss a little of what lies between them
        assert error <= 1.05 * TOLERANCE
        assert abs(sweep) <= WIDEST_SWEEP
    for a, b in itertools.pairwise(places[:-1]):
        longer = b + 0.05 * (b - a)
        # where the run bends the other way a longer arc may be nearer to it again
        assert name == "wave" or error_of(curve, min(a, longer), max(a, longer))[1] > TOLERANCE
    assert abs(len(places) - 1 - greedy.count_run(cubics, TOLERANCE)) <= 1


def test_a_circle_is_walked_by_the_widest_arcs() -> None:
    curve = curve_of(circle(5, 8), True)
    to = farthest(curve, 0.0, curve.u[-1], curve.u[-1] / 4, TOLERANCE)
    assert to / curve.u[-1] == pytest.approx(1 / 3, rel=0.02)
    assert error_of(curve, 0.0, to)[0] <= math.radians(120.0)


def test_the_best_round_takes_no_more_arcs_than_the_first() -> None:
    curve = curve_of(ellipse(20, 8), True)
    walk = walked(curve, 0.0, curve.u[-1], True, TOLERANCE)
    best = best_round(curve, walk, TOLERANCE)
    assert len(best) <= len(walk)
    assert best[-2] - best[0] == pytest.approx(curve.u[-1])


def test_a_last_arc_that_is_a_mere_rest_does_not_count() -> None:
    assert least_count(np.array([0.0, 1.0, 2.0, 2.05, 0.05])) == 2
    assert least_count(np.array([0.0, 1.0, 2.0, 2.5, 0.5])) == 3
    assert least_count(np.array([0.0, 0.05, 0.05])) == 1


@pytest.mark.parametrize("lean", [0.0, 0.25, -0.25])
def test_even_joints_lie_between_the_reaches_of_both_ends(lean: float) -> None:
    curve = curve_of(wave(), False)
    ahead = walked(curve, 0.0, curve.u[-1], False, TOLERANCE)
    behind = walked(curve, curve.u[-1], 0.0, False, TOLERANCE)
    count = len(ahead) - 2
    joints = even_joints(ahead, behind, count, lean)
    assert len(joints) == count + 1
    assert (joints[0], joints[-1]) == (0.0, curve.u[-1])
    assert (np.diff(joints) > 0).all()
    far, near = ahead[:-1], behind[: count + 1][::-1]
    assert (joints <= np.maximum(far, near) + 1e-12).all()
    assert (joints >= np.minimum(far, near) - 1e-12).all()
