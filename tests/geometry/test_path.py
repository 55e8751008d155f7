"""Paths: lengths, areas, corners and their bookkeeping, runs across the seam."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path, find_corners, joined, turn_degrees
from foamwright.geometry.segments import Arc, Cubic, Line

some = settings(max_examples=60, deadline=None, derandomize=True)


def ellipse(a: float, b: float) -> Path:
    return Path.circle(0, 1).transformed(Affine.scaling(a, b))


def drop() -> Path:
    """A point at the left, two straight flanks, a round end and a bulging cubic: 3 corners."""
    return Path.of(
        [
            Line(0j, 10 - 5j),
            Arc(10 - 5j, 10 + 5j, 1.0),
            Cubic(10 + 5j, 8 + 9j, 2 + 8j, 0j),
        ],
        closed=True,
    )


@pytest.mark.parametrize(("a", "b"), [(50.0, 30.0), (10.0, 2.0), (100.0, 1.0)])
def test_an_ellipses_perimeter_and_area(a: float, b: float) -> None:
    drawn = ellipse(a, b)
    assert drawn.length == pytest.approx(4 * a * ellipe(1 - (b / a) ** 2), rel=1e-7)
    assert drawn.area == pytest.approx(math.pi * a * b, rel=2e-7)
    assert drawn.bounds == pytest.approx((-a, -b, a, b), rel=1e-7)
    assert not drawn.corners


def test_a_stadiums_length_and_area() -> None:
    r, flat = 5.0, 20.0
    drawn = Path.of(
        [
            Line(-5j, 20 - 5j),
            Arc(20 - 5j, 20 + 5j, 1.0),
            Line(20 + 5j, 5j),
            Arc(5j, -5j, 1.0),
        ],
        closed=True,
    )
    assert drawn.length == pytest.approx(2 * flat + 2 * math.pi * r)
    assert drawn.area == pytest.approx(2 * r * flat + math.pi * r * r)
    assert drawn.corners == frozenset()
    assert drawn.clockwise().area == -drawn.counter_clockwise().area


def test_an_area_far_from_the_origin_keeps_its_digits() -> None:
    here, there = drop(), drop().transformed(Affine.translation(1e6 + 1e6j))
    assert there.area == pytest.approx(here.area, rel=1e-8)


def test_corners_are_the_joints_that_turn() -> None:
    p = drop()
    assert p.corners == {0, 1, 2}
    assert p.corner_points() == (0j, 10 - 5j, 10 + 5j)
    assert turn_degrees(1 + 0j, 1j) == pytest.approx(90)
    bent = [Line(0j, 10 + 0j), Line(10 + 0j, 20 + 0.4j)]  # 2.3 degrees
    assert Path.of(bent, False).corners == frozenset()
    assert Path.of(bent, False, corner_angle=2.0).corners == {1}


@pytest.mark.parametrize("closed", [True, False])
def test_reversing_moves_the_corners_with_their_points(closed: bool) -> None:
    p = drop() if closed else Path.of(drop().segments[:2], False)
    r = p.reversed()
    assert sorted(map(str, r.corner_points())) == sorted(map(str, p.corner_points()))
    assert r.corners == find_corners(r.segments, closed, 3.0)
    assert r.reversed() == p
    assert r.length == pytest.approx(p.length)
    if closed:
        assert r.area == pytest.approx(-p.area)


@pytest.mark.parametrize("joint", [0, 1, 2])
def test_beginning_elsewhere_keeps_the_corners(joint: int) -> None:
    p = drop().starting_at(joint)
    assert p.start == drop().segments[joint].start
    assert p.corners == find_corners(p.segments, True, 3.0)


def test_maps_keep_corners_where_an_arc_becomes_cubics() -> None:
    p = drop().transformed(Affine.scaling(2, 1))
    assert len(p.segments) > 3
    assert p.corner_points() == (0j, 20 - 5j, 20 + 5j)
    assert p.area == pytest.approx(2 * drop().area, rel=2e-7)


@some
@given(st.floats(0, 1), st.floats(0.001, 0.999))
def test_runs_have_the_length_asked_for_and_lie_on_the_path(first: float, share: float) -> None:
    p = drop()
    start, end = first * p.length, (first + share) * p.length
    run = p.between(start, end)
    assert not run.closed
    assert run.length == pytest.approx(end - start, abs=1e-6)
    for f in (0.0, 0.3, 0.8):
        s = (start + f * (end - start)) % p.length
        assert run.point_at(f * run.length) == pytest.approx(p.point_at(s), abs=1e-5)
    # every corner within the run is still one, and no other joint is
    assert run.corners == find_corners(run.segments, False, 3.0)


def test_a_run_across_the_seam_keeps_the_corner_there() -> None:
    p = drop()
    run = p.between(p.length - 3, p.length + 2)
    assert [run.segments[i].start for i in run.corners] == [0j]
    assert run.end == pytest.approx(p.point_at(2))


def test_a_run_from_joint_to_joint_has_no_crumbs() -> None:
    p = drop()
    at = p.joint_lengths()
    run = p.between(at[1], at[2])
    assert len(run.segments) == 1
    assert run.start == p.segments[1].start
    assert run.end == pytest.approx(p.segments[1].end, abs=1e-9)


@pytest.mark.parametrize("past", [0.0, -1e-13, 1e-13, 2.5])
@pytest.mark.parametrize("rounds", [-1, 1, 2])
def test_lengths_may_pass_the_start(past: float, rounds: int) -> None:
    p = drop()
    run = p.between(rounds * p.length + past, rounds * p.length + past + 5)
    assert run.length == pytest.approx(5, abs=1e-9)
    assert run.start == pytest.approx(p.point_at(max(past, 0.0)), abs=1e-9)
    assert run.corners == frozenset()
    up_to = p.between(p.length - 3, p.length + 1e-14)
    assert up_to.length == pytest.approx(3, abs=1e-8)


def test_a_whole_round_from_within() -> None:
    p = drop()
    run = p.between(4.0, 4.0 + p.length)
    assert run.length == pytest.approx(p.length, abs=1e-7)
    assert len(run.corners) == 3


def test_a_run_must_have_length() -> None:
    with pytest.raises(GeometryError):
        drop().between(3.0, 3.0)
    with pytest.raises(GeometryError):
        drop().between(3.0, 2.0)


def test_places_beyond_the_ends_are_the_ends() -> None:
    p = Path.polygon([0j, 10 + 0j, 10 + 10j], closed=False)
    assert p.point_at(-1) == 0j
    assert p.point_at(99) == 10 + 10j
    assert p.tangent_at(15) == 1j
    assert p.joint_lengths() == (0.0, 10.0)


@some
@given(st.sampled_from([0.1, 0.01, 0.002]))
def test_flattening_is_within_its_tolerance(tolerance: float) -> None:
    p = ellipse(50, 30)
    f = p.flatten(tolerance)
    assert f[0] == f[-1]
    mid = (f[1:] + f[:-1]) / 2
    angle = np.arctan2(mid.imag / 30, mid.real / 50)
    near = np.abs(mid - (50 * np.cos(angle) + 30j * np.sin(angle)))
    assert near.max() <= 2 * tolerance  # the foot by angle is not the nearest point


def test_a_closed_path_may_start_anywhere_on_it() -> None:
    square = Path.polygon([0j, 10 + 0j, 10 + 10j, 10j])
    assert square.starting_in(2, 0.0) == square.starting_at(2)
    moved = square.starting_in(1, 0.25)
    assert moved.start == moved.end == 10 + 2.5j
    assert [s.end for s in moved.segments] == [10 + 10j, 10j, 0j, 10 + 0j, 10 + 2.5j]
    assert moved.corners == {1, 2, 3, 4}
    assert moved.area == pytest.approx(100)


def test_a_closed_path_is_opened_once_round_and_on() -> None:
    square = Path.polygon([0j, 10 + 0j, 10 + 10j, 10j])
    once, on = square.opened(), square.opened(12.0)
    assert (once.closed, once.length, once.corners) == (False, 40.0, {1, 2, 3})
    assert (on.closed, on.end) == (False, 10 + 2j)
    assert on.length == pytest.approx(52)
    assert on.corners == {1, 2, 3, 4, 5}


def test_joining_keeps_corners_and_judges_the_seams() -> None:
    p = drop()
    at = p.joint_lengths()
    parts = [p.between(at[0], at[1]), p.between(at[1], at[2] + 1)]
    again = joined([*parts, p.between(at[2] + 1, p.length)], closed=True)
    assert again.corner_points() == pytest.approx(p.corner_points(), abs=1e-9)
    assert again.length == pytest.approx(p.length, abs=1e-7)


def test_nothing_gaps_and_open_areas_are_refused() -> None:
    with pytest.raises(GeometryError, match="without length"):
        Path.of([Line(1j, 1j)], False)
    with pytest.raises(GeometryError, match="gap"):
        Path.of([Line(0j, 1 + 0j), Line(1.001 + 0j, 2 + 0j)], False)
    with pytest.raises(GeometryError, match="gap"):
        Path.of([Line(0j, 1 + 0j), Line(1 + 0j, 2 + 0j)], True)
    with pytest.raises(GeometryError, match="open"):
        _ = Path.polygon([0j, 1 + 0j], closed=False).area
    kept = Path.of([Line(0j, 1 + 0j), Line(1 + 0j, 1 + 0j), Line(1 + 0j, 2j)], False)
    assert len(kept.segments) == 2
