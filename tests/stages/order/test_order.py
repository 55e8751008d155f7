"""Order: groups, bands, the way round, and time against closed forms."""

from __future__ import annotations

import itertools
import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.model import OPERATIONS, Copy, Cut, Piece, Placement, Sheet, Stock, Tool
from foamwright.stages.order import order
from foamwright.stages.order.sequence import Unit, nearest_next, shortened, travel
from foamwright.stages.order.time import cut_time, move_time, path_time, ramp_time

TOOL = Tool("laser", cut_speed=50.0, travel_speed=200.0, acceleration=1000.0)


def square(x: float, y: float, size: float = 10.0) -> Path:
    return Path.polygon(
        [complex(x, y), complex(x + size, y), complex(x + size, y + size), complex(x, y + size)]
    )


def placed(name: str, outline: Path) -> Placement:
    copy = Copy(name, name, Piece(name, outline), False, "cloth", "machine")
    return Placement(copy, 0.0, 0.0, 0.0)


def sheet(*outlines: tuple[str, Path]) -> Sheet:
    stock = Stock("cloth", "roll", 600.0, 3000.0)
    return Sheet(1, stock, "machine", 600.0, 3000.0, tuple(placed(n, p) for n, p in outlines))


def test_groups_stand_in_the_order_of_operations():
    laid = sheet(("a", square(0, 0)), ("b", square(50, 0)))
    cuts = [
        Cut(c, f"x:{op}", op, square(0 if c == "a" else 50, 0, 5))
        for c in "ab"
        for op in reversed(OPERATIONS)
    ]
    program = order(cuts, laid, TOOL)
    ranks = [OPERATIONS.index(c.operation) for c in program.cuts]
    assert ranks == sorted(ranks)
    assert {(c.copy, c.contour) for c in program.cuts} == {(c.copy, c.contour) for c in cuts}
    assert len(program.cuts) == len(cuts)
    assert program.box == (0.0, 0.0, 55.0, 5.0)


def test_a_roll_is_worked_band_by_band():
    names = {"near": 20.0, "middle": 490.0, "far": 1010.0}
    laid = sheet(*((n, square(10, y, 30)) for n, y in names.items()))
    cuts = [
        cut
        for n, y in names.items()
        for cut in (
            Cut(n, "outline", "CUT_OUTER", square(10, y, 30)),
            Cut(n, "slit:s", "CUT_SLIT", Path.polygon([15 + y * 1j, 20 + y * 1j], closed=False)),
        )
    ]
    program = order(cuts, laid, Tool("drag-knife", band=500.0))
    assert [(c.band, c.copy, c.operation) for c in program.cuts] == [
        (0, "near", "CUT_SLIT"),
        (0, "middle", "CUT_SLIT"),
        (0, "middle", "CUT_OUTER"),
        (0, "near", "CUT_OUTER"),
        (2, "far", "CUT_SLIT"),
        (2, "far", "CUT_OUTER"),
    ]


def test_a_stroke_of_no_piece_comes_first_in_the_first_band():
    laid = sheet(("far", square(10, 1010, 30)))
    slit = Path.polygon([0j, 5 + 0j], closed=False)
    cuts = [Cut("far", "slit:s", "CUT_SLIT", slit), Cut("", "align", "CUT_SLIT", slit)]
    program = order(cuts, laid, Tool("drag-knife", band=500.0))
    assert [(c.contour, c.band) for c in program.cuts] == [("align", 2), ("slit:s", 2)]


def test_strokes_of_a_contour_stay_together_in_order():
    def strokes(name, x):
        corners = [complex(x, 0), complex(x + 10, 0), complex(x + 10, 10), complex(x, 10)]
        ends = [*corners[1:], corners[0]]
        return [
            Cut(name, "outline", "CUT_OUTER", Path.polygon([a, b], closed=False))
            for a, b in zip(corners, ends, strict=True)
        ]

    names = [f"p{i}" for i in range(6)]
    laid = sheet(*((n, square(20 * i, 0)) for i, n in enumerate(names)))
    cuts = [c for i, n in enumerate(names) for c in strokes(n, 20 * i)]
    program = order(cuts, laid, TOOL)
    for name, group in itertools.groupby(program.cuts, key=lambda c: c.copy):
        assert [c.path for c in group] == [c.path for c in cuts if c.copy == name]
    assert len(list(itertools.groupby(program.cuts, key=lambda c: c.copy))) == 6


def test_the_sequence_does_not_hang_on_the_order_given():
    laid = sheet(*((f"p{i}", square(37 * i % 400, 91 * i % 700)) for i in range(40)))
    cuts = [Cut(p.copy.name, "outline", "CUT_OUTER", p.piece.outline) for p in laid.placements]
    shuffled = random.Random(3).sample(cuts, len(cuts))
    assert order(cuts, laid, TOOL) == order(shuffled, laid, TOOL)


def test_equals_go_by_name():
    laid = sheet(("b", square(10, 0)), ("a", square(10, 0)))
    cuts = [Cut(n, "outline", "CUT_OUTER", square(10, 0)) for n in "ba"]
    assert [c.copy for c in order(cuts, laid, TOOL).cuts] == ["a", "b"]


def test_no_cuts_make_an_empty_program():
    program = order([], sheet(("a", square(0, 0))), TOOL)
    assert program.cuts == ()
    assert program.box is None
    assert program.time_s == 0


def dots(points):
    return [
        Unit((Cut(str(i), "x", "PEN", square(p.real, p.imag, 1e-9)),)) for i, p in enumerate(points)
    ]


def way_length(units, here=0j):
    starts = np.array([u.start for u in units])
    ends = np.array([u.end for u in units])
    return travel(np.arange(len(units)), starts, ends, here)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0, 100)), min_size=2, max_size=7))
def test_small_ways_are_near_the_best_there_is(places):
    units = dots([complex(x, y) for x, y in places])
    best = min(way_length(list(p)) for p in itertools.permutations(units))
    found = shortened(nearest_next(units, 0j), 0j)
    assert sorted(u.copy for u in found) == sorted(u.copy for u in units)
    assert way_length(found) <= way_length(nearest_next(units, 0j)) + 1e-9
    assert way_length(found) <= 1.15 * best + 1e-6


def test_exchange_shortens_a_large_way():
    rng = random.Random(7)
    units = dots([complex(rng.uniform(0, 600), rng.uniform(0, 1000)) for _ in range(200)])
    first = nearest_next(units, 0j)
    found = shortened(first, 0j)
    assert way_length(found) < 0.9 * way_length(first)
    # the constant of random tours, 0.7124 sqrt(n A) (Beardwood, Halton, Hammersley 1959)
    assert way_length(found) < 1.2 * 0.7124 * math.sqrt(200 * 600 * 1000)


def test_open_cuts_are_left_at_their_ends():
    """A stroke that ends at the next one's start goes first, though it starts farther away."""
    forth = Path.polygon([100 + 0j, 200 + 0j], closed=False)
    back = Path.polygon([200 + 5j, 0 + 5j], closed=False)
    units = [Unit((Cut(n, "s", "CUT_SLIT", p),)) for n, p in (("a", back), ("b", forth))]
    found = shortened(nearest_next(units, 0j), 0j)
    assert [u.copy for u in found] == ["b", "a"]


# Time


def test_a_long_move_takes_its_length_over_speed_and_one_ramp():
    assert move_time(100.0, 50.0, 1000.0) == pytest.approx(100 / 50 + 50 / 1000)


def test_a_short_move_never_reaches_its_speed():
    assert move_time(1.0, 50.0, 1000.0) == pytest.approx(2 * math.sqrt(1.0 / 1000))


def test_both_forms_meet_where_the_speed_is_just_reached():
    length = 50.0**2 / 1000
    assert move_time(length, 50.0, 1000.0) == pytest.approx(2 * math.sqrt(length / 1000))
    assert move_time(length, 50.0, 1000.0) == pytest.approx(length / 50 + 0.05)


def test_a_square_is_four_moves_from_rest_to_rest():
    expected = 4 * (100 / 50 + 50 / 1000)
    assert path_time(square(0, 0, 100), 50.0, 1000.0) == pytest.approx(expected)


def test_a_straight_run_in_pieces_takes_no_longer_than_whole():
    parts = Path.polygon([0j, 13 + 0j, 14 + 0j, 60 + 0j, 100 + 0j], closed=False)
    assert path_time(parts, 50.0, 1000.0) == pytest.approx(100 / 50 + 50 / 1000)


def test_on_a_small_circle_the_bend_holds_the_speed():
    radius = 0.5
    held = math.sqrt(1000 * radius)
    path = Path.circle(0j, radius)
    assert path_time(path, 50.0, 1000.0) == pytest.approx(move_time(path.length, held, 1000.0))


def test_passes_go_back_over_an_open_cut():
    cut = Cut("a", "slit:s", "CUT_SLIT", Path.polygon([0j, 100 + 0j], closed=False))
    tool = Tool("laser", passes=3, cut_speed=50.0, travel_speed=200.0, acceleration=1000.0)
    once, back = move_time(100, 50, 1000), move_time(100, 200, 1000)
    assert cut_time(cut, tool) == pytest.approx(3 * once + 2 * back)
    loop = Cut("a", "outline", "CUT_OUTER", square(0, 0, 100))
    assert cut_time(loop, tool) == pytest.approx(3 * path_time(loop.path, 50, 1000))


def test_program_time_is_travel_and_cuts():
    laid = sheet(("a", square(30, 40, 100)))
    program = order([Cut("a", "outline", "CUT_OUTER", square(30, 40, 100))], laid, TOOL)
    expected = move_time(50, 200, 1000) + 4 * move_time(100, 50, 1000)
    assert program.time_s == pytest.approx(expected)


def integrated(path: Path, speed: float, acceleration: float) -> float:
    """Seconds by a fine grid: the greatest speed at each station under the same limits."""
    step, stations, limits = 2e-4, [0.0], []
    for s in path.segments:
        cap = min(speed, math.sqrt(acceleration * s.radius)) if isinstance(s, Arc) else speed
        count = max(2, int(s.length() / step))
        stations.extend(stations[-1] + s.length() * np.arange(1, count + 1) / count)
        limits.extend([cap] * count)
    at = np.array(stations)
    v = np.minimum([limits[0], *limits], [*limits, limits[-1]])
    joints = np.cumsum([s.length() for s in path.segments])
    for i, where in enumerate(joints[:-1]):
        a, b = path.segments[i].tangent(1.0), path.segments[i + 1].tangent(0.0)
        k = int(np.argmin(np.abs(at - where)))
        v[k] = v[k] * max(0.0, (b / a).real)
    v[0] = v[-1] = 0.0
    square_v = v**2
    for k in range(1, len(at)):
        square_v[k] = min(square_v[k], square_v[k - 1] + 2 * acceleration * (at[k] - at[k - 1]))
    for k in range(len(at) - 2, -1, -1):
        square_v[k] = min(square_v[k], square_v[k + 1] + 2 * acceleration * (at[k + 1] - at[k]))
    v = np.sqrt(square_v)
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
    assert path_time(path, 50.0, 1000.0) == pytest.approx(integrated(path, 50, 1000), rel=2e-3)


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
