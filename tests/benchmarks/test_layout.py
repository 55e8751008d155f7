"""Layouts: how they grow from 1 to 1,000 pieces, and the examples against boxes on shelves.

    python -m pytest tests/benchmarks/test_layout.py -o addopts= -s

prints the figures; published instances are in `esicup.py`.  Nothing here asserts a wall-clock time.
"""

from __future__ import annotations

import cmath
import math
import random
import resource
import time
from collections.abc import Sequence
from pathlib import Path as File

from foamwright import pipeline
from foamwright.asked import Request
from foamwright.geometry.path import Path
from foamwright.model import Copy, Limits, Sheet, Stock
from foamwright.report_layout import used_length
from foamwright.stages.arrange import Asked, Progress, arrange
from foamwright.stages.arrange.outline import Shape
from foamwright.stages.arrange.rows import place_in_rows
from foamwright.stages.arrange.window import Window, window_of
from tests.pieces import piece

COUNTS = (1, 10, 50, 100, 300, 1000)
#: Seconds of search for each layout.
SECONDS = 5
CLEARANCE = 3.0
LIMITS = Limits((1500, 1e6), "roll", (5, 5, 5, 5), CLEARANCE, 1.0)
#: The most memory that a layout may take, MB.
MOST_MEMORY = 1000
EXAMPLES = File(__file__).parents[2] / "examples"


def blobs(count: int) -> list[Copy]:
    """Outlines of 5 to 14 corners, every one another, 50 to 140 mm wide."""
    chance = random.Random(count)
    made = []
    for n in range(count):
        corners, radius = chance.randint(5, 14), chance.uniform(25, 70)
        ring = [
            cmath.rect(radius * chance.uniform(0.5, 1), 2 * math.pi * k / corners)
            for k in range(corners)
        ]
        outline = piece(f"b{n}", Path.polygon(ring))
        turns = (0.0, 90.0, 180.0, 270.0)
        made.append(Copy(f"b{n}/drawn/1", f"b{n}", outline, False, "foam", "table", turns))
    return made


def shelved(copies: list[Copy], windows: list[Window], clearance: float) -> list[Sheet]:
    """Sheets of plain shelf packing of boxes, each window as far as it bears them and is there."""
    waiting, made = list(copies), []
    for window in windows:
        for _ in range(window.count or len(copies)):
            shapes = [
                Shape(c, turns)
                for c in waiting
                if (turns := tuple(r for r in c.rotations if window.bears(c, r)))
            ]
            placed = place_in_rows(shapes, window, clearance)
            if not placed:
                break
            names = {p.copy.name for p in placed}
            waiting = [c for c in waiting if c.name not in names]
            far = max(p.piece.outline.bounds[3] for p in placed)
            beyond = window.length - window.far  # as a laid roll is cut off
            length = math.ceil(far + beyond) if window.fed else window.length
            made.append(Sheet(0, window.stock, "", window.width, length, placed))
    assert not waiting
    return made


def cheapest_shelves(copies: list[Copy], windows: list[Window], clearance: float) -> list[Sheet]:
    """The best shelves of those that begin with one of the stocks: least price, then least area."""
    ways = [[w, *(v for v in windows if v is not w)] for w in windows]
    return min((shelved(copies, way, clearance) for way in ways), key=cost_and_area)


def cost_and_area(sheets: Sequence[Sheet]) -> tuple[float, float]:
    return sum(s.price or 0.0 for s in sheets), sum(s.area for s in sheets)


def used_area(sheets: Sequence[Sheet]) -> float:
    """mm2 of stock: rolls by the length that pieces reach along, sheets whole."""
    return sum(s.width * used_length(s) if s.stock.kind == "roll" else s.area for s in sheets)


class Watch:
    """When each better layout was told of, in seconds from its making."""

    def __init__(self) -> None:
        self.began = time.perf_counter()
        self.told: list[tuple[float, Progress]] = []

    def __call__(self, progress: Progress) -> None:
        self.told.append((time.perf_counter() - self.began, progress))


def test_growth_from_one_piece_to_a_thousand() -> None:
    print(f"\n{SECONDS} s of search; density of the length used, percent")
    print(f"{'pieces':>6} {'first s':>8} {'first':>6} {'then':>6} {'boxes':>6} {'all s':>6}")
    for count in COUNTS:
        copies = blobs(count)
        stock = Stock("foam", "roll", 1500, 30_000)
        watch = Watch()
        asked = Asked(SECONDS, 1, tell=watch)
        layout = arrange(copies, [stock], LIMITS, asked)
        spent = time.perf_counter() - watch.began
        assert not [f for f in layout.findings if f.is_fault or f.code == "L402"]
        area = sum(c.piece.outline.area for c in copies)
        used = sum(max(p.piece.outline.bounds[3] for p in s.placements) for s in layout.sheets)
        boxes = area / used_area(shelved(copies, [window_of(stock, LIMITS)], CLEARANCE))
        first = watch.told[0]
        print(
            f"{count:6} {first[0]:8.2f} {100 * first[1].density:6.1f}"
            f" {100 * area / (1500 * used):6.1f} {100 * boxes:6.1f} {spent:6.1f}",
            flush=True,
        )
        assert area / (1500 * used) >= boxes - 1e-9
    peak = max(
        resource.getrusage(who).ru_maxrss
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    print(f"most memory of this process or a child: {peak / 1024:.0f} MB")
    assert peak / 1024 < MOST_MEMORY


def test_the_examples_against_boxes_on_shelves() -> None:
    """Stock used, its price and its filling, beside those of plain shelf packing of boxes."""
    print(f"\n{'':10} {'':20} {'stock m2':>13} {'price':>13} {'filled %':>13} {'less':>6}")
    print(f"{'example':10} {'material':20} {'layout boxes':>13} {'layout boxes':>13}", end="")
    print(f" {'layout boxes':>13} {'stock':>6}")
    for file in sorted(EXAMPLES.glob("*/job.toml")):
        plan = pipeline.plan(Request.of(file, layout_time=SECONDS, fresh_layout=True))
        for pair, layout in plan.layouts.items():
            bench = plan.benches[pair]
            copies = [p.copy for s in layout.sheets for p in s.placements]
            windows = [window_of(s, bench.limits) for s in bench.stocks]
            boxes = cheapest_shelves(copies, windows, bench.limits.clearance)
            ours, theirs = used_area(layout.sheets), used_area(boxes)
            money = [cost_and_area(sheets)[0] for sheets in (layout.sheets, boxes)]
            covered = sum(s.density * s.area for s in layout.sheets)
            print(
                f"{file.parent.name:10} {pair[0]:20} {ours / 1e6:6.3f} {theirs / 1e6:6.3f}"
                f" {money[0]:6.2f} {money[1]:6.2f} {100 * covered / ours:6.1f}"
                f" {100 * covered / theirs:6.1f} {1 - ours / theirs:6.1%}",
                flush=True,
            )
            assert money[0] <= money[1] * (1 + 1e-4)
            assert money[0] < money[1] or ours <= theirs * (1 + 1e-4)
