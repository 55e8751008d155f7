"""The child process of the layout search: a request as JSON on standard input, layouts on output.

One search with one seed.  Each feasible layout that is better than those before goes
out as a line of its own, so that the best is there whenever the search is stopped.  Only this
program imports the search library; a panic of it ends this process and no other.  Run by
`search.find`; not imported by anything.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import Any

import spyrrow

#: Seconds between two looks at what the search has found.
LOOK_S = 0.05
#: The part of the time that is spent on shrinking the strip after pieces were moved about in it.
SHRINKING = 0.2
#: Seconds, and the part of all of them, that are kept for what is left to do at the end.
LAST_S, LAST_PART = 0.5, 0.05
#: The part of the time that may go into putting layouts right while the search goes on, and the
#: seconds that it is thought to take before it was done once.
RIGHTING, RIGHTING_S = 0.1, 0.3
#: When the time is over but for this many times what putting right takes, it is done at once.
LAST_TIMES = 1.5
#: The reports of the library that hold a feasible layout.
FEASIBLE = (
    spyrrow.ReportType.ExplFeas,
    spyrrow.ReportType.CmprFeas,
    spyrrow.ReportType.Final,
)


def _run(request: dict[str, Any]) -> None:
    seconds = request["seconds"]
    shapes = [item["points"] for item in request["items"]]
    if seconds <= 0:
        for solution in _solutions(request, shapes, request["height"], request["separation"], 0.0):
            if solution is not None:
                _tell(solution.width, _laid(solution), request)
        return
    if sum(item["count"] for item in request["items"]) <= request["most_eased"]:
        _run({**request, "seconds": 0})
        if _eased(request, seconds):
            return
    best = float("inf")
    for solution in _solutions(request, shapes, request["height"], request["separation"], seconds):
        if solution is not None and solution.width < best:
            best = solution.width
            _tell(best, _laid(solution), request)


def _eased(request: dict[str, Any], seconds: float) -> bool:
    """Searches with eased pieces; False where that is not worth it."""
    from foamwright.stages.arrange.eased import Eased

    edge, began = request["separation"], time.monotonic()
    gap = max(0.0, edge - 2 * request["slack"])
    eased = Eased(request["items"], request["height"] - 2 * edge - request["slack"], gap)
    if not eased.is_worth:
        return False
    best, shortest, spent, lasts = float("inf"), float("inf"), 0.0, RIGHTING_S
    waiting: list[Any] = []  # the shortest last; where that can't be put right, the next may be

    def put_right(solution: Any) -> None:
        nonlocal best, spent, lasts
        start = time.monotonic()
        made = eased.put_right(_laid(solution))
        lasts = time.monotonic() - start
        spent += lasts
        if made is None:
            return
        waiting.clear()
        if made[0] < best:
            best = made[0]
            laid = [(item, turn, x + edge, y + edge) for item, turn, x, y in made[1]]
            _tell(best + 2 * edge, laid, request)

    shapes, left = eased.shapes(), seconds - (time.monotonic() - began)
    for solution in _solutions(request, shapes, eased.strip, gap, left):
        if solution is not None and solution.width < shortest:
            shortest = solution.width
            waiting.append(solution)
        gone = time.monotonic() - began
        is_time = spent + lasts <= RIGHTING * gone or gone >= seconds - LAST_TIMES * lasts
        if waiting and is_time:
            put_right(waiting.pop())
    while waiting and time.monotonic() - began <= seconds:
        put_right(waiting.pop())
    return True


def _solutions(
    request: dict[str, Any], shapes: Sequence[Any], height: float, gap: float, seconds: float
) -> Iterator[Any]:
    """The library's feasible layouts, the best of each look or None; ends with the search.

    A panic of the library ends the program.
    """
    items = [
        spyrrow.Item(str(i), [(x, y) for x, y in shape], item["count"], item["turns"])
        for i, (shape, item) in enumerate(zip(shapes, request["items"], strict=True))
    ]
    config = spyrrow.StripPackingConfig(
        early_termination=True,
        total_computation_time=0,
        min_items_separation=gap or None,
        num_workers=request["workers"],
        seed=request["seed"],
    )
    spent = max(0.0, seconds - min(LAST_S, LAST_PART * seconds))
    config.exploration_time = timedelta(seconds=(1 - SHRINKING) * spent)
    config.compression_time = timedelta(seconds=SHRINKING * spent)
    strip = spyrrow.StripPackingInstance("layout", height, items)
    queue, done = spyrrow.ProgressQueue(), threading.Event()
    sound: list[bool] = []

    def solve() -> None:
        try:
            strip.solve(config, queue)
            sound.append(True)
        finally:  # the library panics with no Exception
            done.set()

    threading.Thread(target=solve, daemon=True).start()
    ended = False
    while not ended:
        ended = done.wait(LOOK_S)
        feasible = [solution for kind, solution in queue.drain() if kind in FEASIBLE]
        yield min(feasible, key=lambda s: float(s.width), default=None)
    if not sound:
        raise SystemExit(1)


def _laid(solution: Any) -> list[tuple[int, float, float, float]]:
    return [
        (int(p.id), float(p.rotation), float(p.translation[0]), float(p.translation[1]))
        for p in solution.placed_items
    ]


def _tell(width: float, laid: Sequence[Any], request: dict[str, Any]) -> None:
    density = request["area"] / (width * request["height"])
    line = {"width": width, "density": density, "placed": laid}
    print(json.dumps(line), flush=True)


if __name__ == "__main__":
    _run(json.load(sys.stdin))
