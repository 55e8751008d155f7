"""The layout search in a child process, so that a panic or a cancel can't take the run with it.

`find` runs `search_child` as a program: a request as JSON on its standard input, and on its
standard output a line for each layout that is better than the one before.  The best line so far
stands when the budget ends, when nothing improves any more, or when someone stops the run.
"""

from __future__ import annotations

import json
import math
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, TypeAlias

from foamwright.stages.arrange.outline import Shape, alike, strip_points

#: Seconds beyond its budget for which the search may go on: its first layout may take them.
GRACE_S = 1.0
#: Seconds within which the first layout of a search must come, whatever the budget.
FIRST_S = 60.0

#: Index of a shape, its turn on the sheet in degrees, and where the strip's frame has it, x and y.
Placed: TypeAlias = tuple[int, float, float, float]


@dataclass(frozen=True, slots=True)
class Found:
    """A layout of all shapes: places, the strip's length in mm and how much of it is filled."""

    places: tuple[Placed, ...]
    length: float
    density: float


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
    than those before; gives False to have no more.  Rotations are about each shape's strip outline
    as `strip_points` gives it.  A KeyboardInterrupt ends the child and goes on to the caller.
    """
    kinds = alike(shapes)
    request = {
        "height": height,
        "separation": separation,
        "seconds": math.ceil(seconds),
        "seed": seed,
        "items": [_item([shapes[i] for i in kind]) for kind in kinds],
    }
    best: Found | None = None
    child = _start(request)
    lines, reader = _lines(child)
    try:
        end = time.monotonic() + seconds + GRACE_S
        latest = time.monotonic() + seconds + FIRST_S
        while True:
            left = (end if best else latest) - time.monotonic()
            try:
                line = lines.get(timeout=max(left, 0.0))
            except queue.Empty:
                return best
            if line is None:
                return best
            found = _read(line, shapes, kinds)
            if found is None:
                continue
            best = found
            if not better(found):
                return best
    finally:
        child.kill()
        child.wait()
        reader.join()
        if child.stdout is not None:
            child.stdout.close()


def _start(request: dict[str, Any]) -> subprocess.Popen[str]:
    child = subprocess.Popen(
        [sys.executable, "-P", str(Path(__file__).with_name("search_child.py"))],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,  # so that Ctrl-C in a terminal reaches this process alone
    )
    pipe = child.stdin
    if pipe is not None:
        try:
            pipe.write(json.dumps(request))
            pipe.close()
        except BrokenPipeError:
            pass  # it ended at once, which the missing answer tells
    return child


def _lines(child: subprocess.Popen[str]) -> tuple[queue.Queue[str | None], threading.Thread]:
    """The child's lines as they come, None at their end, and the thread that reads them."""
    lines: queue.Queue[str | None] = queue.Queue()

    def read(pipe: IO[str] | None) -> None:
        for line in pipe or ():
            lines.put(line)
        lines.put(None)

    reader = threading.Thread(target=read, args=(child.stdout,), daemon=True)
    reader.start()
    return lines, reader


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
