"""Published strip instances: no overlap, no clearance broken, by shapely on the exact corners.

Densities are a benchmark's matter: `tests/benchmarks/esicup.py`.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.benchmarks.esicup import instance, ours

#: Few and many pieces, half turns and quarter turns, hollow outlines.
NAMES = ("albano", "dagli", "poly2b", "shirts", "swim")


@pytest.mark.parametrize("clearance", [0.0, 6.0])
@pytest.mark.parametrize("name", NAMES)
def test_every_piece_is_placed_once_and_none_is_too_near(
    name: str, clearance: float, shared: Path
) -> None:
    data = json.loads((shared / "bench" / "esicup" / f"{name}.json").read_text("utf-8"))
    density, wrong = ours(instance(data), 1, 1, clearance)
    assert wrong == ""
    assert 30 < density <= 100
