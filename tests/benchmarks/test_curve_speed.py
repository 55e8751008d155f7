"""Fitting and offsetting many outlines against the polygon library's buffer alone, as ratios.

    python -m pytest tests/benchmarks/test_curve_speed.py -o addopts= -s

prints time per segment at 100, 1,000 and 10,000 outlines, all of them, and memory.  Each way does
the same work: arcs through the cubics first (fit), then the parallels of these arcs (offset).

- one by one: `fit_arcs` of each outline, `offset` of each fitted path, the library's buffer of each
  polygon; "x buffer" is (fit + offset) / buffer;
- one batch: `fit_many` of all outlines, `offset_many` of all fitted paths, the library's buffer of
  an array of all polygons, each on one thread, and the same ratio;
- 2 threads: the same two by the wall's clock with two threads (give it two cores), and the ratio to
  the library's one thread, on which alone it works;
- memory: the most that the interpreter and numpy hold of "one batch", fits and parallels included.
  The arrays of 5,000 segments' work are in it whatever the count: they show at 100 outlines.

The shapes are 50 segments each, four cubics and a line in turn, no two alike.  The library's inputs
are flattened at 0.002 mm beforehand.  Both sides have run on a few outlines before they are timed,
and few outlines are timed several times over: the median counts.  FOAMWRIGHT_OUTLINES leaves out
counts above it.  Nothing asserts a time.
"""

from __future__ import annotations

import cmath
import math
import os
import random
import statistics
import time
import tracemalloc
from collections.abc import Callable, Sequence
from typing import TypeAlias, TypeVar

import numpy as np
import shapely

from foamwright.geometry.fit import fit_arcs, fit_many
from foamwright.geometry.offset import offset, offset_many
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic, Line, Segment

TOLERANCE, FLATTENED, DISTANCE = 0.006, 0.002, 0.1
SEGMENTS = 50
COUNTS = (100, 1_000, 10_000)
#: Outlines that a time is taken from at least, and those that both sides run on before.
TIMED, WARM = 1_000, 20
Clock: TypeAlias = Callable[[], float]
T = TypeVar("T")
#: Each column's group, name and unit.
HEAD = (
    ("", "outlines", ""),
    ("one by one", "fit", "us/segment"),
    ("", "offset", "us/segment"),
    ("", "buffer", "us/segment"),
    ("", "both", "x buffer"),
    ("one batch", "fit", "us/segment"),
    ("", "offset", "us/segment"),
    ("", "buffer", "us/segment"),
    ("", "both", "x buffer"),
    ("2 threads", "fit", "us/s. wall"),
    ("", "offset", "us/s. wall"),
    ("", "both", "x buffer"),
    ("memory", "batch", "kB/outline"),
)


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


def timed(work: Callable[[], T], rounds: int, clock: Clock = time.process_time) -> tuple[float, T]:
    """Median of seconds, and what was made; by the processor's time others' work doesn't count."""
    taken = []
    for _ in range(rounds):
        start = clock()
        made = work()
        taken.append(clock() - start)
    return statistics.median(taken), made


def memory(work: Callable[[], object]) -> float:
    """Most that the interpreter and numpy hold of work, its result included, in kB."""
    tracemalloc.start()
    work()
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most / 1000


def solids(outlines: Sequence[Path]) -> list[shapely.Polygon]:
    rings = [p.flatten(FLATTENED) for p in outlines]
    return [shapely.Polygon(np.column_stack([r.real, r.imag])) for r in rings]


def row(paths: Sequence[Path], rounds: int) -> list[float]:
    """In the order of HEAD, without the count."""
    each = 1e6 / (len(paths) * SEGMENTS)
    quarter = math.ceil(math.pi / 4 / math.acos(1 - FLATTENED / DISTANCE))
    fit, fitted = timed(lambda: [fit_arcs(p, TOLERANCE) for p in paths], rounds)
    arcs, _ = timed(lambda: [offset(p, DISTANCE, TOLERANCE) for p in fitted], rounds)
    polygons = solids(fitted)
    one, _ = timed(lambda: [s.buffer(DISTANCE, quad_segs=quarter) for s in polygons], rounds)
    told = [fit * each, arcs * each, one * each, (fit + arcs) / one]
    several = np.array(polygons)
    buffer, _ = timed(lambda: shapely.buffer(several, DISTANCE, quad_segs=quarter), rounds)
    fit, arcs = batches(paths, 1, rounds, time.process_time)
    told += [fit * each, arcs * each, buffer * each, (fit + arcs) / buffer]
    fit, arcs = batches(paths, 2, rounds, time.perf_counter)
    told += [fit * each, arcs * each, (fit + arcs) / buffer]
    return [*told, memory(lambda: batches(paths, 1, 1, time.process_time)) / len(paths)]


def batches(paths: Sequence[Path], threads: int, rounds: int, clock: Clock) -> tuple[float, float]:
    """Seconds for the fits of all paths, and for the parallels of all fits."""
    fit, fitted = timed(lambda: fit_many(paths, TOLERANCE, threads), rounds, clock)
    arcs, _ = timed(
        lambda: offset_many(fitted, DISTANCE, TOLERANCE, threads=threads), rounds, clock
    )
    return fit, arcs


def test_time_for_each_segment_stays_flat() -> None:
    most = int(os.environ.get("FOAMWRIGHT_OUTLINES", str(COUNTS[-1])))
    row([outline(k) for k in range(WARM)], 1)  # compiled, caches filled
    print()
    for line in zip(*HEAD, strict=True):
        print("".join(f"{h:>11}" for h in line))
    for count in COUNTS:
        if count <= most:
            told = row([outline(k) for k in range(count)], max(1, TIMED // count))
            print(f"{count:11}" + "".join(f"{v:11.1f}" for v in told), flush=True)
