"""The way round many contours: time against a bare nearest-neighbour pass, and how both grow.

    python -m pytest tests/benchmarks/test_travel.py -o addopts= -s

prints the figures.  Nothing here asserts a wall-clock time.  With `pip install ortools` the sheets
are also given to a general routing library for a few seconds a group.
"""

from __future__ import annotations

import json
import random
import time
from itertools import pairwise
from pathlib import Path as File

import numpy as np
import pytest

from foamwright.stages.order import HOME, units
from foamwright.stages.order.exchange import shorter_way
from tests.benchmarks.drawings import write_leaves

#: A sheet with room for the contours, mm.
SHEET = (1200.0, 2000.0)
COUNTS = (500, 1000, 2000)
#: Seconds that the routing library searches for each group.
ROUTING_S = 10


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


def length_of(
    way: list[int], starts: list[complex], ends: list[complex], here: complex = HOME
) -> float:
    total = 0.0
    for i in way:
        total += abs(starts[i] - here)
        here = ends[i]
    return total


def test_growth_from_500_to_2000_contours() -> None:
    print("\nCPU seconds\ncontours  nearest s  order s  ratio  travel mm  to nearest  to random")
    for count in COUNTS:
        starts, ends = contours(count)
        began = time.process_time()
        near = nearest_alone(starts, ends)
        bare = time.process_time() - began
        began = time.process_time()
        s, e = [starts[i] for i in near], [ends[i] for i in near]
        way = shorter_way(s, e, 0j)
        ours = time.process_time() - began
        long, short = length_of(near, starts, ends), length_of(way, s, e)
        # 0.7124 sqrt(n A): long random tours (Beardwood, Halton, Hammersley 1959; the constant
        # by Johnson and McGeoch 1996, from memory)
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


def routed(starts: list[complex], ends: list[complex], here: complex) -> list[int]:
    """The routing library's best open way, guided local search; distances in whole micrometres."""
    routing = pytest.importorskip("ortools.constraint_solver.pywrapcp")
    enums = pytest.importorskip("ortools.constraint_solver.routing_enums_pb2")
    n = len(starts)
    enter, leave = [*starts, here, here], [*ends, here, here]
    legs = [
        [0 if j == n + 1 else round(1000 * abs(enter[j] - leave[i])) for j in range(n + 2)]
        for i in range(n + 2)
    ]
    manager = routing.RoutingIndexManager(n + 2, 1, [n], [n + 1])
    model = routing.RoutingModel(manager)
    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitMatrix(legs))
    asked = routing.DefaultRoutingSearchParameters()
    asked.first_solution_strategy = enums.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    asked.local_search_metaheuristic = enums.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    asked.time_limit.seconds = ROUTING_S
    found = model.SolveWithParameters(asked)
    way, at = [], found.Value(model.NextVar(model.Start(0)))
    while not model.IsEnd(at):
        way.append(manager.IndexToNode(at))
        at = found.Value(model.NextVar(at))
    return way


def test_real_sheets_are_within_8_percent_of_a_routing_library(tmp_path: File) -> None:
    """Each operation of each sheet of 300 leaves, as ordered, from where the head stands."""
    pytest.importorskip("ortools")
    from foamwright import pipeline

    write_leaves(tmp_path / "leaves.svg", 300)
    request = pipeline.Request.of(
        tmp_path / "leaves.svg", material="card-1mm", machine="large-laser-1300", layout_time=0
    )
    print()
    for _, program in pipeline.plan(request).programs:
        here = HOME
        for operation in ("CUT_INNER", "CUT_OUTER"):
            named = units([c for c in program.cuts if c.operation == operation])
            place = {(c.copy, c.contour): i for i, c in enumerate(program.cuts)}
            group = sorted(named, key=lambda u: place[u.copy, u.cuts[0].contour])
            starts, ends = [u.start for u in group], [u.end for u in group]
            ours = length_of(list(range(len(group))), starts, ends, here)
            theirs = length_of(routed(starts, ends, here), starts, ends, here)
            print(f"sheet {program.sheet.number} {operation}: {len(group)} contours,", end=" ")
            print(f"{ours:.0f} mm against {theirs:.0f}: {ours / theirs:.3f}")
            assert ours <= 1.08 * theirs
            here = ends[-1]
