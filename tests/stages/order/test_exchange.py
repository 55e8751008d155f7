"""The way through directed stops: against published optima, every sequence, and the moves' sums."""

from __future__ import annotations

import itertools
import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.stages.order.exchange import _Way, shorter_way


def way_length(way, starts, ends, here, finish=None):
    """mm of all legs, added up plainly."""
    at, total = here, 0.0
    for i in way:
        total += abs(starts[i] - at)
        at = ends[i]
    return total if finish is None else total + abs(finish - at)


def strokes(count, seed, reach=40.0):
    """Directed stops: left up to `reach` from where they are entered."""
    rng = random.Random(seed)
    starts = [complex(rng.uniform(0, 300), rng.uniform(0, 200)) for _ in range(count)]
    ends = [s + complex(rng.uniform(-reach, reach), rng.uniform(-reach, reach)) for s in starts]
    return starts, ends


@pytest.mark.parametrize("name", ["berlin52", "kroA100"])
def test_closed_tours_are_within_5_percent_of_the_published_optimum(shared, name):
    """TSPLIB (Reinelt 1991), EUC_2D: each distance rounded to a whole number."""
    told = json.loads((shared / "bench" / "tsplib" / f"{name}.json").read_text())
    dots = [complex(x, y) for x, y in told["points"]]
    assert told["optimum"] == {"berlin52": 7542, "kroA100": 21282}[name]
    way = [0, *(i + 1 for i in shorter_way(dots[1:], dots[1:], dots[0], dots[0]))]
    assert sorted(way) == list(range(len(dots)))
    legs = zip(way, [*way[1:], 0], strict=True)
    length = sum(int(abs(dots[b] - dots[a]) + 0.5) for a, b in legs)
    assert told["optimum"] <= length <= 1.05 * told["optimum"]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 7), st.integers(0, 10_000), st.booleans())
def test_small_ways_are_the_best_there_is(count, seed, returns):
    starts, ends = strokes(count, seed)
    finish = 0j if returns else None
    way = shorter_way(starts, ends, 0j, finish)
    assert sorted(way) == list(range(count))
    best = min(
        way_length(p, starts, ends, 0j, finish) for p in itertools.permutations(range(count))
    )
    assert way_length(way, starts, ends, 0j, finish) <= 1.01 * best + 1e-9


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(2, 12), st.integers(0, 10_000), st.booleans(), st.data())
def test_a_move_gains_what_it_says_and_can_be_taken_back(count, seed, returns, data):
    starts, ends = strokes(count, seed)
    finish = 50j if returns else None
    way = _Way(starts, ends, 0j, finish)
    before = list(way.way)
    for _ in range(4):
        cuts = data.draw(st.lists(st.integers(1, count + 1), min_size=3, max_size=3, unique=True))
        i, j, k = sorted(cuts)
        move = (i, j, k) if data.draw(st.booleans()) else (i, j - (j == count + 1), None)
        old = way_length(way.way[1:-1], starts, ends, 0j, finish)
        gain = way.gain(move)
        way.apply(move)
        new = way_length(way.way[1:-1], starts, ends, 0j, finish)
        assert gain == pytest.approx(old - new, abs=1e-9)
        assert [way.place[s] for s in way.way] == list(range(count + 2))
    way.undo()
    assert way.way == before


def test_a_chain_of_strokes_is_run_from_its_head():
    """Each stroke starts where another ends: the one way without travel is found."""
    links = [complex(17 * k % 101, 31 * k % 89) for k in range(30)]
    shuffled = random.Random(2).sample(range(29), 29)
    starts = [links[k] for k in shuffled]
    ends = [links[k + 1] for k in shuffled]
    way = shorter_way(starts, ends, links[0])
    assert [shuffled[i] for i in way] == list(range(29))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_way_is_never_longer_than_given_and_the_same_each_time(seed):
    starts, ends = strokes(80, seed)
    way = shorter_way(starts, ends, 0j)
    assert way_length(way, starts, ends, 0j) <= way_length(range(80), starts, ends, 0j)
    assert way == shorter_way(starts, ends, 0j)


def test_stops_at_one_place_are_borne():
    way = shorter_way([5 + 5j] * 20, [5 + 5j] * 20, 0j)
    assert sorted(way) == list(range(20))
