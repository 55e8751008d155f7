"""The child process of the layout search: a request as JSON on standard input, layouts on output.

Each feasible layout that is better than those before goes out as a line of its own, so that the
best is there whenever the search is stopped.  Only this program imports the search library; a panic
of it ends this process and no other.  Run by `search.find`; not imported by anything.
"""

from __future__ import annotations

import json
import sys
import threading
from typing import Any

import spyrrow

#: Workers of the search: part of what decides a layout, so it doesn't follow the machine.
WORKERS = 2
#: Seconds between two looks at what the search has found.
LOOK_S = 0.05
#: The reports of the library that hold a feasible layout.
FEASIBLE = (
    spyrrow.ReportType.ExplFeas,
    spyrrow.ReportType.CmprFeas,
    spyrrow.ReportType.Final,
)


def _search(request: dict[str, Any]) -> None:
    items = [
        spyrrow.Item(
            str(i),
            [(x, y) for x, y in item["points"]],
            demand=item["count"],
            allowed_orientations=item["turns"],
        )
        for i, item in enumerate(request["items"])
    ]
    instance = spyrrow.StripPackingInstance("layout", request["height"], items)
    config = spyrrow.StripPackingConfig(
        early_termination=True,
        total_computation_time=request["seconds"],
        min_items_separation=request["separation"] or None,
        num_workers=WORKERS,
        seed=request["seed"],
    )
    queue = spyrrow.ProgressQueue()
    done = threading.Event()
    failed: list[BaseException] = []

    def solve() -> None:
        try:
            instance.solve(config, queue)
        except BaseException as why:  # the library panics with no Exception
            failed.append(why)
        done.set()

    threading.Thread(target=solve, daemon=True).start()
    best = float("inf")
    while True:
        last = done.wait(LOOK_S)
        for kind, solution in queue.drain():
            if kind in FEASIBLE and solution.width < best:
                best = solution.width
                _tell(solution)
        if last:
            break
    print(json.dumps({"done": not failed}), flush=True)


def _tell(solution: Any) -> None:
    placed = [
        (int(p.id), float(p.rotation), float(p.translation[0]), float(p.translation[1]))
        for p in solution.placed_items
    ]
    line = {"width": solution.width, "density": solution.density, "placed": placed}
    print(json.dumps(line), flush=True)


if __name__ == "__main__":
    _search(json.load(sys.stdin))
