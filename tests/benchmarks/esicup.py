"""Density on published strip instances against the best published and the bare search library.

    python -m tests.benchmarks.esicup --seconds 10 30 60 --seeds 5

prints one table a budget: the best published density, the median and best of our layouts, the
median of the library called by itself with the same seeds and seconds, and what an independent
check on the placed, exact outlines found.  FOAMWRIGHT_SHARED names the folder with the instances.
Searches are bounded by the clock, so figures hang on the machine and on what else it does.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path as File
from typing import Any

import shapely
import spyrrow

from foamwright.geometry.path import Path
from foamwright.model import Copy, Limits, Piece, Placement, Stock
from foamwright.stages.arrange import Asked, arrange

#: The strip's height that every instance is scaled to, mm: a roll of cloth.
ROLL_WIDTH = 1500.0
#: What an overlap or a breach of the clearance may come to in the check, mm.
CHECK_LIMIT = 0.01
#: Workers that the bare library is given: those of the product.
WORKERS = 2


@dataclass(frozen=True)
class Instance:
    """Copies for a roll, and the library's own items for a strip of the same size."""

    name: str
    copies: tuple[Copy, ...]
    items: tuple[dict[str, Any], ...]
    best: float | None

    @property
    def area(self) -> float:
        return sum(c.piece.outline.area for c in self.copies)


def instances(names: Sequence[str] = ()) -> Iterator[Instance]:
    folder = File(os.environ["FOAMWRIGHT_SHARED"]) / "bench" / "esicup"
    for file in sorted(folder.glob("*.json")):
        if not names or file.stem in names:
            yield instance(json.loads(file.read_text("utf-8")))


def instance(data: dict[str, Any]) -> Instance:
    """The strip runs along y here, so x and y change places."""
    k = ROLL_WIDTH / data["strip_height"]
    copies, items = [], []
    for kind in data["pieces"]:
        points = [(k * x, k * y) for x, y in kind["outline"]]
        outline = Path.polygon([complex(y, x) for x, y in points]).counter_clockwise()
        turns = tuple(float(-r % 360) for r in kind["rotations_deg"])
        items.append({**kind, "outline": points})
        copies += [
            Copy(
                f"{kind['id']}/drawn/{n}",
                kind["id"],
                Piece(kind["id"], outline),
                False,
                "cloth",
                "table",
                turns,
            )
            for n in range(1, kind["demand"] + 1)
        ]
    best = data.get("best_published_density_percent")
    return Instance(data["name"], tuple(copies), tuple(items), best)


def ours(made: Instance, seconds: int, seed: int, clearance: float = 0.0) -> tuple[float, str]:
    """The density in percent, and what the independent check found wrong."""
    stock = Stock("cloth", "roll", ROLL_WIDTH, 100 * made.area / ROLL_WIDTH)
    limits = Limits((ROLL_WIDTH, stock.length), "roll", (0, 0, 0, 0), clearance, 0.0)
    layout = arrange(made.copies, [stock], limits, Asked(seconds, seed))
    (sheet,) = layout.sheets
    used = max(p.piece.outline.bounds[3] for p in sheet.placements)
    wrong = [*(f.line() for f in layout.findings), *breaches(sheet.placements, clearance)]
    if sorted(p.copy.name for p in sheet.placements) != sorted(c.name for c in made.copies):
        wrong.append("not every copy is placed once")
    return 100 * made.area / (ROLL_WIDTH * used), "; ".join(wrong)


def breaches(placed: Sequence[Placement], clearance: float) -> Iterator[str]:
    """Overlaps, gaps that are too small and pieces off the roll, by shapely on exact corners."""
    shapes = []
    for p in placed:
        turned = [p.map(s.start) for s in p.copy.piece.outline.segments]
        shapes.append(shapely.Polygon([(q.real, q.imag) for q in turned]))
        x0, y0, x1, _ = shapes[-1].bounds
        if min(x0, y0, ROLL_WIDTH - x1) < -CHECK_LIMIT:
            yield f"{p.copy.name} lies off the roll"
    tree = shapely.STRtree(shapes)
    near = tree.query(shapes, predicate="dwithin", distance=clearance + CHECK_LIMIT)
    for i, j in near.T:
        if i < j:
            shrunk = shapes[i].buffer(-CHECK_LIMIT, join_style="mitre")
            gap = shapely.distance(shrunk, shapes[j])
            if shrunk.intersects(shapes[j]) or gap < clearance:
                yield f"{placed[i].copy.name} and {placed[j].copy.name} are too near"


def bare(made: Instance, seconds: int, seed: int) -> float:
    """The density that the library gives by itself, percent."""
    items = [
        spyrrow.Item(i["id"], i["outline"], i["demand"], i["rotations_deg"]) for i in made.items
    ]
    strip = spyrrow.StripPackingInstance(made.name, ROLL_WIDTH, items)
    config = spyrrow.StripPackingConfig(
        total_computation_time=seconds, num_workers=WORKERS, seed=seed
    )
    return 100 * float(strip.solve(config).density)


def table(chosen: Sequence[Instance], seconds: int, seeds: int, with_bare: bool) -> None:
    print(f"\n{seconds} s, {seeds} seeds; density in percent")
    print(
        f"{'instance':10} {'pieces':>6} {'published':>9} {'median':>7} {'best':>7}"
        f" {'bare':>7} {'less':>6}  check"
    )
    short = []
    for made in chosen:
        runs = [ours(made, seconds, seed) for seed in range(1, seeds + 1)]
        densities = [d for d, _ in runs]
        wrong = "; ".join(dict.fromkeys(w for _, w in runs if w))
        middle = statistics.median(densities)
        library = (
            statistics.median(bare(made, seconds, s) for s in range(1, seeds + 1))
            if with_bare
            else None
        )
        if made.best is not None:
            short.append(made.best - middle)
        published = "" if made.best is None else f"{made.best:.2f}"
        alone = "" if library is None else f"{library:.2f}"
        less = "" if library is None else f"{middle - library:+.2f}"
        print(
            f"{made.name:10} {len(made.copies):6} {published:>9} {middle:7.2f}"
            f" {max(densities):7.2f} {alone:>7} {less:>6}  {wrong or 'kept'}",
            flush=True,
        )
    if short:
        print(
            f"mean shortfall from the best published of {len(short)}: "
            f"{statistics.mean(short):.2f} points"
        )


def main() -> None:
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--seconds", type=int, nargs="+", default=[10])
    words.add_argument("--seeds", type=int, default=1)
    words.add_argument("--only", nargs="+", default=[])
    words.add_argument("--no-bare", action="store_true", help="leave the bare library out")
    said = words.parse_args()
    chosen = list(instances(said.only))
    for seconds in said.seconds:
        table(chosen, seconds, said.seeds, not said.no_bare)


if __name__ == "__main__":
    main()
