"""Pairs of arcs: they meet the asked directions and each other, and keep the tolerance."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.geometry.fitting.made import (
    TOLERANCE,
    circle,
    curve_of,
    dense,
    ellipse,
    off_arcs,
    segments_of,
    wave,
    worst_kink,
)

from foamwright.geometry.fitting.biarcs import biarc, biarc_holds, by_biarcs, place_over
from foamwright.geometry.fitting.chain import deviation_of
from foamwright.geometry.fitting.curve import point_at, way_at
from foamwright.geometry.segments import Arc

some = settings(max_examples=40, deadline=None, derandomize=True)
turns = st.floats(-1.5, 1.5)


@some
@given(turns, turns)
def test_two_arcs_meet_each_other_and_the_asked_directions(first: float, last: float) -> None:
    a, b = 2 + 1j, 12 + 3j
    chord = (b - a) / abs(b - a)
    way_a, way_b = chord * cmath.rect(1, first), chord * cmath.rect(1, last)
    middle, one, two = biarc(a, way_a, b, way_b)
    made = [Arc(a, middle, math.tan(one / 4)), Arc(middle, b, math.tan(two / 4))]
    assert made[0].tangent(0.0) == pytest.approx(way_a, abs=1e-9)
    assert made[1].tangent(1.0) == pytest.approx(way_b, abs=1e-9)
    assert abs(cmath.phase(made[1].tangent(0.0) / made[0].tangent(1.0))) < 1e-9


def test_there_is_no_pair_for_directions_straight_back() -> None:
    _, one, two = biarc(0j, -1 + 0j, 5 + 0j, -1 + 0j)
    assert (one, two) == (math.inf, math.inf)


@pytest.mark.parametrize("tolerance", [0.05, TOLERANCE, 0.0005])
@pytest.mark.parametrize(
    ("cubics", "loop"), [(wave(), False), (ellipse(10, 2), True)], ids=["wave", "ellipse"]
)
def test_a_run_is_met_within_tolerance_without_a_kink(cubics, loop, tolerance: float) -> None:
    curve = curve_of(cubics, loop, tolerance)
    first, last = (way_at(curve, u)[0] for u in (0.0, curve.u[-1]))
    joints, sweeps, u = by_biarcs(curve, 0.0, curve.u[-1], first, last, tolerance)
    made = segments_of(joints, sweeps)
    assert worst_kink(made, loop) < 1e-6
    assert abs(cmath.phase(made[0].tangent(0.0) / first)) < 1e-6
    assert abs(cmath.phase(made[-1].tangent(1.0) / last)) < 1e-6
    assert max(abs(w) for w in sweeps) <= math.radians(120)
    # the search looks at forty places of each pair
    assert off_arcs(dense(cubics), made) <= 1.02 * tolerance + 1e-4
    worst, at = deviation_of(curve, joints, sweeps, u)
    assert worst.max() <= 1.02 * tolerance
    assert ((at >= u[:-1]) & (at <= u[1:])).all()


def test_a_pair_holds_or_does_not() -> None:
    curve = curve_of(circle(5, 8), True)
    a, b = point_at(curve, 0.0), point_at(curve, 0.2)
    middle, one, two = biarc(a, way_at(curve, 0.0)[0], b, way_at(curve, 0.2)[0])
    assert biarc_holds(curve, 0.0, 0.2, a, b, middle, one, two, TOLERANCE)
    assert not biarc_holds(curve, 0.0, 0.2, a, b, middle, one + 0.1, two, TOLERANCE)
    assert not biarc_holds(curve, 0.0, 0.2, a, b, middle, 2.2, two, 100.0)


def test_the_place_over_a_point_is_found_by_halving() -> None:
    curve = curve_of(wave(), False)
    u = 0.37 * curve.u[-1]
    beside = point_at(curve, u) + 0.004j * way_at(curve, u)[0]
    found = place_over(curve, 0.3 * curve.u[-1], 0.5 * curve.u[-1], beside, way_at(curve, u)[0])
    assert found == pytest.approx(u, abs=1e-6)
