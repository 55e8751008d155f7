"""A run's table: samples lie on the cubics, places wrap round a loop, targets are even."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from tests.geometry.fitting.made import TOLERANCE, circle, curve_of, ellipse, wave

from foamwright.geometry.fitting.curve import (
    aim,
    fine_points,
    on_lap,
    point_at,
    turning_of,
    way_at,
)
from foamwright.geometry.fitting.plane import turn_between
from foamwright.geometry.segments import Cubic

RUNS = {"ellipse": (ellipse(10, 2), True), "wave": (wave(), False), "circle": (circle(5), True)}


@pytest.mark.parametrize("name", RUNS)
def test_samples_lie_on_the_cubics_in_order(name: str) -> None:
    cubics, loop = RUNS[name]
    curve = curve_of(cubics, loop)
    assert (np.diff(curve.u) > 0).all()
    assert (np.diff(curve.place) > 0).all()
    assert curve.place[0] == 0
    assert curve.place[-1] == len(cubics)
    for place, point, way in zip(curve.place, curve.points, curve.ways, strict=True):
        k = min(int(place), len(cubics) - 1)
        assert cubics[k].points(np.array([place - k]))[0] == pytest.approx(point, abs=1e-12)
        assert abs(turn_between(cubics[k].tangent(place - k), way)) < 1e-6
    for a, b, p, q in zip(
        curve.ways[:-1], curve.ways[1:], curve.points[:-1], curve.points[1:], strict=True
    ):
        assert abs(turn_between(a, b)) < math.radians(7.1) or abs(q - p) < 0.05 * TOLERANCE


@pytest.mark.parametrize("name", RUNS)
def test_any_place_lies_on_a_cubic_and_moves_at_its_rate(name: str) -> None:
    cubics, loop = RUNS[name]
    curve = curve_of(cubics, loop)
    t = np.linspace(0, 1, 20001)
    on = np.concatenate([c.points(t) for c in cubics])
    for u in np.random.default_rng(1).uniform(0, curve.u[-1], 40):
        p = point_at(curve, u)
        assert np.abs(on - p).min() < 2e-3
        way, rate = way_at(curve, u)
        assert abs(way) == pytest.approx(1)
        step = 1e-6 * curve.u[-1]
        moved = point_at(curve, u + step) - p
        # a sample's mean rate stands for the rate within it
        assert moved / step == pytest.approx(way * rate, rel=0.3)
        assert abs(turn_between(moved, way)) < 1e-3


def test_places_of_a_loop_wrap_and_those_of_an_open_run_stop() -> None:
    loop, run = curve_of(ellipse(10, 2), True), curve_of(wave(), False)
    span = loop.u[-1]
    for u in (0.0, 0.3 * span, 0.999 * span):
        for laps in (-2, -1, 1, 3):
            assert point_at(loop, u + laps * span) == pytest.approx(point_at(loop, u), abs=1e-9)
        assert 0 <= on_lap(loop, u - span) <= span
    assert point_at(run, -1.0) == wave()[0].start
    assert point_at(run, 9 * run.u[-1]) == pytest.approx(wave()[-1].end, abs=1e-12)


@pytest.mark.parametrize("low", [0.0, 0.7, 0.95, 1.3, -0.4])
def test_targets_are_the_middles_of_even_steps_also_over_the_seam(low: float) -> None:
    curve = curve_of(ellipse(10, 2), True)
    span = curve.u[-1]
    made = np.empty(12, np.complex128)
    aim(curve, low * span, (low + 0.6) * span, 12, made)
    for k in range(12):
        wanted = point_at(curve, (low + 0.6 * (k + 0.5) / 12) * span)
        assert made[k] == pytest.approx(wanted, abs=1e-9)


def test_the_turning_of_a_loop_is_a_round() -> None:
    assert turning_of(curve_of(ellipse(10, 2), True)) == pytest.approx(math.tau)
    ends = [c.tangent(0.0) for c in wave()[:1]] + [wave()[-1].tangent(1.0)]
    assert turning_of(curve_of(wave(), False)) == pytest.approx(cmath.phase(ends[1] / ends[0]))


def test_finer_points_keep_the_samples() -> None:
    curve = curve_of(wave(), False)
    fine = fine_points(curve)
    assert (fine[::2] == curve.points).all()
    assert len(fine) == 2 * len(curve.points) - 1


def test_points_that_are_one_by_rounding_are_one_sample() -> None:
    dot = Cubic(5 + 0j, 5 + 1e-14j, 5 + 1e-14j, 5 + 2e-14j)
    cubics = [Cubic(0j, 1 + 0j, 4 - 1j, 5 + 0j), dot, Cubic(dot.end, 6 + 1j, 8 + 1j, 9 + 0j)]
    curve = curve_of(cubics, False)
    assert np.abs(np.diff(curve.points)).min() > 1e-12
    assert curve.points[-1] == 9
