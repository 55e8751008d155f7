"""Density on published strip instances against the best published and the bare search library.

    python -m tests.benchmarks.esicup --seconds 10 30 60 --seeds 5

prints one table a budget: the best published density, the median and best of our layouts, the
median of the library called by itself with the same seeds and seconds, and what an independent
check on the placed, exact outlines found.  FOAMWRIGHT_SHARED names the folder with the instances.
Searches are bounded by the clock, so figures hang on the machine and on what else it does.

With `--keep FILE` each run is a line of that file, and what is there isn't run again; `--show FILE`
prints the tables of a file and runs nothing.  `--no-bare` and `--bare-only` run one side.
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import product
from pathlib import Path as File
from typing import Any

import shapely
import spyrrow

from foamwright.geometry.path import Path
from foamwright.model import Copy, Limits, Piece, Placement, Stock
from foamwright.stages.arrange import Asked, arrange
from tests.benchmarks.esicup_runs import BARE, OURS, Run, keep, kept, tables

#: The strip's height that every instance is scaled to, mm: a roll of cloth.
ROLL_WIDTH = 1500.0
#: What an overlap or a breach of the clearance may come to in the check, mm.
CHECK_LIMIT = 0.01
#: Workers of the product's search, which the bare library is given too.
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
    # a layout that gave way to the next best is told (L416): what is judged is what was laid
    told = [f.line() for f in layout.findings if f.code != "L416"]
    wrong = [*told, *breaches(sheet.placements, clearance)]
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


def measured(made: Instance, seconds: int, seed: int, who: str) -> Run:
    """One run of one side."""
    if who == OURS:
        density, wrong = ours(made, seconds, seed)
    else:
        density, wrong = bare(made, seconds, seed), ""
    date = datetime.now(UTC).isoformat(timespec="seconds")
    return Run(made.name, seconds, seed, who, WORKERS, round(density, 4), wrong, date)


def run_all(
    chosen: Sequence[Instance],
    budgets: Sequence[int],
    seeds: Sequence[int],
    sides: Sequence[str],
    file: File | None,
) -> list[Run]:
    """Every run that is asked for, those of the file as they stand there; told as they end."""
    there = {r.cell: r for r in kept(file)} if file is not None else {}
    runs = []
    for seconds, seed, made, who in product(budgets, seeds, chosen, sides):
        run = there.get((made.name, seconds, seed, who, WORKERS))
        if run is None:
            run = measured(made, seconds, seed, who)
            if file is not None:
                keep(run, file)
            told = f"{run.density:.2f} {run.check}".rstrip()
            print(f"{made.name} {seconds} s, seed {seed}, {who}: {told}", flush=True)
        runs.append(run)
    return runs


def main() -> None:
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--seconds", type=int, nargs="+", default=[10])
    words.add_argument("--seeds", type=int, default=0, help="this many, from 1 on")
    words.add_argument("--only", nargs="+", default=[], help="these instances")
    side = words.add_mutually_exclusive_group()
    side.add_argument("--no-bare", action="store_true", help="leave the bare library out")
    side.add_argument("--bare-only", action="store_true", help="run the bare library alone")
    file = words.add_mutually_exclusive_group()
    file.add_argument("--keep", type=File, help="append runs to this file, skip those it has")
    file.add_argument("--show", type=File, help="print the tables of this file, run nothing")
    said = words.parse_args()
    chosen = list(instances(said.only))
    sides = [BARE] if said.bare_only else [OURS] if said.no_bare else [OURS, BARE]
    if said.show is not None:
        runs = kept(said.show)
    else:
        seeds = range(1, max(said.seeds, 1) + 1)
        runs = run_all(chosen, said.seconds, seeds, sides, said.keep)
    published = {made.name: made.best for made in chosen}
    pieces = {made.name: len(made.copies) for made in chosen}
    print(*tables(runs, published, pieces, said.seeds, sides), sep="\n")


if __name__ == "__main__":
    main()
