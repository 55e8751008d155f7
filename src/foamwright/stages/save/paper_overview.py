"""A paper pattern's first page: how to print and join it, the map of its pages, what it holds.

All stands on one page: a map that shrinks to its room, lists whose letters shrink, and where even
that is too little, a line that tells how many more there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

from foamwright.geometry.affine import Affine
from foamwright.geometry.segments import Box
from foamwright.stages.save.paper_plan import (
    FOOT,
    MARGIN,
    OVERLAP,
    PAPERS,
    Block,
    PaperPattern,
    Tile,
)
from foamwright.stages.save.paper_strokes import (
    FINE,
    FOLD,
    STITCH,
    THICK,
    THIN,
    draw_match,
)
from foamwright.stages.save.pen import Pen, cropped, width_of

#: Letters of the title, of lines below it and of lists at most and at least, mm.
TITLE, LETTERS, LIST, LEAST = 7.0, 2.9, 2.7, 1.7
#: From one row of a list to the next, as a multiple of its letters.
ROW = 1.6
#: The most of the room below the legend that the lists take from the map.
LISTS_SHARE = 0.6
#: White space between blocks on the map, mm of paper.
BETWEEN = 5.0

Rows: TypeAlias = Sequence[tuple[str, ...]]

PRINTING = (
    "Print at 100 %, with no fitting to the page. Measure the bars of 100 mm and 4 in at the foot"
    " of a page before you cut anything.",
    f"Pages of one piece share a strip of {OVERLAP:g} mm: trim one along its dotted frame and lay"
    " it over the other until the lettered rings meet.",
    "Pieces are seen from the face of the material. For a mirror image turn the paper over.",
)


def draw_overview(pen: Pen, pattern: PaperPattern, blocks: Sequence[Block], paper: str) -> None:
    """The page but for its foot."""
    width, height = PAPERS[paper]
    room, y = width - 2 * MARGIN, height - MARGIN - TITLE
    pen.words(cropped(pattern.title, TITLE, room, True), complex(MARGIN, y), TITLE, bold=True)
    resized = f" {pattern.size}." if pattern.size else ""
    for text in (f"Paper pattern at full size, scale 1:1.{resized}", pattern.byline):
        if text:
            y -= 5.0
            pen.words(cropped(text, LETTERS + 0.4, room), complex(MARGIN, y), LETTERS + 0.4)
    y -= 2.0
    for text in PRINTING:
        for line in wrapped(text, LETTERS, room):
            y -= 4.1
            pen.words(line, complex(MARGIN, y), LETTERS)
    y = _draw_legend(pen, y - 7.5, room)
    lists: list[tuple[tuple[str, ...], Rows, tuple[float, ...]]] = [
        (("piece", "cut", "material", "pages"), _piece_rows(pattern, blocks), (3, 3, 4, 1))
    ]
    if pattern.seams:
        lists.append((("seam", "joins", "mm"), pattern.seams, (3, 6, 2)))
    low, size = MARGIN + FOOT + 2, LIST
    while (needed := sum(_height(rows, size) for _, rows, _ in lists)) > (y - low) * LISTS_SHARE:
        if size <= LEAST:
            needed = (y - low) * LISTS_SHARE
            break
        size = max(LEAST, 0.95 * size)
    _draw_maps(pen, blocks, (MARGIN, low + needed + 3, width - MARGIN, y - 3))
    top = low + needed
    for heads, rows, shares in lists:
        part = needed * _height(rows, size) / sum(_height(r, size) for _, r, _ in lists)
        box = (MARGIN, top - part, width - MARGIN, top)
        _draw_list(pen, heads, rows, box, shares, size)
        top -= part


def _piece_rows(pattern: PaperPattern, blocks: Sequence[Block]) -> Rows:
    pages: dict[str, list[int]] = {}
    for block in blocks:
        for laid in block.laid:
            pages[laid.paper.name] = [t.page for t in block.tiles]
    return tuple((*row, _told(pages[row[0]])) for row in pattern.rows)


def wrapped(text: str, size: float, width: float) -> list[str]:
    """The text in lines that are no wider than the width."""
    lines: list[str] = []
    for word in text.split():
        if lines and width_of(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _told(pages: Sequence[int]) -> str:
    """`4`, `4 to 9`."""
    return f"{pages[0]}" if len(pages) == 1 else f"{pages[0]} to {pages[-1]}"


def _draw_legend(pen: Pen, y: float, room: float) -> float:
    """Samples of the lines; gives the height at which they end."""
    samples = (
        ("cut", THICK, ()),
        ("stitch line", THIN, STITCH),
        ("fold", THIN, FOLD),
        ("mark on the face", THIN, ()),
    )
    step = room / (len(samples) + 0.8)
    for k, (words, width, dash) in enumerate(samples):
        x = complex(MARGIN + k * step, y + 1)
        pen.line([x, x + 10], width, dash)
        pen.words(words, x + 11.5 - 1j, LETTERS)
    ring = complex(MARGIN + len(samples) * step + 5, y + 1)
    draw_match(pen, ring, "")
    pen.words("pages meet", ring + complex(6, -1), LETTERS)
    return y - 4


# ------------------------------------------------------------------------------------ the map


def _draw_maps(pen: Pen, blocks: Sequence[Block], box: Box) -> None:
    """Every block with its pages, in rows, at the largest common scale that has room."""
    x0, y0, x1, y1 = box
    low, high = 1e-4, 1.0
    for _ in range(30):
        k = (low + high) / 2
        _, _, height = _rows(blocks, k, x1 - x0)
        low, high = (k, high) if height <= y1 - y0 else (low, k)
    places, _, _ = _rows(blocks, low, x1 - x0)
    for block, (x, down) in zip(blocks, places, strict=True):
        corner = complex(x0 + x, y1 - down - low * block.size[1])
        draw_map(pen.within(Affine.translation(corner) @ Affine.scaling(low)), block, low)


def _rows(
    blocks: Sequence[Block], k: float, width: float
) -> tuple[list[tuple[float, float]], float, float]:
    """Left and upper edge of each block at a scale, how wide and how high all are."""
    places: list[tuple[float, float]] = []
    x, y, row, widest = 0.0, 0.0, 0.0, 0.0
    for block in blocks:
        across, along = k * block.size[0], k * block.size[1]
        if x and x + across > width:
            x, y, row = 0.0, y + row + BETWEEN, 0.0
        places.append((x, y))
        x, row = x + across + BETWEEN, max(row, along)
        widest = max(widest, x - BETWEEN)
    too_wide = 1e9 if widest > width else 0.0
    return places, widest, y + row + too_wide


def draw_map(pen: Pen, block: Block, k: float, here: Tile | None = None) -> None:
    """A block as small as k: its pages with their numbers, and what lies on them."""
    for tile in block.tiles:
        x0, _, x1, y1 = tile.window
        if here is not None and tile.page == here.page:
            pen.filled(tile.window, 0.8)
        pen.rectangle(tile.window, FINE, ink=0.45)
        size = min(3.2, 0.4 * k * (x1 - x0))
        at = complex(x0, y1) + complex(1.0, -1.0 - size) / k
        pen.words(str(tile.page), at, size, bold=True, ink=0.3)
    for laid in block.laid:
        piece = laid.paper.piece
        for path in (piece.outline, *(o.path for o in piece.openings)):
            pen.stroke(path, FINE)


# ------------------------------------------------------------------------------------ lists


def _height(rows: Rows, size: float) -> float:
    """What a list takes with letters of this size: its head, its rows and a line after them."""
    return (len(rows) + 2.5) * ROW * size


def _draw_list(
    pen: Pen, heads: Sequence[str], rows: Rows, box: Box, shares: Sequence[float], size: float
) -> None:
    """A table in a box; rows that find no room are counted."""
    x0, y0, x1, y1 = box
    fits = int((y1 - y0) / (ROW * size) - 2.4)
    shown = rows if len(rows) <= fits else rows[: max(0, fits - 1)]
    edges = [x0]
    for share in shares:
        edges.append(edges[-1] + share * (x1 - x0) / sum(shares))
    y = y1 - size
    for k, head in enumerate(heads):
        pen.words(head, complex(edges[k], y), size, bold=True)
    pen.line([complex(x0, y - 0.5 * size), complex(x1, y - 0.5 * size)], FINE)
    y -= 0.4 * size
    for row in shown:
        y -= ROW * size
        for k, cell in enumerate(row):
            width = edges[k + 1] - edges[k] - 1
            pen.words(cropped(cell, size, width), complex(edges[k], y), size)
    if len(shown) < len(rows):
        left = len(rows) - len(shown)
        pen.words(f"and {left} more, each named on its page", complex(x0, y - ROW * size), size)
