"""Real outlines: closed paths of outside drawings and of glyphs of fonts that matplotlib ships.

Outlines are brought to 50..300 mm.  An outline of a letter's counter is kept clockwise: it is an
opening.  Glyphs are exact: lines, and quadratics raised to cubics.
"""

from __future__ import annotations

import logging
import pathlib
from collections.abc import Iterator
from dataclasses import dataclass

import matplotlib
from fontTools.pens.basePen import decomposeQuadraticSegment
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic, Line, Segment
from foamwright.stages.acquire import read_drawing

#: Outlines are this large, mm.
LEAST, MOST = 50.0, 300.0
#: Glyphs taken of each font for a sample: about 600 of 39 fonts.
OF_EACH = 16


@dataclass(frozen=True)
class Outline:
    """name: where it is from.  path: closed; clockwise: an opening."""

    name: str
    path: Path


def drawn_outlines(shared: pathlib.Path) -> Iterator[Outline]:
    """Every different outline and opening of the SVG drawings that can be read.

    Left out are drawings with an outline that crosses or touches itself, which the reader tells.
    """
    seen: set[tuple[complex, ...]] = set()
    for file in sorted((shared / "corpora" / "svg").rglob("*.svg")):
        drawing, findings = read_drawing(file)
        if any(f.code == "R115" for f in findings):
            continue
        for piece in drawing.pieces:
            for k, path in enumerate([piece.outline, *(o.path for o in piece.openings)]):
                made = sized(path, LEAST, MOST)
                key = tuple(
                    complex(round(s.start.real, 2), round(s.start.imag, 2)) for s in made.segments
                )
                if key not in seen:
                    seen.add(key)
                    yield Outline(f"{file.parent.name}/{file.stem} {piece.name} {k}", made)


def sized(path: Path, least: float, most: float) -> Path:
    """Moved to the origin, and scaled so that its longer side lies between least and most."""
    x, y, right, top = path.bounds
    size = max(right - x, top - y)
    scale = min(max(size, least), most) / size
    return path.transformed(Affine.scaling(scale, scale) @ Affine.translation(-complex(x, y)))


def fonts() -> list[pathlib.Path]:
    return sorted((pathlib.Path(matplotlib.get_data_path()) / "fonts" / "ttf").glob("*.ttf"))


def glyph_outlines(of_each: int | None = OF_EACH) -> Iterator[Outline]:
    """Contours of glyphs spread evenly over each font; None: of all glyphs."""
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    number = 0
    for file in fonts():
        with TTFont(file, lazy=True) as font:
            glyphs = font.getGlyphSet()
            names = font.getGlyphOrder()
            step = max(1, len(names) // of_each) if of_each else 1
            for name in names[step // 2 :: step]:
                pen = DecomposingRecordingPen(glyphs)
                glyphs[name].draw(pen)
                for k, path in enumerate(_contours(pen.value)):
                    number += 1
                    size = LEAST + (MOST - LEAST) * (0.618034 * number % 1)
                    yield Outline(f"{file.stem} {name} {k}", sized(path, size, size))


def _contours(recorded: list[tuple[str, tuple]]) -> Iterator[Path]:
    segments: list[Segment] = []
    here = start = 0j
    for command, told in recorded:
        points = [None if p is None else complex(*p) for p in told]
        if command == "moveTo":
            segments, here = [], points[0]
            start = here
        elif command == "lineTo":
            segments.append(Line(here, points[0]))
            here = points[0]
        elif command == "qCurveTo":
            if points[-1] is None:  # no point on the curve at all
                here = start = (points[-2] + points[0]) / 2
                points[-1] = here
            xy = [(p.real, p.imag) for p in points]
            for control, end in decomposeQuadraticSegment(xy):
                segments.append(_raised(here, complex(*control), complex(*end)))
                here = complex(*end)
        elif command in ("closePath", "endPath"):
            if here != start:
                segments.append(Line(here, start))
            try:
                path = Path.of(segments, True)
            except GeometryError:
                continue  # a point without length
            # fonts of this kind run clockwise round what is solid
            yield path.reversed()


def _raised(a: complex, control: complex, b: complex) -> Cubic:
    return Cubic(a, (a + 2 * control) / 3, (b + 2 * control) / 3, b)
