"""What a file says to people where its machine's software can bear it: names, stock, check line.

The check line is 100 mm long and lies in the scrap, so that a scale gone wrong can be measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from foamwright.geometry.path import Path
from foamwright.geometry.region import curve, distance, inside_point, region, union
from foamwright.model import Program
from foamwright.names import readable

#: Length of the line to measure, mm.
CHECK_LENGTH = 100.0
#: Least distance from the check line to a piece, mm: it is drawn, and may get cut.
CHECK_GAP = 2.0
#: Distance between places tried for the check line, mm.
CHECK_STEP = 5.0
#: Flattening for places of labels, mm: nothing is cut by it.
ROUGH = 0.1


@dataclass(frozen=True, slots=True)
class Label:
    """A piece's name at a point inside it."""

    text: str
    at: complex


def labels(program: Program) -> Iterator[Label]:
    for placed in program.sheet.placements:
        piece = placed.piece
        inside = region(piece.outline, (o.path for o in piece.openings), ROUGH)
        yield Label(readable(placed.copy.name), inside_point(inside))


def stock_outline(program: Program) -> Path:
    w, h = program.sheet.width, program.sheet.length
    return Path.polygon([0j, complex(w, 0), complex(w, h), complex(0, h)])


def check_line(program: Program) -> Path | None:
    """A line of CHECK_LENGTH in the scrap, or None where the sheet has no room for one."""
    sheet = program.sheet
    taken = union([region(p.piece.outline, (), ROUGH) for p in sheet.placements])
    for along in (1 + 0j, 1j):
        reach = CHECK_LENGTH * along
        y = CHECK_GAP
        while y + reach.imag + CHECK_GAP <= sheet.length:
            x = CHECK_GAP
            while x + reach.real + CHECK_GAP <= sheet.width:
                start = complex(x, y)
                line = Path.polygon([start, start + reach], closed=False)
                if distance(curve(line), taken) >= CHECK_GAP:
                    return line
                x += CHECK_STEP
            y += CHECK_STEP
    return None
