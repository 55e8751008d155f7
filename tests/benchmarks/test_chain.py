"""The whole chain against the bare libraries on the same work, as a ratio; and how quick --help is.

    python -m pytest tests/benchmarks/test_chain.py -o addopts= --benchmark-disable -s

prints the ratios.  Nothing here asserts a wall-clock time.
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from svgelements import SVG, Arc, Circle, CubicBezier
from svgelements import Path as SvgPath

from tests.benchmarks.drawings import write_leaves

#: What the fixed script and the chain flatten and fit to, mm.
TOLERANCE = 0.006
KERF = 0.2


def best_of(runs: int, work: Callable[[], object]) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def bare_libraries(drawing: Path, out: Path) -> int:
    """svgelements parse, shapely buffer, ezdxf write of the same outlines. A fixed script.

    Curves are sampled at TOLERANCE by a bound on their bend, as fast as the libraries let it.
    """
    doc = ezdxf.new("R2000")
    space = doc.modelspace()
    count = 0
    for shape in SVG.parse(str(drawing), reify=True).elements():
        if not isinstance(shape, SvgPath | Circle):
            continue
        points = [p for segment in SvgPath(shape) for p in sampled(segment)]
        ring = shapely.Polygon(np.array(points) * (25.4 / 96))
        steps = math.ceil(math.pi / 4 / math.acos(1 - TOLERANCE / (KERF / 2)))
        grown = ring.buffer(KERF / 2, quad_segs=steps)
        space.add_lwpolyline(list(grown.exterior.coords), close=True)
        count += 1
    doc.saveas(out)
    return count


def sampled(segment: object) -> np.ndarray:
    """Points of a segment but its last, no chord farther than TOLERANCE from the curve."""
    if not isinstance(segment, CubicBezier | Arc):
        return np.zeros((0, 2))
    if isinstance(segment, CubicBezier):
        a, b, c, d = (complex(*p) for p in segment)
        bend = 6 * max(abs(a - 2 * b + c), abs(b - 2 * c + d)) * 25.4 / 96
    else:
        bend = abs(segment.sweep) ** 2 * segment.rx * 25.4 / 96
    steps = max(1, math.ceil(math.sqrt(bend / (8 * TOLERANCE))))
    return np.asarray(segment.npoint(np.linspace(0, 1, steps + 1)))[:-1]


@pytest.fixture(scope="module")
def leaves(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("leaves") / "leaves.svg"
    write_leaves(file, 300)
    return file


def test_300_pieces_from_read_to_proven_files(leaves: Path, tmp_path: Path) -> None:
    from foamwright import pipeline

    request = pipeline.Request.of(
        leaves, material="card-1mm", machine="large-laser-1300", layout_time=0
    )
    planned = pipeline.plan(request)
    layout = sum(1 for _ in planned.layouts)
    spent: dict[str, float] = {}
    timed(spent)
    start = time.perf_counter()
    pipeline.cut(request, tmp_path / "out")
    whole = time.perf_counter() - start
    ours = whole - spent.get("arrange_copies", 0.0)
    bare = best_of(3, lambda: bare_libraries(leaves, tmp_path / "bare.dxf"))
    print(f"\n300 pieces, {layout} layouts: {ours:.2f} s without the layout search")
    for name, seconds in sorted(spent.items(), key=lambda s: -s[1]):
        print(f"  {name:20} {seconds:6.2f} s")
    print(f"bare libraries: {bare:.2f} s; ratio {ours / bare:.1f} (aim: 3)")


def timed(spent: dict[str, float]) -> None:
    """Counts the seconds of each step that the map calls."""
    from foamwright import finishing, planning

    steps = {
        planning: (
            "load", "read_drawings", "alter_pieces", "arrange_copies", "compensate_sheets",
            "order_cuts",
        ),
        finishing: ("write_programs", "prove", "finish"),
    }  # fmt: skip
    for room, name in ((room, name) for room, names in steps.items() for name in names):
        step = getattr(room, name)

        def run(*args: object, step: Callable[..., object] = step, name: str = name) -> object:
            start = time.perf_counter()
            try:
                return step(*args)
            finally:
                spent[name] = spent.get(name, 0.0) + time.perf_counter() - start

        setattr(room, name, run)


def test_help_against_importing_click() -> None:
    env = {**os.environ, "PYTHONWARNINGS": "ignore"}

    def run(*args: str) -> Callable[[], object]:
        return lambda: subprocess.run(
            [sys.executable, *args], env=env, check=True, capture_output=True
        )

    ours = best_of(7, run("-m", "foamwright", "--help"))
    bare = best_of(7, run("-c", "import click"))
    print(f"\n--help {ours:.3f} s, import click {bare:.3f} s: ratio {ours / bare:.2f} (limit: 2)")
