"""Fitting and offsetting many outlines against the polygon library's buffer alone, as ratios.

    python -m pytest tests/benchmarks/test_curve_speed.py -o addopts= -s

prints time per segment at 100, 1,000 and 10,000 outlines, memory held, and the ratio.  The shapes
are 50 segments each, four cubics and a line in turn, no two alike; FOAMWRIGHT_OUTLINES=N ends the
series at N.  The library's inputs are flattened at 0.002 mm.  Nothing asserts a time.
"""

from __future__ import annotations

import cmath
import math
import os
import random
import resource
import time
from collections.abc import Callable, Sequence

import numpy as np
import shapely

from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.offset import offset
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic, Line, Segment

TOLERANCE, FLATTENED, DISTANCE = 0.006, 0.002, 0.1
SEGMENTS = 50
COUNTS = (100, 1_000, 10_000)


def outline(seed: int) -> Path:
    """About 80 mm across: a circle with waves of its own, so smooth between lines."""
    rnd = random.Random(seed)
    waves = [(k, size, rnd.uniform(0, math.tau)) for k, size in ((3, 0.12), (5, 0.08), (8, 0.04))]

    def at(t: float) -> complex:
        radius = 40 * (1 + sum(size * math.sin(k * t + phase) for k, size, phase in waves))
        return radius * cmath.exp(1j * t)

    def along(t: float) -> complex:
        radius = 40 * (1 + sum(size * math.sin(k * t + phase) for k, size, phase in waves))
        rate = 40 * sum(k * size * math.cos(k * t + phase) for k, size, phase in waves)
        return (rate + 1j * radius) * cmath.exp(1j * t)

    step = math.tau / SEGMENTS
    spots = [at(step * k) for k in range(SEGMENTS)]
    made: list[Segment] = []
    for k in range(SEGMENTS):
        a, b = spots[k], spots[(k + 1) % SEGMENTS]
        reach = step / 3 * along(step * k), step / 3 * along(step * (k + 1))
        made.append(Line(a, b) if k % 5 == 4 else Cubic(a, a + reach[0], b - reach[1], b))
    return Path.of(made, True)


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def held() -> float:
    """Most memory held so far, MB (Linux counts kilobytes)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def buffered(outlines: Sequence[Path]) -> tuple[float, float]:
    """Seconds of the polygon library's buffer, one by one and as one batch."""
    quarter = math.ceil(math.pi / 4 / math.acos(1 - FLATTENED / DISTANCE))
    rings = [p.flatten(FLATTENED) for p in outlines]
    solids = [shapely.Polygon(np.column_stack([r.real, r.imag])) for r in rings]
    one = seconds(lambda: [s.buffer(DISTANCE, quad_segs=quarter) for s in solids])
    return one, seconds(lambda: shapely.buffer(np.array(solids), DISTANCE, quad_segs=quarter))


def test_time_for_each_segment_stays_flat() -> None:
    most = int(os.environ.get("FOAMWRIGHT_OUTLINES", COUNTS[-1]))
    print(
        f"\n{'outlines':>8} {'fit':>8} {'offset':>8} {'both':>8} {'buffer':>8} {'batch':>8}"
        f" {'of arcs':>8} {'both':>8} {'held':>9}\n{'':8} {'us/segment':>8}"
        f"{'':36} {'times the buffer':>16}   MB"
    )
    for count in (c for c in COUNTS if c <= most):
        paths = [outline(k) for k in range(count)]
        fitted: list[Path] = []
        fit = seconds(lambda p=paths, f=fitted: f.extend(fit_arcs(q, TOLERANCE) for q in p))
        arcs = seconds(lambda f=fitted: [offset(q, DISTANCE, TOLERANCE) for q in f])
        one, batch = buffered(paths)
        each = 1e6 / (count * SEGMENTS)
        both = fit + arcs
        print(
            f"{count:8} {fit * each:8.1f} {arcs * each:8.1f} {both * each:8.1f} {one * each:8.2f}"
            f" {batch * each:8.2f} {arcs / one:8.1f} {both / one:8.1f} {held():9.0f}"
        )
