"""Faults planted in written files, kind by kind and size by size: how many the proof catches.

    python -m pytest tests/benchmarks/test_mutations.py -o addopts= -s

prints the table.  Planted are only faults that move an edge by more than `planted_jobs.ABOVE`, as
`planting` measures it, and those that the record's contours alone can tell.  Both files are
rewritten alike, then each alone; every hash is made to fit, and all must be caught: what moves an
edge by what is told of edges, not by the record's contours alone.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.jobs import PAIRS
from tests.planted_jobs import OF_EDGES, above_the_limit, codes_of, cut_plates
from tests.planted_kinds import BY_THE_RECORD, planted

#: Vertices of each path that are moved, four ways each; one where a single file is rewritten.
PLACES = {"laser": 4, "drag-knife": 3, "oscillating-knife": 2}


@pytest.mark.parametrize("formats", [("dxf", "svg"), ("dxf",), ("svg",)])
@pytest.mark.parametrize("method", PAIRS)
def test_every_planted_fault_is_caught(
    method: str, formats: tuple[str, ...], tmp_path: Path
) -> None:
    folder = cut_plates(method, tmp_path, 2)
    rows: dict[tuple[str, str], list[int]] = {}
    by: dict[tuple[str, str], set[str]] = {}
    missed = []
    places = PLACES[method] if len(formats) == 2 else 1
    for case in planted(folder.good, folder.drawn, places):
        row = rows.setdefault((case.kind, case.size), [0, 0, 0, 0])
        row[0] += 1
        if not any(above_the_limit(folder, [case])):
            continue
        row[1] += 1
        codes = codes_of(folder, case, formats)
        by.setdefault((case.kind, case.size), set()).update(codes)
        row[2] += bool(codes)
        row[3] += bool(codes & OF_EDGES)
        if not codes or not (codes & OF_EDGES or case.kind in BY_THE_RECORD):
            missed.append(f"{case.kind} {case.size}, {case.where}")
    print(f"\n{method}, {' and '.join(formats)} rewritten")
    print(f"{'kind':26}{'size':>9}{'tried':>7}{'planted':>9}{'caught':>8}{'edge':>6}  by")
    for (kind, size), (tried, above, caught, edge) in rows.items():
        told = " ".join(sorted(by.get((kind, size), set())))
        print(f"{kind:26}{size:>9}{tried:7}{above:9}{caught:8}{edge:6}  {told}")
    assert missed == []
