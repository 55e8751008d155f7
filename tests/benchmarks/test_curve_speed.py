"""Fitting and offsetting many outlines against the polygon library's buffer alone, as ratios.

    python -m pytest tests/benchmarks/test_curve_speed.py -o addopts= -s

prints time per segment at 100, 1,000 and 10,000 outlines, memory held, and the ratios.  The shapes
are 50 segments each, four cubics and a line in turn, no two alike.  Beyond FOAMWRIGHT_OUTLINES
(1,000) fits are turned round instead of made anew, and their time is taken from so many.  The
library's inputs are flattened at 0.002 mm.  Nothing asserts a time.
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

from foamwright.geometry.affine import Affine
from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.offset import offset, offset_many
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
    """Of the processor: other programs' work doesn't count."""
    start = time.process_time()
    work()
    return time.process_time() - start


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
    most = int(os.environ.get("FOAMWRIGHT_OUTLINES", "1000"))
    head = ("outlines", "fit", "offset", "buffer", "batch", "offset", "both", "many", "held")
    units = (
        "",
        "us/segment",
        "us/segment",
        "us/segment",
        "us/segment",
        "x buffer",
        "x buffer",
        "x batch",
        "MB",
    )
    offset(fit_arcs(outline(0), TOLERANCE), DISTANCE, TOLERANCE)  # compiled before it is timed
    print("\n" + "".join(f"{h:>12}" for h in head) + "\n" + "".join(f"{u:>12}" for u in units))
    for count in COUNTS:
        paths = [outline(k) for k in range(min(count, most))]
        fitted: list[Path] = []
        fit = seconds(lambda p=paths, f=fitted: f.extend(fit_arcs(q, TOLERANCE) for q in p))
        turned = [
            q.transformed(Affine.rotation(360 * k / count))
            for k in range(count // len(fitted))
            for q in fitted
        ]
        arcs = seconds(lambda f=turned: [offset(q, DISTANCE, TOLERANCE) for q in f])
        many = seconds(lambda f=turned: offset_many(f, DISTANCE, TOLERANCE))
        one, batch = buffered(turned)
        each = 1e6 / (count * SEGMENTS)
        fit *= count / len(paths)
        ratios = (arcs / one, (fit + arcs) / one, many / batch)
        row = (fit * each, arcs * each, one * each, batch * each, *ratios)
        print(f"{count:12}" + "".join(f"{v:12.1f}" for v in row) + f"{held():12.0f}")
