"""Time: closed forms of straight moves, squares and circles, and a fine integration."""

from __future__ import annotations

import cmath
import itertools
import math
import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.model import Cut, Tool
from foamwright.stages.order.time import (
    DEVIATION,
    DOWN_S,
    UP_S,
    cut_time,
    joint_radius,
    move_time,
    operation_times,
    path_time,
    ramp_time,
)

LASER = Tool("laser", cut_speed=50.0, travel_speed=200.0, acceleration=1000.0)


def square(x: float, y: float, size: float) -> Path:
    return Path.polygon(
        [complex(x, y), complex(x + size, y), complex(x + size, y + size), complex(x, y + size)]
    )


def stroke(*points: complex) -> Path:
    return Path.polygon(list(points), closed=False)


# Closed forms


def test_a_long_move_takes_its_length_over_speed_and_one_ramp():
    assert move_time(100.0, 50.0, 1000.0) == pytest.approx(100 / 50 + 50 / 1000)


def test_a_short_move_never_reaches_its_speed():
    assert move_time(1.0, 50.0, 1000.0) == pytest.approx(2 * math.sqrt(1.0 / 1000))


def test_both_forms_meet_where_the_speed_is_just_reached():
    length = 50.0**2 / 1000
    assert move_time(length, 50.0, 1000.0) == pytest.approx(2 * math.sqrt(length / 1000))
    assert move_time(length, 50.0, 1000.0) == pytest.approx(length / 50 + 0.05)


def test_a_square_without_deviation_is_four_moves_from_rest_to_rest():
    expected = 4 * (100 / 50 + 50 / 1000)
    assert path_time(square(0, 0, 100), 50.0, 1000.0, 0.0) == pytest.approx(expected)


def test_a_square_is_not_stopped_at_its_inner_corners():
    """A right angle passed d beside its corner: R = d / (sqrt 2 - 1), v = sqrt(a R)."""
    v, a, d = 50.0, 1000.0, 0.02
    through = math.sqrt(a * d / (math.sqrt(2) - 1))
    end = (2 * v - through) / a + (100 - (2 * v**2 - through**2) / (2 * a)) / v
    inner = 2 * (v - through) / a + (100 - (v**2 - through**2) / a) / v
    assert path_time(square(0, 0, 100), v, a, d) == pytest.approx(2 * end + 2 * inner)


@pytest.mark.parametrize("deviation", [0.0, DEVIATION])
def test_a_straight_run_in_pieces_takes_no_longer_than_whole(deviation):
    parts = stroke(0j, 13 + 0j, 14 + 0j, 60 + 0j, 100 + 0j)
    assert path_time(parts, 50.0, 1000.0, deviation) == pytest.approx(100 / 50 + 50 / 1000)


def test_turning_straight_back_is_a_full_stop():
    there_and_back = stroke(0j, 30 + 0j, 0j)
    expected = 2 * move_time(30, 50, 1000)
    assert path_time(there_and_back, 50.0, 1000.0, DEVIATION) == pytest.approx(expected)


def test_on_a_small_circle_the_bend_holds_the_speed():
    radius = 0.5
    held = math.sqrt(1000 * radius)
    path = Path.circle(0j, radius)
    expected = move_time(path.length, held, 1000.0)
    assert path_time(path, 50.0, 1000.0, 0.0) == pytest.approx(expected)


@pytest.mark.parametrize(("chords", "within"), [(60, 0.03), (300, 0.005), (1500, 0.001)])
def test_a_circle_in_chords_takes_as_long_as_in_arcs(chords, within):
    """The finer, the nearer: along a long chord it speeds up a little between two joints."""
    path = Path.polygon([cmath.rect(1.5, 2 * math.pi * k / chords) for k in range(chords)])
    whole = path_time(Path.circle(0j, 1.5), 50.0, 1000.0, DEVIATION)
    assert path_time(path, 50.0, 1000.0, DEVIATION) == pytest.approx(whole, rel=within)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(1, 179), st.floats(0.001, 0.1))
def test_a_corner_is_passed_at_the_stated_distance(turn, deviation):
    """The arc that touches both sides, drawn out: how far its middle lies from the corner."""
    radius = joint_radius(turn, 1e9, deviation)
    tangent = radius * math.tan(math.radians(turn) / 2)
    # along +x into the corner at 0, the centre to the left
    centre = complex(-tangent, radius)
    leave = tangent * cmath.rect(1.0, math.radians(turn))
    assert abs(leave - centre) == pytest.approx(radius)
    assert abs(centre) - radius == pytest.approx(deviation, rel=1e-6, abs=1e-9)
    assert joint_radius(-turn, 1e9, deviation) == radius


# Fine integration


def integrated(path: Path, speed: float, acceleration: float, deviation: float) -> float:
    """Seconds by a fine grid: the greatest speed at each station under the same limits."""
    step, stations, limits = 1e-3, [0.0], []
    for s in path.segments:
        cap = min(speed, math.sqrt(acceleration * s.radius)) if isinstance(s, Arc) else speed
        count = max(2, int(s.length() / step))
        stations.extend(stations[-1] + s.length() * np.arange(1, count + 1) / count)
        limits.extend([cap] * count)
    at = np.array(stations)
    v = np.minimum([limits[0], *limits], [*limits, limits[-1]])
    ends = np.cumsum([s.length() for s in path.segments])
    for where, (one, two) in zip(ends, itertools.pairwise(path.segments), strict=False):
        a, b = one.tangent(1.0), two.tangent(0.0)
        half = math.acos(max(-1.0, min(1.0, (b / a).real / abs(b / a)))) / 2
        if half > 1e-7:
            side = min(one.length(), two.length()) / 2
            radius = min(deviation / (1 / math.cos(half) - 1), side / math.tan(half))
            k = int(np.argmin(np.abs(at - where)))
            v[k] = min(v[k], math.sqrt(acceleration * radius))
    v[0] = v[-1] = 0.0
    energy, gains = (v**2).tolist(), (2 * acceleration * np.diff(at)).tolist()
    for k in range(1, len(at)):
        energy[k] = min(energy[k], energy[k - 1] + gains[k - 1])
    for k in range(len(at) - 2, -1, -1):
        energy[k] = min(energy[k], energy[k + 1] + gains[k])
    v = np.sqrt(energy)
    return float(np.sum(2 * np.diff(at) / (v[1:] + v[:-1])))


def test_time_agrees_with_a_fine_integration():
    path = Path.of(
        [
            Line(0j, 30 + 0j),
            Arc(30 + 0j, 32 + 2j, math.tan(math.pi / 8)),
            Line(32 + 2j, 32 + 9j),
            Line(32 + 9j, 40 + 12j),
            Arc(40 + 12j, 60 + 12j, -0.4),
            Line(60 + 12j, 60.2 + 12.1j),
        ],
        False,
    )
    expected = integrated(path, 50, 1000, DEVIATION)
    assert path_time(path, 50.0, 1000.0, DEVIATION) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("seed", range(6))
def test_time_of_a_random_walk_agrees_with_a_fine_integration(seed):
    """Long and short sides, sharp and faint turns, tight and wide arcs."""
    rng = random.Random(seed)
    at, heading, segments = 0j, 0.0, []
    for _ in range(12):
        heading += rng.choice([0.02, 0.3, 1.5, 3.0]) * rng.uniform(-1, 1)
        to = at + cmath.rect(rng.choice([0.1, 1.0, 10.0]) * rng.uniform(0.5, 2), heading)
        bulge = rng.choice([0.0, 0.05, 0.4, -0.2])
        segments.append(Arc(at, to, bulge) if bulge else Line(at, to))
        at = to
    path, speed, acceleration = Path.of(segments, False), rng.uniform(20, 200), 1500.0
    expected = integrated(path, speed, acceleration, 0.02)
    assert path_time(path, speed, acceleration, 0.02) == pytest.approx(expected, rel=1e-3)


def stepped(path: Path, speed: float, acceleration: float, deviation: float) -> float:
    """Seconds by steps in time: as fast as can be, and slow enough to brake for all that comes.

    Knows no ramp formula: at each step the speed grows by the acceleration, up to what the curve
    there bears and what can still be braked to each limit ahead.
    """
    step = 1e-4
    joints = np.cumsum([0.0, *(s.length() for s in path.segments)])
    caps = [
        min(speed, math.sqrt(acceleration * s.radius)) if isinstance(s, Arc) else speed
        for s in path.segments
    ]
    ahead = np.array([*caps, 0.0])
    for k, (one, two) in enumerate(itertools.pairwise(path.segments), 1):
        half = abs(cmath.phase(two.tangent(0.0) / one.tangent(1.0))) / 2
        if half > 1e-7:
            side = min(one.length(), two.length()) / 2
            radius = min(deviation / (1 / math.cos(half) - 1), side / math.tan(half))
            ahead[k] = min(ahead[k], math.sqrt(acceleration * radius))
    at = v = seconds = 0.0
    k = 0
    while joints[-1] - at > acceleration * step**2:
        while at >= joints[k + 1]:
            k += 1
        left = np.maximum(joints[k + 1 :] - at - v * step, 0.0)
        brakes = np.sqrt(np.square(ahead[k + 1 :]) + 2 * acceleration * left)
        then = min(v + acceleration * step, caps[k], float(brakes.min()))
        at += (v + then) / 2 * step
        v = then
        seconds += step
    return seconds + math.sqrt(2 * max(0.0, joints[-1] - at) / acceleration)


def test_stepping_gives_the_closed_forms():
    """The integrator above, held against uniform acceleration."""
    line = stroke(0j, 100 + 0j)
    assert stepped(line, 50, 1000, 0.0) == pytest.approx(100 / 50 + 50 / 1000, rel=1e-3)
    assert stepped(stroke(0j, 1 + 0j), 50, 1000, 0.0) == pytest.approx(
        2 * math.sqrt(1 / 1000), rel=3e-3
    )


@pytest.mark.parametrize("seed", range(8))
def test_time_of_a_random_path_agrees_with_steps_of_a_tenth_of_a_millisecond(seed):
    """Sides of 1 to 40 mm, corners and faint turns, arcs of both ways."""
    rng = random.Random(100 + seed)
    at, heading, segments = 0j, 0.0, []
    for _ in range(8):
        heading += rng.choice([0.05, 0.6, 1.6, 2.8]) * rng.uniform(-1, 1)
        to = at + cmath.rect(rng.uniform(1, 40), heading)
        bulge = rng.choice([0.0, 0.0, 0.1, 0.6, -0.3])
        segments.append(Arc(at, to, bulge) if bulge else Line(at, to))
        at = to
    path, speed, acceleration = Path.of(segments, False), rng.uniform(30, 150), 1200.0
    expected = stepped(path, speed, acceleration, DEVIATION)
    assert path_time(path, speed, acceleration, DEVIATION) == pytest.approx(expected, rel=5e-4)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.floats(0.01, 500), st.floats(1, 300), st.floats(50, 5000), st.floats(0, 1), st.floats(0, 1)
)
def test_ramps_cover_their_length(length, speed, acceleration, a, b):
    """Speed over the told time, integrated, gives the length back."""
    enter = a * speed
    low = math.sqrt(max(0.0, enter**2 - 2 * acceleration * length))
    high = min(speed, math.sqrt(enter**2 + 2 * acceleration * length))
    leave = low + b * (high - low)
    seconds = ramp_time(length, enter, leave, speed, acceleration)
    t = np.linspace(0.0, seconds, 20001)
    v = np.minimum(
        np.minimum(enter + acceleration * t, leave + acceleration * (seconds - t)), speed
    )
    assert cumulative_trapezoid(v, t)[-1] == pytest.approx(length, rel=1e-3)


# Cuts and programs


def test_passes_go_back_over_an_open_cut():
    cut = Cut("a", "slit:s", "CUT_SLIT", stroke(0j, 100 + 0j))
    tool = Tool("laser", passes=3, cut_speed=50.0, travel_speed=200.0, acceleration=1000.0)
    once, back = move_time(100, 50, 1000), move_time(100, 200, 1000)
    assert cut_time(cut, tool) == pytest.approx(3 * once + 2 * back)
    loop = Cut("a", "outline", "CUT_OUTER", square(0, 0, 100))
    assert cut_time(loop, tool) == pytest.approx(3 * path_time(loop.path, 50, 1000, DEVIATION))


@pytest.mark.parametrize("method", ["drag-knife", "oscillating-knife"])
def test_a_knife_goes_down_and_up_for_each_pass(method):
    cut = Cut("a", "slit:s", "CUT_SLIT", stroke(0j, 100 + 0j))
    tool = Tool(method, passes=2, cut_speed=50.0, travel_speed=200.0, acceleration=1000.0)
    runs = 2 * move_time(100, 50, 1000) + move_time(100, 200, 1000)
    assert DOWN_S[method] > 0
    assert UP_S[method] > 0
    assert cut_time(cut, tool) == pytest.approx(runs + 2 * (DOWN_S[method] + UP_S[method]))


def test_each_operation_has_its_cuts_and_the_travel_to_them():
    slit = Cut("a", "slit:s", "CUT_SLIT", stroke(30 + 40j, 40 + 40j))
    ring = Cut("a", "outline", "CUT_OUTER", square(40, 60, 100))
    again = Cut("b", "slit:s", "CUT_SLIT", stroke(40 + 60j, 40 + 90j))
    told = operation_times([slit, ring, again], LASER, 0j)
    slits = move_time(50, 200, 1000) + move_time(10, 50, 1000) + move_time(30, 50, 1000)
    outline = move_time(20, 200, 1000) + path_time(ring.path, 50, 1000, DEVIATION)
    assert told == (("CUT_SLIT", pytest.approx(slits)), ("CUT_OUTER", pytest.approx(outline)))
    assert operation_times([], LASER, 0j) == ()


def test_marks_are_made_once_and_a_lowered_focus_runs_the_sheet_again():
    mark = Cut("a", "mark:m", "SCORE", stroke(0j, 10 + 0j))
    ring = Cut("a", "outline", "CUT_OUTER", square(40, 60, 100))
    other = Cut("b", "outline", "CUT_OUTER", square(240, 60, 100))
    tool = Tool("laser", passes=3, cut_speed=50.0, travel_speed=200.0, acceleration=1000.0)
    loop = path_time(ring.path, 50, 1000, DEVIATION)
    there, across, back = (move_time(v, 200, 1000) for v in (abs(30 + 60j), 200, 200))
    marks = move_time(10, 50, 1000)
    told = dict(operation_times([mark, ring, other], tool, 0j))
    assert told["SCORE"] == pytest.approx(marks)
    assert told["CUT_OUTER"] == pytest.approx(there + across + 6 * loop)
    lowered = replace(tool, focus_step=0.5)
    told = dict(operation_times([mark, ring, other], lowered, 0j))
    assert told["SCORE"] == pytest.approx(marks)
    assert told["CUT_OUTER"] == pytest.approx(there + 3 * across + 2 * back + 6 * loop)
