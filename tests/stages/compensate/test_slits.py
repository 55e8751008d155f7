"""Slits that would part their piece are refused, whatever the tool."""

from __future__ import annotations

import pytest
from sheets import piece, rectangle, sheet

from foamwright.geometry.path import Path
from foamwright.model import Tool
from foamwright.stages.compensate import compensate

TOOLS = [
    Tool("laser", kerf=0.2),
    Tool("drag-knife", blade_offset=0.5, marks_by="pen"),
    Tool("oscillating-knife", overrun=2.0, marks_by="pen"),
]
BOX = rectangle(50, 50, 60, 40)
SLITS = {
    "across": ([Path.polygon([70 + 50j, 80 + 90j], closed=False)], True),
    "closed": ([rectangle(60, 60, 10, 10)], True),
    "a corner by two": (
        [
            Path.polygon([50 + 70j, 75 + 70j], closed=False),
            Path.polygon([70 + 90j, 70 + 65j], closed=False),
        ],
        True,
    ),
    "to the edge": ([Path.polygon([70 + 50j, 80 + 80j], closed=False)], False),
    "crossing inside": (
        [
            Path.polygon([60 + 70j, 80 + 70j], closed=False),
            Path.polygon([70 + 80j, 70 + 60j], closed=False),
        ],
        False,
    ),
}


@pytest.mark.parametrize("tool", TOOLS, ids=lambda t: t.method)
@pytest.mark.parametrize("name", SLITS)
def test_slits_that_part_their_piece(name: str, tool: Tool) -> None:
    slits, part = SLITS[name]
    _, found = compensate(sheet(piece(BOX, slits=tuple(slits))), tool, 0.006)
    told = [f for f in found if f.code == "C507"]
    assert len(told) == part
    assert all(f.is_fault and f.piece == "part/drawn/1" for f in told)
