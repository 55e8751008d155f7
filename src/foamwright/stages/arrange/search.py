"""The layout search in a child process, so that a panic or a cancel can't take the run with it.

`find` runs `search_child` as a program: a request as JSON on its standard input, the answer on its
standard output.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence

from foamwright.stages.arrange.outline import Shape, strip_points

#: Seconds beyond its budget after which the child is given up (it overruns by half and more).
PATIENCE_S = 60.0

#: Index of a shape, its turn on the sheet in degrees, and where the strip's frame has it, x and y.
Placed = tuple[int, float, float, float]


def find(
    shapes: Sequence[Shape], height: float, separation: float, seconds: int, seed: int
) -> tuple[Placed, ...] | None:
    """Places for all shapes on a strip of this height, or None where the search failed.

    Rotations are about each shape's strip outline as `strip_points` gives it.
    """
    request = {
        "height": height,
        "separation": separation,
        "seconds": seconds,
        "seed": seed,
        "items": [
            {"points": strip_points(s.points), "turns": [-r for r in s.rotations]} for s in shapes
        ],
    }
    try:
        run = subprocess.run(
            [sys.executable, "-m", "foamwright.stages.arrange.search_child"],
            input=json.dumps(request),
            capture_output=True,
            text=True,
            timeout=2 * seconds + PATIENCE_S,
            check=False,
        )
        answer = json.loads(run.stdout) if run.returncode == 0 else None
    except (subprocess.TimeoutExpired, ValueError):
        return None
    if not isinstance(answer, list) or {a[0] for a in answer} != set(range(len(shapes))):
        return None
    return tuple(
        (int(i), _nearest(-turn, shapes[int(i)].rotations), float(x), float(y))
        for i, turn, x, y in answer
    )


def _nearest(turn: float, allowed: Sequence[float]) -> float:
    """The allowed turn that the library meant: it gives -180 and 89.99999 back."""
    return min(allowed, key=lambda r: abs((r - turn + 180) % 360 - 180))
