"""What a file says to people where its machine's software can bear it: names, stock, check line.

The check line is 100 mm long and lies in the scrap, so that a scale gone wrong can be measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count, takewhile

from foamwright.geometry.path import Path
from foamwright.geometry.region import (
    Region,
    curve,
    grown,
    inside_point,
    minus,
    polyline,
    region,
    rings,
    union,
)
from foamwright.model import FileStyle, Program
from foamwright.names import readable

#: Length of the line to measure, mm.
CHECK_LENGTH = 100.0
#: Least distance from the check line to a piece, a cut or the sheet's edge, mm: it may get cut.
CHECK_GAP = 2.0
#: Distance between rows tried for the check line, mm.
CHECK_STEP = 5.0
#: Flattening for places of labels and of the check line, mm: no piece is cut by it.
ROUGH = 0.1
#: Height of a name's letters, mm.
LETTERS = 5.0
#: Longest name written, characters: R12 takes 255 in a text, and a piece has no room for more.
LONGEST_NAME = 60


@dataclass(frozen=True, slots=True)
class Label:
    """A piece's name at a point inside it."""

    text: str
    at: complex


def labels(program: Program) -> Iterator[Label]:
    for placed in program.sheet.placements:
        piece = placed.piece
        inside = region(piece.outline, (o.path for o in piece.openings), ROUGH)
        yield Label(readable(placed.copy.name)[:LONGEST_NAME], inside_point(inside))


def lines_for_people(program: Program, style: FileStyle) -> dict[str, Path]:
    """The stock's outline and the check line, where the style writes them and there is room."""
    lines: dict[str, Path | None] = {}
    if "STOCK" in style.writes:
        lines["STOCK"] = stock_outline(program)
    if "CHECK" in style.writes:
        lines["CHECK"] = check_line(program, style.margins)
    return {name: path for name, path in lines.items() if path is not None}


def stock_outline(program: Program) -> Path:
    w, h = program.sheet.width, program.sheet.length
    return Path.polygon([0j, complex(w, 0), complex(w, h), complex(0, h)])


def check_line(
    program: Program, margins: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
) -> Path | None:
    """A line of CHECK_LENGTH in the scrap, or None where the sheet has no room for one, or has an
    outline of its own.

    It keeps off pieces, cuts and edges by CHECK_GAP and lies within the margins (left, right, near,
    far); the nearest row that has room takes it, else the leftmost column.
    """
    left, right, near, far = margins
    sheet = program.sheet
    if sheet.stock.outline is not None:
        return None
    low = complex(left + CHECK_GAP, near + CHECK_GAP)
    high = complex(sheet.width - right - CHECK_GAP, sheet.length - far - CHECK_GAP)
    taken = _taken(program)
    rows = (
        polyline([complex(low.real, y), complex(high.real, y)]) for y in _steps(low.imag, high.imag)
    )
    columns = (
        polyline([complex(x, low.imag), complex(x, high.imag)]) for x in _steps(low.real, high.real)
    )
    for tried, along, room in (
        (rows, 1 + 0j, high.real - low.real),
        (columns, 1j, high.imag - low.imag),
    ):
        if room < CHECK_LENGTH:
            continue
        for line in tried:
            start = _first_gap(line, taken)
            if start is not None:
                return Path.polygon([start, start + CHECK_LENGTH * along], closed=False)
    return None


def _taken(program: Program) -> Region:
    pieces = [region(p.piece.outline, (), ROUGH) for p in program.sheet.placements]
    pieces += [region(z.outline, (), ROUGH) for z in program.sheet.zones]
    return grown(union([*pieces, *(curve(c.path, ROUGH) for c in program.cuts)]), CHECK_GAP, ROUGH)


def _steps(low: float, high: float) -> Iterator[float]:
    return takewhile(lambda v: v <= high, (low + k * CHECK_STEP for k in count()))


def _first_gap(line: Region, taken: Region) -> complex | None:
    """Where along the line the first free stretch of CHECK_LENGTH starts."""
    for points in rings(minus(line, taken)):
        if len(points) and abs(points[-1] - points[0]) >= CHECK_LENGTH:
            return complex(points[0])
    return None
