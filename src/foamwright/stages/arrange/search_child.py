"""The child process of the layout search: a request as JSON on standard input, places on output.

Only this program imports the search library; a panic of it ends this process and no other.
Run by `search.find`; not imported by anything.
"""

from __future__ import annotations

import json
import sys
from typing import Any

import spyrrow

#: Workers of the search: part of what decides a layout, so it doesn't follow the machine.
WORKERS = 2


def _solve(request: dict[str, Any]) -> list[tuple[int, float, float, float]]:
    items = [
        spyrrow.Item(
            str(i),
            [(x, y) for x, y in item["points"]],
            demand=1,
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
    solution = instance.solve(config)
    return [
        (int(p.id), float(p.rotation), float(p.translation[0]), float(p.translation[1]))
        for p in solution.placed_items
    ]


if __name__ == "__main__":
    json.dump(_solve(json.load(sys.stdin)), sys.stdout)
