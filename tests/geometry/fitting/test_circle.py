"""One circle for a whole run, where there is one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.geometry.fitting.made import (
    TOLERANCE,
    arc_of,
    circle,
    curve_of,
    dense,
    ellipse,
    off_arcs,
    segments_of,
    wave,
    worst_kink,
)

from foamwright.geometry.fitting.circle import beside, full_circle, one_arc
from foamwright.geometry.fitting.curve import Curve, Ends


def own_ends(curve: Curve, kink: float = 0.01, turned: float = 0.0) -> Ends:
    first = complex(curve.ways[0] * np.exp(1j * turned))
    return Ends(first, kink, kink, complex(curve.ways[-1]), kink, kink)


@pytest.mark.parametrize("count", [4, 17])
@pytest.mark.parametrize("radius", [0.3, 15.0])
def test_a_loop_on_a_circle_is_three_equal_arcs(radius: float, count: int) -> None:
    cubics = circle(radius, count)
    joints, sweeps = full_circle(curve_of(cubics, True), TOLERANCE)
    assert sweeps == pytest.approx([math.tau / 3] * 3)
    assert joints[0] == joints[3]
    assert np.abs(joints) == pytest.approx(radius, rel=3e-4)
    made = segments_of(joints, sweeps)
    assert worst_kink(made, True) < 1e-9
    assert off_arcs(dense(cubics), made) <= TOLERANCE


def test_a_loop_the_other_way_turns_the_other_way() -> None:
    cubics = [c.reversed() for c in reversed(circle(5))]
    assert full_circle(curve_of(cubics, True), TOLERANCE)[1] == pytest.approx([-math.tau / 3] * 3)


@pytest.mark.parametrize(("a", "b"), [(5.0, 4.98), (10.0, 2.0)])
def test_what_is_no_circle_is_none(a: float, b: float) -> None:
    assert not len(full_circle(curve_of(ellipse(a, b), True), TOLERANCE)[1])


def test_a_circle_within_tolerance_will_do() -> None:
    assert len(full_circle(curve_of(ellipse(5.0, 4.99), True), TOLERANCE)[1]) == 3


@pytest.mark.parametrize(("degrees", "arcs"), [(20, 1), (119, 1), (121, 2), (200, 2), (300, 3)])
def test_an_open_run_on_a_circle_is_arcs_of_it(degrees: float, arcs: int) -> None:
    cubics = arc_of(5.0, degrees, 6)
    curve = curve_of(cubics, False)
    joints, sweeps = one_arc(curve, own_ends(curve), TOLERANCE)
    assert len(sweeps) == arcs
    assert sweeps.sum() == pytest.approx(math.radians(degrees), abs=1e-4)
    assert np.abs(joints) == pytest.approx(5.0, abs=1e-4)
    assert worst_kink(segments_of(joints, sweeps), False) < 1e-9


def test_no_arc_that_misses_a_direction_or_the_run() -> None:
    curve = curve_of(arc_of(5.0, 80, 3), False)
    assert not len(one_arc(curve, own_ends(curve, turned=0.02), TOLERANCE)[1])
    other = curve_of(wave(), False)
    assert not len(one_arc(other, own_ends(other, kink=math.pi), TOLERANCE)[1])
    loop = curve_of(circle(5), True)
    assert not len(one_arc(loop, own_ends(loop), TOLERANCE)[1])


def test_how_far_points_lie_beside_arcs() -> None:
    joints = np.array([5 + 0j, 5j, -5 + 0j])
    sweeps = np.full(2, math.pi / 2)
    assert beside(np.array([3 + 4j, 5.2 + 0j]), joints, sweeps) == pytest.approx(0.2)
    assert beside(np.array([5 - 2j]), joints, sweeps) == pytest.approx(2.0, rel=0.1)
