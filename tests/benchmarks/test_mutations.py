"""Faults planted in written files, kind by kind and size by size: how many the proof catches.

    python -m pytest tests/benchmarks/test_mutations.py -o addopts= -s

prints the table.  Planted are only faults that move an edge by more than `planted_jobs.ABOVE`, as
`planting` measures it, and those that the record's contours alone can tell.  Both files are
rewritten alike, every hash is made to fit, and all must be caught.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.jobs import PAIRS
from tests.planted_jobs import above_the_limit, codes_of, cut_plates
from tests.planted_kinds import planted

#: Vertices of each path that are moved, four ways each.
PLACES = {"laser": 4, "drag-knife": 3, "oscillating-knife": 2}


@pytest.mark.parametrize("method", PAIRS)
def test_every_planted_fault_is_caught(method: str, tmp_path: Path) -> None:
    folder = cut_plates(method, tmp_path, 2)
    rows: dict[tuple[str, str], list[int]] = {}
    by: dict[tuple[str, str], set[str]] = {}
    missed = []
    for case in planted(folder.good, folder.drawn, PLACES[method]):
        row = rows.setdefault((case.kind, case.size), [0, 0, 0])
        row[0] += 1
        if not any(above_the_limit(folder, [case])):
            continue
        row[1] += 1
        codes = codes_of(folder, case)
        by.setdefault((case.kind, case.size), set()).update(codes)
        row[2] += bool(codes)
        if not codes:
            missed.append(f"{case.kind} {case.size}, {case.where}")
    print(f"\n{method}\n{'kind':26}{'size':>9}{'tried':>7}{'planted':>9}{'caught':>8}  by")
    for (kind, size), (tried, above, caught) in rows.items():
        told = " ".join(sorted(by.get((kind, size), set())))
        print(f"{kind:26}{size:>9}{tried:7}{above:9}{caught:8}  {told}")
    assert missed == []
