"""Where a paper pattern's pieces lie: blocks of tiles, a tile a page.

Terms.  *Paper*: a size of sheet that printers take.  *Tile*: the part of a page that shows pieces;
neighbouring tiles of a block share a strip of `OVERLAP`.  *Block*: tiles that are joined to one
large sheet.  A piece that fits on no page has a block of its own; smaller ones share pages of one
tile.  Coordinates of a block are millimetres from its lower left corner, y up.
Does not draw.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.region import Region, box, common, is_empty, minus, region, swept
from foamwright.geometry.segments import Box
from foamwright.model import Piece
from foamwright.stages.save.paper_words import Arrow, Label, grain_line, label_of, on_one_page

#: Sizes of paper, mm: ISO 216; ANSI/ASME Y14.1 A and B.
PAPERS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "a4": (210.0, 297.0),
        "letter": (215.9, 279.4),
        "a3": (297.0, 420.0),
        "tabloid": (279.4, 431.8),
    }
)
#: White border that office printers can't reach, mm (common practice, no source).
MARGIN = 10.0
#: Height of the band below a page's tile: check bars, page number, map, mm.
FOOT = 22.0
#: The strip that two neighbouring tiles both show, mm.
OVERLAP = 12.0
#: White space round a piece, mm.
GAP = 6.0
#: How far from an edge its seam's words reach, mm.
NOTED = 5.0
#: Flattening for what lies on which tile, mm.
ROUGH = 0.2


@dataclass(frozen=True, slots=True)
class SeamNote:
    """Words along a sewn edge: their middle, the unit tangent there, and their width, mm."""

    words: str
    at: complex
    along: complex
    width: float


@dataclass(frozen=True)
class PaperPiece:
    """A piece as it goes on paper, seen from the face; every step's grain is told.

    piece: its cut lines.  stitches: its stitch lines, where they differ.  lines: what is told
    below the name.  nap: whether it has one.  stretch: which way the material gives: none, across,
    along, both; a piece that asks for a way of its own is told that.
    """

    name: str
    piece: Piece
    stitches: tuple[Path, ...] = ()
    lines: tuple[str, ...] = ()
    nap: bool = False
    stretch: str = "none"
    seams: tuple[SeamNote, ...] = ()

    @property
    def grain(self) -> float:
        """Degrees; a piece without a grain line is drawn upright."""
        return 90.0 if self.piece.grain is None else self.piece.grain

    @property
    def way(self) -> float:
        """Degrees of its arrow: the nap's way, or the grain's."""
        own = self.piece.nap if self.nap else None
        return self.grain if own is None else own

    @property
    def gives(self) -> tuple[float, ...]:
        """Degrees in which it must give, or its material does."""
        if self.piece.stretch is not None:
            return (self.piece.stretch,)
        across, along = (self.grain - 90.0,), (self.grain,)
        return {"none": (), "across": across, "along": along, "both": across + along}[self.stretch]

    @property
    def inside(self) -> Region:
        return region(self.piece.outline, (o.path for o in self.piece.openings), ROUGH)

    @property
    def free(self) -> Region:
        """What of the inside no other line or word takes."""
        piece = self.piece
        lines = [*self.stitches, *(s.path for s in piece.slits)]
        lines += [path for mark in piece.marks for path in mark.paths]
        for seam in self.seams:
            middle, half = seam.at + 1j * seam.along * NOTED / 2, seam.along * seam.width / 2
            lines.append(Path.polygon([middle - half, middle + half], closed=False))
        return minus(self.inside, swept(lines, NOTED / 2, ROUGH)) if lines else self.inside

    def moved(self, m: Affine) -> PaperPiece:
        """Turned and moved, with its grain told."""
        seams = (
            replace(s, at=m(s.at), along=m.vector(s.along) / abs(m.vector(s.along)))
            for s in self.seams
        )
        whole = replace(self.piece, grain=self.grain)
        stitches = tuple(p.transformed(m) for p in self.stitches)
        return replace(self, piece=whole.transformed(m), stitches=stitches, seams=tuple(seams))


@dataclass(frozen=True, slots=True)
class Laid:
    """A piece in its block with its words and its grain arrow."""

    paper: PaperPiece
    label: Label
    arrow: Arrow


@dataclass(frozen=True, slots=True)
class Tile:
    """A page's part of a block. page: its number, the overview is page 1."""

    page: int
    column: int
    row: int
    window: Box


@dataclass(frozen=True, slots=True)
class Block:
    """Pieces on tiles that are joined. columns from the left, rows from the top."""

    laid: tuple[Laid, ...]
    columns: int
    rows: int
    size: tuple[float, float]
    tiles: tuple[Tile, ...] = ()

    @property
    def name(self) -> str:
        return ", ".join(x.paper.name for x in self.laid)

    def tile_at(self, column: int, row: int) -> Tile | None:
        return next((t for t in self.tiles if (t.column, t.row) == (column, row)), None)


def tile_size(paper: str) -> tuple[float, float]:
    """Width and height of a page's tile, mm."""
    width, height = PAPERS[paper]
    return width - 2 * MARGIN, height - 2 * MARGIN - FOOT


def blocks_on(pieces: Sequence[PaperPiece], paper: str) -> tuple[Block, ...]:
    """All pieces on blocks, those of one page first, with their pages numbered from 2."""
    room = tile_size(paper)
    small: list[_Turned] = []
    large: list[_Turned] = []
    for piece in pieces:
        turned = _turned_to_fit(piece, room)
        (small if _count(turned.size, room) == (1, 1) else large).append(turned)
    made = [*_shared(small, room), *(_own(t, room) for t in large)]
    return tuple(_numbered(made))


def pages_of(blocks: Iterable[Block]) -> int:
    """How many pages there are, the overview too."""
    return 1 + sum(len(b.tiles) for b in blocks)


# ------------------------------------------------------------------------------------ one piece


@dataclass(frozen=True, slots=True)
class _Turned:
    """A piece turned for the paper, its box with gap and outside words starting at (0, 0)."""

    paper: PaperPiece
    label: Label
    size: tuple[float, float]


def _turned_to_fit(piece: PaperPiece, room: tuple[float, float]) -> _Turned:
    """Upright, or a quarter turned where that takes fewer pages."""
    ways = [_boxed(piece, turn) for turn in (0.0, 90.0)]
    return min(ways, key=lambda t: math.prod(_count(t.size, room)))


def _boxed(piece: PaperPiece, turn: float) -> _Turned:
    turned = piece.moved(Affine.rotation(turn))
    label = label_of(turned.name, turned.lines, turned.free)
    x0, y0, x1, y1 = turned.piece.outline.bounds
    below = 0.0 if label.at is not None else label.height + GAP / 2
    width = max(x1 - x0, 0.0 if label.at is not None else label.width)
    moved = turned.moved(Affine.translation(complex(GAP - x0, GAP + below - y0)))
    if label.at is None:
        label = replace(label, at=complex(GAP, GAP + label.height))
    else:
        label = replace(label, at=label.at + complex(GAP - x0, GAP - y0))
    return _Turned(moved, label, (width + 2 * GAP, y1 - y0 + below + 2 * GAP))


def _count(size: tuple[float, float], room: tuple[float, float]) -> tuple[int, int]:
    """Columns and rows of tiles that a size takes."""
    counts = (
        max(1, math.ceil((s - OVERLAP) / (r - OVERLAP) - 1e-9))
        for s, r in zip(size, room, strict=True)
    )
    columns, rows = counts
    return columns, rows


# ------------------------------------------------------------------------------------ blocks


def _own(turned: _Turned, room: tuple[float, float]) -> Block:
    """A block for one large piece, which lies in the middle of it."""
    columns, rows = _count(turned.size, room)
    size = (
        columns * (room[0] - OVERLAP) + OVERLAP,
        rows * (room[1] - OVERLAP) + OVERLAP,
    )
    shift = complex(size[0] - turned.size[0], size[1] - turned.size[1]) / 2
    block = Block((), columns, rows, size)
    windows = [w for _, _, w in _windows(block, room)]
    laid = _laid(turned, shift, windows)
    block = replace(block, laid=(laid,))
    return replace(block, tiles=tuple(_tiles(block, room)))


def _shared(small: Sequence[_Turned], room: tuple[float, float]) -> Iterator[Block]:
    """Pages of one tile: pieces in rows from the top, the tallest first; a row fills a page or
    the next begins."""
    laid: list[Laid] = []
    x, top, row = 0.0, room[1], 0.0
    for turned in sorted(small, key=lambda t: -t.size[1]):
        width, height = turned.size
        if x and x + width > room[0]:
            x, top, row = 0.0, top - row, 0.0
        if laid and height > top:
            yield _page(laid, room)
            laid, x, top, row = [], 0.0, room[1], 0.0
        laid.append(_laid(turned, complex(x, top - height), []))
        x, row = x + width, max(row, height)
    if laid:
        yield _page(laid, room)


def _page(laid: Sequence[Laid], room: tuple[float, float]) -> Block:
    return Block(tuple(laid), 1, 1, room, (Tile(0, 0, 0, (0.0, 0.0, *room)),))


def _laid(turned: _Turned, shift: complex, windows: Sequence[Box]) -> Laid:
    paper = turned.paper.moved(Affine.translation(shift))
    label = replace(turned.label, at=(turned.label.at or 0j) + shift)
    label = on_one_page(label, paper.free, windows)
    return Laid(paper, label, grain_line(paper.inside, paper.free, paper.way, label))


def _windows(block: Block, room: tuple[float, float]) -> Iterator[tuple[int, int, Box]]:
    for row in range(block.rows):
        for column in range(block.columns):
            x0 = column * (room[0] - OVERLAP)
            y1 = block.size[1] - row * (room[1] - OVERLAP)
            yield column, row, (x0, y1 - room[1], x0 + room[0], y1)


def _tiles(block: Block, room: tuple[float, float]) -> Iterator[Tile]:
    """The tiles that show something of a piece or its words."""
    shown = [x.paper.inside for x in block.laid] + [box(x.label.box) for x in block.laid]
    for column, row, window in _windows(block, room):
        if any(not is_empty(common(s, box(window))) for s in shown):
            yield Tile(0, column, row, window)


def _numbered(blocks: Iterable[Block]) -> Iterator[Block]:
    page = 2
    for block in blocks:
        tiles = tuple(replace(t, page=page + k) for k, t in enumerate(block.tiles))
        page += len(tiles)
        yield replace(block, tiles=tiles)


@dataclass(frozen=True, slots=True)
class PaperPattern:
    """A whole pattern. size: what the drafted size was multiplied by, in words; seams: rows of
    name, edges and lengths; maker: who makes the file.
    """

    title: str
    author: str
    licence: str
    size: str
    maker: str
    pieces: tuple[PaperPiece, ...]
    rows: tuple[tuple[str, str, str], ...]
    seams: tuple[tuple[str, str, str], ...] = ()

    @property
    def byline(self) -> str:
        """Author and licence, as far as the job tells them."""
        return ". ".join(x for x in (self.author, self.licence) if x)
