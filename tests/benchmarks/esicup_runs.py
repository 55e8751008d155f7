"""Runs of the strip benchmark as lines of a file, and the tables made of them.

A run is one search of one instance by one side: "ours" or the bare library, "bare".  A file of runs
has one JSON object a line and only grows, so a measurement may be spread over hours and machines.
Nothing is searched here: that is `esicup`.
"""

from __future__ import annotations

import json
import statistics
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TypeAlias

#: The two sides.
OURS, BARE = "ours", "bare"
#: Points of density that our median may lie below the bare library's.
MAY_LESS = 0.3

#: Instance, seconds, seed, side and workers: what a run is told apart by.
Cell: TypeAlias = tuple[str, int, int, str, int]


@dataclass(frozen=True, slots=True)
class Run:
    """density: percent of the strip.  check: what was found wrong, "" where nothing.

    workers: searches at a time of ours, threads of the library's.  date: ISO 8601, of the end.
    """

    instance: str
    seconds: int
    seed: int
    who: str
    workers: int
    density: float
    check: str
    date: str

    @property
    def cell(self) -> Cell:
        return (self.instance, self.seconds, self.seed, self.who, self.workers)


def kept(file: Path) -> list[Run]:
    """The runs of a file, the last of each cell; none where there is no file.

    A last line that was cut short by a killed run is left out; any other bad line is a ValueError
    or a TypeError.
    """
    lines = file.read_text("utf-8").split("\n") if file.exists() else [""]
    *whole, _ = lines
    return list({r.cell: r for r in (Run(**json.loads(line)) for line in whole if line)}.values())


def keep(run: Run, file: Path) -> None:
    """Appends the run, on a line of its own even where the line before was cut short."""
    text = file.read_text("utf-8") if file.exists() else ""
    if text and not text.endswith("\n"):
        file.write_text(text[: text.rfind("\n") + 1], "utf-8")
    with file.open("a", encoding="utf-8") as lines:
        lines.write(json.dumps(asdict(run)) + "\n")


def tables(
    runs: Sequence[Run],
    published: Mapping[str, float | None],
    pieces: Mapping[str, int],
    seeds: int = 0,
    sides: Sequence[str] = (OURS, BARE),
) -> Iterator[str]:
    """The lines of one table for each budget and number of workers.

    published: the best density of each instance, None where there is none.  seeds: how many each
    cell should have, 0: those that any run of the table has.
    """
    for seconds, workers in sorted({(r.seconds, r.workers) for r in runs}):
        there = [r for r in runs if (r.seconds, r.workers) == (seconds, workers) and r.who in sides]
        wanted = range(1, seeds + 1) if seeds else sorted({r.seed for r in there})
        yield ""
        yield f"{seconds} s, {workers} workers, seeds {' '.join(map(str, wanted))}; percent"
        yield (
            f"{'instance':10} {'pieces':>6} {'published':>9} {'median':>7} {'best':>7}"
            f" {'bare':>7} {'less':>6}  check"
        )
        for name, best in published.items():
            yield _row(name, pieces[name], best, [r for r in there if r.instance == name])
        yield from _summary(there, published)
        yield from _missing(there, published, wanted, sides)


def _row(name: str, pieces: int, best: float | None, runs: Sequence[Run]) -> str:
    ours, bare = _median(runs, OURS), _median(runs, BARE)
    top = max((r.density for r in runs if r.who == OURS), default=None)
    less = None if ours is None or bare is None else ours - bare
    wrong = "; ".join(dict.fromkeys(r.check for r in runs if r.check))
    return (
        f"{name:10} {pieces:6} {_shown(best):>9} {_shown(ours):>7} {_shown(top):>7}"
        f" {_shown(bare):>7} {_shown(less, '+'):>6}  {wrong or ('kept' if ours else '')}"
    ).rstrip()


def _summary(runs: Sequence[Run], published: Mapping[str, float | None]) -> Iterator[str]:
    """The mean shortfall of each side, and where ours is lower than it may be."""
    for who in (OURS, BARE):
        short = [
            best - middle
            for name, best in published.items()
            if best is not None and (middle := _median(_of(runs, name), who)) is not None
        ]
        if short:
            of = f"of {len(short)}: {statistics.mean(short):.2f} points"
            yield f"{who}: mean shortfall from the best published {of}"
    both = {n: (_median(_of(runs, n), OURS), _median(_of(runs, n), BARE)) for n in published}
    less = {n: o - b for n, (o, b) in both.items() if o is not None and b is not None}
    if less:
        low = [f"{n} {by:+.2f}" for n, by in less.items() if by < -MAY_LESS]
        yield f"medians below the bare library's less {MAY_LESS}: {', '.join(low) or 'none'}"


def _missing(
    runs: Sequence[Run], names: Iterable[str], seeds: Iterable[int], sides: Sequence[str]
) -> Iterator[str]:
    there = {(r.instance, r.seed, r.who) for r in runs}
    for who in sides:
        lacks = {n: [str(s) for s in seeds if (n, s, who) not in there] for n in names}
        cells = [f"{n} {' '.join(lack)}" for n, lack in lacks.items() if lack]
        if cells:
            yield f"missing of {who} (instance, seeds): {'; '.join(cells)}"


def _of(runs: Sequence[Run], name: str) -> list[Run]:
    return [r for r in runs if r.instance == name]


def _median(runs: Sequence[Run], who: str) -> float | None:
    found = [r.density for r in runs if r.who == who]
    return statistics.median(found) if found else None


def _shown(value: float | None, sign: str = "") -> str:
    return "" if value is None else f"{value:{sign}.2f}"
