"""The way round many contours: time against a bare nearest-neighbour pass, and how both grow.

    python -m pytest tests/benchmarks/test_travel.py -o addopts= -s

prints the figures.  Nothing here asserts a wall-clock time.
"""

from __future__ import annotations

import json
import random
import time
from itertools import pairwise
from pathlib import Path as File

import numpy as np
import pytest

from foamwright.stages.order.exchange import shorter_way

#: A sheet with room for the contours, mm.
SHEET = (1200.0, 2000.0)
COUNTS = (500, 1000, 2000)


def contours(count: int) -> tuple[list[complex], list[complex]]:
    """Where each is entered and left: a run parks up to 4 mm off its start."""
    rng = random.Random(count)
    starts = [complex(rng.uniform(0, SHEET[0]), rng.uniform(0, SHEET[1])) for _ in range(count)]
    return starts, [s + complex(rng.uniform(-4, 4), rng.uniform(-4, 4)) for s in starts]


def nearest_alone(starts: list[complex], ends: list[complex]) -> list[int]:
    """The nearest next each time, in numpy and nothing else: the measure to compare with."""
    away, leave = np.array(starts), np.array(ends)
    here, way = 0j, []
    for _ in starts:
        k = int(np.argmin(np.abs(away - here)))
        way.append(k)
        here, away[k] = leave[k], np.inf
    return way


def length_of(way: list[int], starts: list[complex], ends: list[complex]) -> float:
    here, total = 0j, 0.0
    for i in way:
        total += abs(starts[i] - here)
        here = ends[i]
    return total


def test_growth_from_500_to_2000_contours() -> None:
    print("\ncontours  nearest s  order s  ratio  travel mm  to nearest  to 0.7124 sqrt(n A)")
    for count in COUNTS:
        starts, ends = contours(count)
        began = time.perf_counter()
        near = nearest_alone(starts, ends)
        bare = time.perf_counter() - began
        began = time.perf_counter()
        s, e = [starts[i] for i in near], [ends[i] for i in near]
        way = shorter_way(s, e, 0j)
        ours = time.perf_counter() - began
        long, short = length_of(near, starts, ends), length_of(way, s, e)
        # the constant of long random tours, Beardwood, Halton, Hammersley 1959; Johnson, McGeoch
        # 1996
        expected = 0.7124 * (count * SHEET[0] * SHEET[1]) ** 0.5
        print(
            f"{count:8d}  {bare:9.3f}  {ours:7.2f}  {ours / bare:5.0f}  {short:9.0f}"
            f"  {short / long:10.3f}  {short / expected:6.3f}"
        )
        assert sorted(way) == list(range(count))
        assert short < 0.92 * long


@pytest.mark.parametrize("name", ["berlin52", "kroA100"])
def test_published_optima(shared: File, name: str) -> None:
    """TSPLIB (Reinelt 1991), closed tours, each distance rounded to a whole number."""
    told = json.loads((shared / "bench" / "tsplib" / f"{name}.json").read_text())
    dots = [complex(x, y) for x, y in told["points"]]
    began = time.perf_counter()
    way = [0, *(i + 1 for i in shorter_way(dots[1:], dots[1:], dots[0], dots[0])), 0]
    took = time.perf_counter() - began
    length = sum(int(abs(dots[b] - dots[a]) + 0.5) for a, b in pairwise(way))
    over = length / told["optimum"] - 1
    print(f"\n{name}: {length} against {told['optimum']}, {100 * over:.1f} % over, {took:.2f} s")
    assert 0 <= over <= 0.05
