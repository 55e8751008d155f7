"""Sheets of real outlines for the way round: as targets, without a tool's compensation.

Each is made anew from the example's drawing, from a drawing of leaves, or from glyphs of fonts, and
laid in rows, so that it is the same wherever the search for its best way was run.  Closed contours
may be entered at corners and in even steps (`places`), open ones from either end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path as File

import foamwright
from foamwright.geometry.affine import Affine
from foamwright.model import Copy, Cut, Entry, Piece, Placement, Sheet, Stock, Tool
from foamwright.stages.acquire import read_drawing
from foamwright.stages.compensate.contours import sheet_contours
from foamwright.stages.compensate.places import places
from tests.benchmarks.drawings import write_leaves
from tests.benchmarks.outlines import glyph_outlines, sized

#: mm across, and between pieces.
WIDTH, GAP = 1200.0, 5.0
TOOL = Tool("laser", travel_speed=200.0, acceleration=1000.0)
EXAMPLE = File(foamwright.__file__).parents[2] / "examples" / "heron" / "heron.svg"


def heron(folder: File) -> Sheet:
    """The example's pieces, each six times and turned by quarters: 42 pieces."""
    drawing, _ = read_drawing(EXAMPLE)
    turns = (Affine.rotation(90.0 * k) for _ in drawing.pieces for k in range(6))
    six = [p for p in drawing.pieces for _ in range(6)]
    return in_rows(p.transformed(m) for p, m in zip(six, turns, strict=True))


def leaves(folder: File) -> Sheet:
    """300 leaves with an opening each."""
    write_leaves(folder / "leaves.svg", 300)
    drawing, _ = read_drawing(folder / "leaves.svg")
    return in_rows(drawing.pieces)


def glyphs(folder: File) -> Sheet:
    """Solid contours of glyphs, eight of each font, brought to 25 to 80 mm."""
    solid = [o for o in glyph_outlines(8) if o.path.area > 0]
    sizes = (25 + 55 * (0.618034 * k % 1) for k in range(len(solid)))
    return in_rows(Piece(o.name, sized(o.path, s, s)) for o, s in zip(solid, sizes, strict=True))


SHEETS: Mapping[str, Callable[[File], Sheet]] = {
    "heron": heron,
    "leaves": leaves,
    "glyphs": glyphs,
}

#: mm of travel that a long run of a general routing library found at best (OR-Tools 9.15, five runs
#: of 60 s for each sheet on one core; `routing_library` repeats it), and the sheet it was run on:
#: its contours and their length in mm.
BEST: Mapping[str, int] = {"heron": 21187, "leaves": 16419, "glyphs": 22211}
MADE_OF: Mapping[str, tuple[int, int]] = {
    "heron": (120, 37543),
    "leaves": (600, 36513),
    "glyphs": (602, 115433),
}


def in_rows(pieces: Iterable[Piece]) -> Sheet:
    """Box beside box, row upon row, as given."""
    x = y = high = GAP
    placed = []
    for k, piece in enumerate(pieces):
        low_x, low_y, right, top = piece.outline.bounds
        if x + right - low_x > WIDTH - GAP:
            x, y = GAP, high + GAP
        copy = Copy(f"{k:03d}", piece.name, piece, False, "card", "laser")
        placed.append(Placement(copy, 0.0, x - low_x, y - low_y))
        x += right - low_x + GAP
        high = max(high, y + top - low_y)
    stock = Stock("card", "sheet", WIDTH, high + GAP)
    return Sheet(1, stock, "laser", WIDTH, high + GAP, tuple(placed))


def cuts_of(sheet: Sheet, free: bool = True) -> list[Cut]:
    """Every contour of a sheet. free: with the entries that it may be run by."""
    made = []
    for c in sheet_contours(sheet, TOOL):
        if c.path.closed:
            entries = (Entry(c.path), *(Entry(c.path, *p) for p in places(c.path) if p != (0, 0.0)))
        else:
            entries = (Entry(c.path), Entry(c.path.reversed()))
        made.append(Cut(c.copy, c.name, c.operation, c.path, entries=entries if free else ()))
    return made


def made_of(cuts: Iterable[Cut]) -> tuple[int, int]:
    """How many contours, and their whole length in mm: tells whether a sheet is the same."""
    lengths = [c.path.length for c in cuts]
    return len(lengths), round(sum(lengths))


def travelled(cuts: Iterable[Cut], here: complex = 0j) -> float:
    """mm that the head moves with the tool up."""
    total = 0.0
    for c in cuts:
        total += abs(c.path.start - here)
        here = c.path.start if c.path.closed else c.path.end
    return total
