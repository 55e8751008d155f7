"""The pattern on paper: a PDF at 1:1, tiled over pages that are joined, with an overview first.

Every page bears a bar of 100 mm and one of 4 in, so that a printer that resizes is found out with
a ruler.  Where two pages join, both show the same marks: rings with a cross, lettered.  All is
black, solid or dashed, so that any printer does.  The same pattern gives the same bytes.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence

from foamwright.geometry.affine import Affine
from foamwright.geometry.segments import Box
from foamwright.stages.save.paper_overview import draw_map, draw_overview
from foamwright.stages.save.paper_plan import (
    FOOT,
    MARGIN,
    OVERLAP,
    PAPERS,
    Block,
    Laid,
    PaperPattern,
    PaperPiece,
    Tile,
    pages_of,
)
from foamwright.stages.save.paper_strokes import (
    BARS,
    FINE,
    FOLD,
    STITCH,
    THICK,
    THIN,
    TRIM,
    draw_arrow,
    draw_bar,
    draw_match,
    draw_stretch,
)
from foamwright.stages.save.paper_words import LEAD, NAME, SEAM
from foamwright.stages.save.pen import About, Document, Pen, cropped

#: Where the foot's words begin and how wide the little map beside them is, mm.
WORDS_AT, MAP = 112.0, 26.0
#: How far inside its edge a seam's words stand, mm.
INSIDE = 3.4
#: Where along two joined pages' common side the marks lie.
MATCHES = (0.25, 0.75)


def paper_pdf(pattern: PaperPattern, blocks: Sequence[Block], paper: str) -> bytes:
    """The file's bytes. blocks: the pattern's pieces on this paper, a key of PAPERS."""
    about = About(pattern.title, pattern.author, "Paper pattern at full size", pattern.licence)
    document = Document(*PAPERS[paper], about, pattern.maker)
    pages = pages_of(blocks)
    document.mark("Overview")
    draw_overview(document.pen, pattern, blocks, paper)
    _draw_foot(document.pen, pattern, paper, (f"page 1 of {pages}: overview", ""))
    for number, block in enumerate(blocks):
        for tile in block.tiles:
            document.next_page()
            if tile is block.tiles[0]:
                document.mark(block.name)
            _draw_tile(document.pen, block, number, tile)
            place = ""
            if len(block.tiles) > 1:
                place = f"column {tile.column + 1} of {block.columns}, "
                place += f"row {tile.row + 1} of {block.rows}"
                _draw_little_map(document.pen, block, tile, PAPERS[paper][0])
            told = f"page {tile.page} of {pages}: {block.name}"
            _draw_foot(document.pen, pattern, paper, (told, place))
    document.next_page()
    return document.finished()


# ------------------------------------------------------------------------------------ one page


def _draw_tile(pen: Pen, block: Block, number: int, tile: Tile) -> None:
    """What of a block lies on a tile, its frame, and the marks where it joins others."""
    x0, y0, _, _ = tile.window
    here = pen.within(Affine.translation(complex(MARGIN - x0, MARGIN + FOOT - y0)))
    here.clipped(tile.window)
    for laid in block.laid:
        if _meets(laid.paper.piece.outline.bounds, tile.window) or _meets(
            laid.label.box, tile.window
        ):
            _draw_piece(here, laid)
    here.released()
    here.rectangle(tile.window, FINE, TRIM)
    for at, letters in matches(block, number, tile):
        draw_match(here, at, letters)


def matches(block: Block, number: int, tile: Tile) -> Iterator[tuple[complex, str]]:
    """Marks on the strips that a tile shares with its neighbours, with their letters."""
    x0, y0, x1, y1 = tile.window
    half = OVERLAP / 2
    sides = (
        (1, 0, complex(x1 - half, y0), complex(x1 - half, y1)),
        (-1, 0, complex(x0 + half, y0), complex(x0 + half, y1)),
        (0, 1, complex(x0, y0 + half), complex(x1, y0 + half)),
        (0, -1, complex(x0, y1 - half), complex(x1, y1 - half)),
    )
    for right, down, start, end in sides:
        other = block.tile_at(tile.column + right, tile.row + down)
        if other is None:
            continue
        pages = f"{min(tile.page, other.page)}/{max(tile.page, other.page)}"
        for share, letter in zip(MATCHES, "ab", strict=True):
            yield start + (end - start) * share, f"{pages}{letter}"


def _meets(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _draw_foot(pen: Pen, pattern: PaperPattern, paper: str, told: tuple[str, str]) -> None:
    """Check bars, and which page of which job this is."""
    for k, (length, words, parts) in enumerate(BARS):
        draw_bar(pen, complex(MARGIN, MARGIN + 14.0 - 9.5 * k), length, words, parts)
    left = MARGIN + WORDS_AT
    width = PAPERS[paper][0] - MARGIN - left - MAP
    job = f"{pattern.title}, scale 1:1" + (f", {pattern.size}" if pattern.size else "")
    lines = ((told[0], True), (told[1], False), (job, False), (pattern.byline, False))
    y = MARGIN + 15.5
    for text, bold in lines:
        if text:
            pen.words(cropped(text, 2.5, width, bold), complex(left, y), 2.5, bold=bold)
            y -= 4.2


def _draw_little_map(pen: Pen, block: Block, tile: Tile, width: float) -> None:
    k = min((MAP - 2) / block.size[0], (FOOT - 4) / block.size[1])
    corner = complex(width - MARGIN - k * block.size[0], MARGIN + 1)
    draw_map(pen.within(Affine.translation(corner) @ Affine.scaling(k)), block, k, tile)


# ------------------------------------------------------------------------------------ one piece


def _draw_piece(pen: Pen, laid: Laid) -> None:
    piece = laid.paper.piece
    for path in (piece.outline, *(o.path for o in piece.openings)):
        pen.stroke(path, THICK)
    for path in laid.paper.stitches:
        pen.stroke(path, THIN, STITCH)
    for slit in piece.slits:
        pen.stroke(slit.path, THICK)
    for mark in piece.marks:
        for path in mark.paths:
            pen.stroke(path, THIN, FOLD if mark.shape == "fold" else ())
    _draw_label(pen, laid)
    turn = math.degrees(cmath.phase(laid.arrow.along))
    gives = laid.paper.gives
    draw_arrow(pen, laid.arrow, laid.paper.nap, turn, not gives)
    draw_stretch(pen, laid.arrow, gives)
    _draw_seams(pen, laid.paper)


def _draw_label(pen: Pen, laid: Laid) -> None:
    at = laid.label.at or 0j
    for text, size in laid.label.lines:
        at -= 1j * size * LEAD
        pen.words(text, at + 0.3j * size, size, bold=size == NAME)


def _draw_seams(pen: Pen, paper: PaperPiece) -> None:
    """What each sewn edge is sewn to, along the edge."""
    for seam in paper.seams:
        turn = math.degrees(cmath.phase(seam.along))
        inward = 1j * seam.along
        at = seam.at + inward * INSIDE
        if not -90.0 < turn <= 90.0:
            turn += 180.0
        else:
            at -= inward * SEAM * 0.7
        pen.words(seam.words, at, SEAM, turn=turn, align="middle")
