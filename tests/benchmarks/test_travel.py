"""The way round many contours: travel and time, how they grow, and what free entries save.

    python -m pytest tests/benchmarks/test_travel.py -o addopts= -s

prints the figures.  Nothing here asserts a wall-clock time.
"""

from __future__ import annotations

import cmath
import json
import math
import random
import time
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path as File

import numpy as np
import pytest

from foamwright import pipeline, planning
from foamwright.asked import Request
from foamwright.geometry.path import Path
from foamwright.model import Cut, Entry, Program, Sheet, Tool
from foamwright.stages.compensate.places import places
from foamwright.stages.order import HOME, order, units
from foamwright.stages.order.exchange import shorter_way
from foamwright.stages.order.sequence import travel, way_round
from tests.benchmarks.drawings import write_leaves
from tests.benchmarks.travel_sheets import (
    BEST,
    EXAMPLE,
    SHEETS,
    TOOL,
    cuts_of,
    travelled,
)

#: A sheet with room for the contours, mm.
SHEET = (1200.0, 2000.0)
COUNTS = (250, 500, 1000, 2000, 4000)


def polygons(count: int) -> list[Cut]:
    """Outlines of 3 to 9 corners, one in each field of a grid, entered at corners and in steps."""
    rng = random.Random(count)
    pitch = math.sqrt(SHEET[0] * SHEET[1] / count)
    across = int(SHEET[0] / pitch)
    made = []
    for k in range(count):
        middle = complex(k % across + rng.uniform(0.4, 0.6), k // across + rng.uniform(0.4, 0.6))
        corners, radius = rng.randint(3, 9), pitch * rng.uniform(0.2, 0.38)
        ring = [
            pitch * middle + cmath.rect(radius * rng.uniform(0.7, 1), 2 * math.pi * j / corners)
            for j in range(corners)
        ]
        path = Path.polygon(ring)
        entries = (Entry(path), *(Entry(path, *p) for p in places(path) if p != (0, 0.0)))
        made.append(Cut(f"p{k:04d}", "outline", "CUT_OUTER", path, entries=entries))
    return made


def with_one_entry(cuts: Sequence[Cut]) -> list[Cut]:
    return [replace(c, entries=()) for c in cuts]


def nearest_alone(starts: list[complex]) -> float:
    """mm to the nearest next each time, in numpy and nothing else: the measure to compare with."""
    away, here, total = np.array(starts), HOME, 0.0
    for _ in starts:
        k = int(np.argmin(np.abs(away - here)))
        total += abs(complex(away[k]) - here)
        here, away[k] = complex(away[k]), np.inf
    return total


def test_growth_from_250_to_4000_contours() -> None:
    print("\nCPU seconds, travel in mm")
    print("contours  entries  nearest  nearest s  one entry  one s     free  free s  saved")
    for count in COUNTS:
        given = units(polygons(count))
        bare = units(with_one_entry(polygons(count)))
        began = time.process_time()
        near = nearest_alone([u.cuts[0].path.start for u in given])
        near_s = time.process_time() - began
        began = time.process_time()
        one = travel(way_round(bare, HOME), HOME)
        one_s = time.process_time() - began
        began = time.process_time()
        way = way_round(given, HOME)
        free_s = time.process_time() - began
        free = travel(way, HOME)
        each = sum(len(u.starts) for u in given) / count
        print(
            f"{count:8d}  {each:7.1f}  {near:7.0f}  {near_s:9.3f}  {one:9.0f}  {one_s:5.2f}"
            f"  {free:7.0f}  {free_s:6.2f}  {1 - free / one:5.1%}"
        )
        assert sorted(v.unit.copy for v in way) == sorted(u.copy for u in given)
        assert free < 0.9 * one < 0.9 * near


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


@pytest.mark.parametrize("name", SHEETS)
def test_real_sheets(tmp_path: File, name: str) -> None:
    """Against a long run of a general routing library; one entry each; and far side first."""
    sheet = SHEETS[name](tmp_path)
    cuts = cuts_of(sheet)
    began = time.process_time()
    program = order(cuts, sheet, TOOL)
    took = time.process_time() - began
    ours = travelled(program.cuts)
    one = travelled(order(with_one_entry(cuts), sheet, TOOL).cuts)
    print(f"\n{name}: {len(units(cuts))} contours, {ours:.0f} mm in {took:.2f} s,", end=" ")
    print(f"{ours / BEST[name] - 1:+.1%} to the library's best of {BEST[name]} mm,", end=" ")
    print(f"{1 - ours / one:.1%} less than the {one:.0f} mm with one entry each")
    for depth in (100.0, 200.0, 400.0):
        banded = order(cuts, sheet, replace(TOOL, far_first=depth))
        longer, later = travelled(banded.cuts) / ours - 1, banded.time_s - program.time_s
        print(f"  from the far side in bands of {depth:.0f} mm: {longer:+.0%} travel,", end=" ")
        print(f"{later:+.1f} s of {program.time_s:.0f} s")
    assert ours <= 1.08 * BEST[name]


@pytest.mark.parametrize(
    ("material", "machine"),
    [
        (None, None),
        ("card-1mm", "large-laser-1300"),
        ("stabilised-cotton", "roll-drag-knife-600"),
        ("fleece-2mm", "flatbed-knife-1200"),
    ],
)
def test_jobs(
    tmp_path: File, monkeypatch: pytest.MonkeyPatch, material: str | None, machine: str | None
) -> None:
    """The example, and 300 leaves by each method, with all compensations: what entries save."""
    drawing = tmp_path / "leaves.svg"
    write_leaves(drawing, 300)
    request = Request.of(EXAMPLE.parent / "job.toml")
    if material is not None:
        request = Request.of(drawing, material=material, machine=machine, layout_time=0)
    given: list[tuple[Sequence[Cut], Sheet, Tool]] = []

    def noted(cuts: Sequence[Cut], sheet: Sheet, tool: Tool) -> Program:
        given.append((cuts, sheet, tool))
        return order(cuts, sheet, tool)

    monkeypatch.setattr(planning, "order", noted)
    pipeline.plan(request)
    print()
    for cuts, sheet, tool in given:
        began = time.process_time()
        free = order(cuts, sheet, tool)
        took = time.process_time() - began
        one = order(with_one_entry(cuts), sheet, tool)
        a, b = travelled(free.cuts), travelled(one.cuts)
        print(f"{sheet.material} sheet {sheet.number}: {len(cuts)} cuts, {took:.2f} s;", end=" ")
        print(f"travel {a:.0f} mm against {b:.0f} ({1 - a / b:.1%} less),", end=" ")
        print(f"{free.time_s:.1f} s against {one.time_s:.1f}")
        assert a <= b * 1.02
