"""The pattern for shops that make their own cut files: DXF in the layers of ASTM D6673-10.

One block is a piece, inserted once, side by side.  Curves are chords: turn points are corners,
curve points lie between.  The standard (withdrawn in 2019, still widely read) was known from two
secondary descriptions, not from itself; the words of the lines of text are from memory, and that a
notch's angle tells the way into the piece.  R12 entities, which releases that it builds on know.
Does not write graded nests, plaids and stripes, mirror lines or validation curves.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from ezdxf.document import Drawing
from ezdxf.filemanagement import new

from foamwright.exchange import ExchangeUnits, PatternNotch, PatternPiece
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import to_path_data
from foamwright.geometry.region import boundary, distance, inside_point, point, region
from foamwright.geometry.segments import Points
from foamwright.names import distinct_names
from foamwright.record import ExchangeEntry, ExchangeNotch, ExchangePiece
from foamwright.stages.save.dxf import plain_text
from foamwright.stages.save.dxf_bytes import fixed_text

#: The chords of curves may lie so far off them, mm.
CHORDS = 0.01
#: mm in a unit of the file, and its decimals (both by the standard).
UNITS = {"metric": (1.0, 2), "english": (25.4, 4)}
#: Layers by what they hold; notches by their shape.
BOUNDARY, TURNS, CURVES, GRAIN, INTERNAL, CUTOUTS, DRILLS, SEW, NOTE = (
    "1", "2", "3", "7", "8", "11", "13", "14", "15",
)  # fmt: skip
NOTCHES = {"v": "4", "slit": "4", "t": "80", "castle": "81", "u": "83"}
#: Letters in a block's name (releases before R2000).
LONGEST = 31
#: Between two pieces, and of the letters' height, mm.
APART, LETTERS = 50.0, 5.0


def off_at_most(units: ExchangeUnits) -> float:
    """How far what is written may lie off a piece's lines, mm: its chords and rounding."""
    size, decimals = UNITS[units]
    return round(CHORDS + size * 10.0**-decimals, 4)


def exchange_entry(
    name: str, pieces: Sequence[PatternPiece], units: ExchangeUnits
) -> ExchangeEntry:
    """What the record tells of the file: each piece's lines in its block, with every digit."""
    blocks = block_names(pieces)
    made = tuple(_entry(p, b) for p, b in zip(pieces, blocks, strict=True))
    return ExchangeEntry(name=name, units=units, off_mm=off_at_most(units), pieces=made)


def block_names(pieces: Sequence[PatternPiece]) -> tuple[str, ...]:
    """A name for each piece's block, in ASCII, no longer than the releases bear."""
    names = distinct_names(tuple(p.name for p in pieces))
    return tuple(
        n if len(n) <= LONGEST else f"{n[: LONGEST - 6]}-{k:05d}" for k, n in enumerate(names, 1)
    )


def _entry(piece: PatternPiece, block: str) -> ExchangePiece:
    m = _to_block(piece)
    lines = {
        layer: tuple(to_path_data(p.transformed(m), None) for p in paths)
        for layer, paths in _lines(piece).items()
        if paths
    }
    return ExchangePiece(
        name=piece.name,
        block=block,
        material=piece.material,
        count=piece.count,
        mirrored=piece.mirrored,
        grain=piece.grain,
        lines=lines,
        drills=tuple(_pair(m(p)) for p in piece.drills),
        notches=tuple(
            ExchangeNotch(
                layer=NOTCHES[n.shape],
                at=_pair(m(n.at)),
                depth=n.depth,
                width=n.width,
                angle=n.angle,
            )
            for n in piece.notches
        ),
    )


def _pair(p: complex) -> tuple[float, float]:
    return p.real, p.imag


def _to_block(piece: PatternPiece) -> Affine:
    low_x, low_y, _, _ = piece.boundary.bounds
    return Affine.translation(-complex(low_x, low_y))


def _lines(piece: PatternPiece) -> dict[str, tuple[Path, ...]]:
    return {
        BOUNDARY: (piece.boundary,),
        INTERNAL: piece.internal,
        CUTOUTS: (*piece.cutouts, *piece.slits),
        SEW: piece.sew_lines,
    }


def exchange_text(job: str, pieces: Sequence[PatternPiece], units: ExchangeUnits) -> str:
    """The whole file, ASCII, with newlines only; the same pieces give the same bytes."""
    return fixed_text(lambda: _document(job, pieces, units))


def _document(job: str, pieces: Sequence[PatternPiece], units: ExchangeUnits) -> Drawing:
    doc = new("R12")
    doc.header["$INSUNITS"] = 0  # the release has no such field
    used = {*NOTCHES.values(), TURNS, CURVES, GRAIN, DRILLS, NOTE, *map(str, (1, 8, 11, 14))}
    for layer in sorted(used, key=int):
        doc.layers.add(layer)
    size, decimals = UNITS[units]
    pen = _Pen(size, decimals)
    blocks = block_names(pieces)
    x = 0.0
    for piece, name in zip(pieces, blocks, strict=True):
        block = doc.blocks.new(name)
        pen.piece(block, piece)
        doc.modelspace().add_blockref(name, pen.at(complex(x, 0)), dxfattribs={"layer": BOUNDARY})
        low_x, _, high_x, _ = piece.boundary.bounds
        x += high_x - low_x + APART
    head = (f"STYLE NAME: {job}", f"UNITS: {units.upper()}")
    pen.texts(doc.modelspace(), head, complex(0, -2 * LETTERS), BOUNDARY)
    return doc


class _Pen:
    """Draws into a block or model space in the file's units and decimals."""

    def __init__(self, size: float, decimals: int) -> None:
        self.size, self.decimals = size, decimals

    def value(self, mm: float) -> float:
        return round(mm / self.size, self.decimals) + 0.0

    def at(self, p: complex) -> tuple[float, float]:
        return self.value(p.real), self.value(p.imag)

    def piece(self, block: Any, piece: PatternPiece) -> None:
        m = _to_block(piece)
        for layer, paths in _lines(piece).items():
            for path in paths:
                self.line(block, path.transformed(m), layer)
        for notch in piece.notches:
            self.notch(block, notch, m)
        for p in piece.drills:
            block.add_point(self.at(m(p)), dxfattribs={"layer": DRILLS})
        first, last = (m(p) for p in _grain_line(piece))
        block.add_line(self.at(first), self.at(last), dxfattribs={"layer": GRAIN})
        words = (
            f"PIECE NAME: {piece.name}",
            f"QUANTITY: {piece.count},{piece.mirrored}",
            f"MATERIAL: {piece.material}",
        )
        middle = m(inside_point(region(piece.boundary, piece.cutouts, CHORDS)))
        self.texts(block, words, middle, BOUNDARY)
        self.texts(block, piece.notes, middle - 1j * LETTERS * 1.5 * len(words), NOTE)

    def line(self, block: Any, path: Path, layer: str) -> None:
        """A line as chords, with its corners and the points between as points of their own."""
        turns, points = _points(path)
        written: list[tuple[float, float]] = []
        for p, turn in zip(points, turns, strict=True):
            spot = self.at(complex(p))
            if written and spot == written[-1]:
                continue
            written.append(spot)
            block.add_point(spot, dxfattribs={"layer": TURNS if turn else CURVES})
        if path.closed and len(written) > 1 and written[-1] == written[0]:
            written.pop()
        line = block.add_polyline2d(written, close=path.closed, dxfattribs={"layer": layer})
        for part in (*line.vertices, line.seqend):
            part.dxf.layer = layer

    def notch(self, block: Any, notch: PatternNotch, m: Affine) -> None:
        """Group 30 is its depth, 39 its width, 50 its angle."""
        block.add_point(
            (*self.at(m(notch.at)), self.value(notch.depth)),
            dxfattribs={
                "layer": NOTCHES[notch.shape],
                "thickness": self.value(notch.width),
                "angle": round(notch.angle, 2),
            },
        )

    def texts(self, space: Any, lines: Iterable[str], at: complex, layer: str) -> None:
        for k, words in enumerate(lines):
            height = self.value(LETTERS)
            text = space.add_text(plain_text(words), height=height, dxfattribs={"layer": layer})
            text.set_placement(self.at(at - 1.5j * k * LETTERS))


def _points(path: Path) -> tuple[list[bool], Points]:
    """Points along a line, each once, and which of them are corners (an open line's ends too)."""
    turns: list[bool] = []
    parts = []
    for k, segment in enumerate(path.segments):
        points = segment.flatten(CHORDS)[:-1]
        parts.append(points)
        turns += [k in path.corners or (k == 0 and not path.closed)] + [False] * (len(points) - 1)
    if not path.closed:
        parts.append(np.array([path.end]))
        turns.append(True)
    return turns, np.concatenate(parts)


def _grain_line(piece: PatternPiece) -> tuple[complex, complex]:
    """Along the grain, inside the material."""
    face = region(piece.boundary, piece.cutouts, CHORDS)
    middle = inside_point(face)
    half = 0.9 * distance(point(middle), boundary(face))
    way = np.exp(1j * np.radians(piece.grain))
    return complex(middle - half * way), complex(middle + half * way)
