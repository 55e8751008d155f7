"""The layout search in child processes, so that a panic or a cancel can't take the run with it.

`find` runs `search_child` as a program, a number of them at a time, each with a seed of its own: a
request as JSON on its standard input, and on its standard output a line for each layout that is
better than its last.  A search that ends is followed by one with another seed.  The best line
stands when the budget ends, when searches bring nothing any more, or when someone stops the run.

What was tried, on eight published instances scaled to 1500 mm, one to two seeds each, so that half
a point is within the spread (density in points, same seconds of a core):

- one search with two workers, against two with one: 10 s on two cores gave dighe1 89.1 and 83.3,
  blaz 82.2 and 81.4, mao 83.1 and 82.3, albano 87.1 and 86.9, marques 88.7 and 88.9
- 30 s instead of 10 s for one search with one worker of 20 to 99 pieces: 0.2 to 1.4 more, while
  seeds differ by 1 to 2: hence searches that follow each other
- three searches one after another, or one as long, 30 s on two cores: mao and blaz the same,
  albano 87.2 and 87.5, marques 88.7 and 90.7: hence none is short
- 1.5 s instead of 0.8 s a piece for one search, 30 s on a core that was not quite free, medians of
  five seeds: dighe1 89.7 and 92.3, mao 82.2 and 83.3, so no gain
- lines that hinder moves across the strip sooner than along it, in `tighten`: no difference
- the library's end by itself on or off: no clear difference (0.7 at most); in 30 s it never came
- other depths of its tree: 3, 5 and 6 reached no more in 6 s than 4 but for one (swim, 3)
- pieces pushed together afterwards (`tighten`): 0.03 to 1.3, about 0.4 in the mean
- against the library by itself, one core, medians of five seeds, eighteen instances: all no lower
  than its less 0.3 but albano (0.9) and mao (0.4) at 10 s, poly3b (0.9) and dighe1 (6.9) at 30 s;
  dighe1 is a jigsaw, which a search puts together or not: its seeds differ by 12
- pieces inset by a hair before that (`eased`), of 0.2, 0.4, 0.8, 1.5 and 4 mm: 0.4 mm gave 0.65
  more than none in the mean of seven (10 s, two seeds), 0.2 and 0.8 less; from 1.5 mm on many
  layouts can't be put right
"""

from __future__ import annotations

import json
import queue
import random
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, TypeAlias

from foamwright.stages.arrange.eased import MOST_PIECES
from foamwright.stages.arrange.outline import Shape, alike, strip_points

#: The program that searches.
CHILD = Path(__file__).with_name("search_child.py")
#: Searches at a time, and workers of each: part of what decides a layout, so neither follows the
#: machine.
PROCESSES, WORKERS = 1, 2
#: An exact fit fails in the library without this much slack, as a part of the strip's height.
FIT_SLACK = 1e-4
#: Seconds beyond its budget for which the search may go on: its first layout may take them.
GRACE_S = 1.0
#: Seconds within which the first layout of a search must come, whatever the budget.
FIRST_S = 60.0
#: Seconds for one search, for each piece and at least: then another seed brings more.
SEARCH_S_A_PIECE, SEARCH_S = 0.8, 10.0
#: How much longer the next search is where one brought nothing.
LONGER = 1.5
#: Seconds of the budget for which another search isn't begun.
TOO_SHORT_S = 1.0
#: Searches in a row that bring nothing: then it ends before its budget.
FRUITLESS = 6
#: Index of a shape, its turn on the sheet in degrees, and where the strip's frame has it, x and y.
Placed: TypeAlias = tuple[int, float, float, float]


@dataclass(frozen=True, slots=True)
class Found:
    """A layout of all shapes: places, the strip's length in mm and how much of it is filled."""

    places: tuple[Placed, ...]
    length: float
    density: float


def strip_for(across: float, clearance: float, miss: float) -> tuple[float, float]:
    """The strip's height and the separation for a window, mm. miss: of the search's polygons."""
    slack = FIT_SLACK * across
    separation = clearance + 2 * miss + 2 * slack
    return across + 2 * separation + slack, separation


def find(
    shapes: Sequence[Shape],
    height: float,
    separation: float,
    seconds: float,
    seed: int,
    better: Callable[[Found], bool] = lambda _: True,
) -> Found | None:
    """The best places found for all shapes on a strip of this height; None where there is none.

    seconds: 0 gives the first layout that there is.  better: told of each layout that is better
    than those before; gives False to have no more.  height, separation: as `strip_for` gives them;
    the slack in them is the library's alone, and layouts may be pushed together by it.
    Rotations are about each shape's strip outline as `strip_points` gives it.  A KeyboardInterrupt
    ends the children and goes on to the caller.
    """
    kinds = alike(shapes)
    request = {
        "height": height,
        "separation": separation,
        "slack": FIT_SLACK * (height - 2 * separation) / (1 + FIT_SLACK),
        "area": sum(s.area for s in shapes),
        "most_eased": MOST_PIECES,
        "workers": WORKERS,
        "items": [_item([shapes[i] for i in kind]) for kind in kinds],
    }
    crew = _Crew(request, len(shapes), seconds, seed)
    best: Found | None = None
    try:
        crew.begin()
        while (said := crew.next(best is not None)) is not None:
            found = _read(said.line or "", shapes, kinds)
            if found is None or (best is not None and found.length >= best.length):
                continue
            best = found
            crew.bettered(said.worker)
            if not better(found):
                break
    finally:
        crew.end()
    return best


@dataclass(eq=False)
class _Worker:
    """A child at its search. bettered: whether it bettered the best of all."""

    child: subprocess.Popen[str]
    reader: threading.Thread | None = None
    bettered: bool = False

    def end(self) -> None:
        self.child.kill()
        self.child.wait()
        if self.reader is not None:
            self.reader.join()
        if self.child.stdout is not None:
            self.child.stdout.close()


@dataclass(frozen=True, slots=True)
class _Said:
    """A line of a worker; None: it has ended."""

    worker: _Worker
    line: str | None


@dataclass(eq=False)
class _Crew:
    """The children at work, each followed by another while there is time and use."""

    request: dict[str, Any]
    pieces: int
    seconds: float
    seed: int
    said: queue.Queue[_Said] = field(default_factory=queue.Queue)
    workers: list[_Worker] = field(default_factory=list)
    begun: int = 0
    fruitless: int = 0

    ends: float = 0.0

    def begin(self) -> None:
        self.ends = time.monotonic() + self.seconds
        for _ in range(PROCESSES if self.seconds > 0 else 1):
            self._begin()

    def next(self, is_there: bool) -> _Said | None:
        """The next line of any worker; None once there is no more to wait for.

        is_there: whether there is a layout yet; until then the first one is waited for.
        """
        latest = self.ends + (GRACE_S if is_there else FIRST_S)
        while self.workers:
            try:
                said = self.said.get(timeout=max(latest - time.monotonic(), 0.0))
            except queue.Empty:
                return None
            if said.line is not None:
                return said
            self._ended(said.worker)
        return None

    def bettered(self, worker: _Worker) -> None:
        worker.bettered = True
        self.fruitless = 0

    def end(self) -> None:
        for worker in self.workers:
            worker.end()

    def _ended(self, worker: _Worker) -> None:
        worker.end()
        self.workers.remove(worker)
        if not worker.bettered:
            self.fruitless += 1
        if self.fruitless < FRUITLESS and self.ends - time.monotonic() >= TOO_SHORT_S:
            self._begin()

    def _begin(self) -> None:
        """A search for a share of the time that is left, by a seed that no other has."""
        left = max(0.0, self.ends - time.monotonic())
        share = max(SEARCH_S, SEARCH_S_A_PIECE * self.pieces) * LONGER**self.fruitless
        seed = random.Random(f"{self.seed}/{self.begun}").getrandbits(32)
        child = _start(
            {**self.request, "seconds": left / max(1, round(left / share)), "seed": seed}
        )
        worker = _Worker(child)
        worker.reader = _reader(worker, self.said)
        self.workers.append(worker)
        self.begun += 1


def _start(request: dict[str, Any]) -> subprocess.Popen[str]:
    asked = json.dumps(request)
    child = subprocess.Popen(
        [sys.executable, "-P", str(CHILD)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,  # so that Ctrl-C in a terminal reaches this process alone
    )
    if child.stdin is not None:
        with suppress(BrokenPipeError), child.stdin as pipe:
            pipe.write(asked)  # where it ended at once, the missing answer tells
    return child


def _reader(worker: _Worker, said: queue.Queue[_Said]) -> threading.Thread:
    """The thread that passes a worker's lines on as they come, None at their end."""

    def read(pipe: IO[str] | None) -> None:
        for line in pipe or ():
            said.put(_Said(worker, line))
        said.put(_Said(worker, None))

    reader = threading.Thread(target=read, args=(worker.child.stdout,), daemon=True)
    reader.start()
    return reader


def _item(kind: Sequence[Shape]) -> dict[str, Any]:
    first = kind[0]
    turns = None if first.copy.free else [-r for r in first.rotations]
    return {"points": strip_points(first.points), "turns": turns, "count": len(kind)}


def _read(line: str, shapes: Sequence[Shape], kinds: Sequence[Sequence[int]]) -> Found | None:
    """A line of the child as a layout; None where it holds no whole one."""
    try:
        told = json.loads(line)
        rest = [list(kind) for kind in kinds]
        places = []
        for item, turn, x, y in told["placed"]:
            i = rest[int(item)].pop(0)
            places.append((i, _turn(-turn, shapes[i]), float(x), float(y)))
        if any(rest):
            return None
        return Found(tuple(places), float(told["width"]), float(told["density"]))
    except (ValueError, KeyError, TypeError, IndexError):
        return None


def _turn(turn: float, shape: Shape) -> float:
    """The allowed turn that the library meant: it gives -180 and 89.99999 back."""
    if shape.copy.free:
        return turn % 360
    return min(shape.rotations, key=lambda r: abs((r - turn + 180) % 360 - 180))
