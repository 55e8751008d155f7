"""A PDF page's pen: paths, strokes and words in millimetres, drawn with reportlab.

A pen maps its own millimetres to the page's; the numbers in the file are the page's points, so
that a reader finds every path where it lies.  Letters are embedded: none is left to the reader's
machine.  Nothing here reads a clock: the same strokes give the same bytes.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path as File
from typing import Any, Literal

import reportlab
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Box, Cubic
from foamwright.names import readable

#: PDF points in a millimetre: a point is 1/72 in (ISO 32000, 8.3.2.3).
POINT = 72 / 25.4
#: The faces, which reportlab carries with it (Bitstream Vera).
PLAIN, BOLD = "Vera", "VeraBd"


@cache
def _face(name: str) -> Any:
    font = TTFont(name, str(File(reportlab.__file__).parent / "fonts" / f"{name}.ttf"))
    pdfmetrics.registerFont(font)
    return font.face


def shown(text: str) -> str:
    """The text in letters that the face has: others lose their accents, or stand as numbers."""
    known = _face(PLAIN).charToGlyph
    made = []
    for letter in readable(text):
        bare = unicodedata.normalize("NFKD", letter)
        if ord(letter) in known:
            made.append(letter)
        elif bare and all(ord(c) in known or unicodedata.combining(c) for c in bare):
            made.append("".join(c for c in bare if ord(c) in known))
        else:
            made.append(f"\\u{ord(letter):04x}")
    return "".join(made)


def width_of(text: str, size: float, bold: bool = False) -> float:
    """How wide words of this size are, mm."""
    _face(BOLD if bold else PLAIN)
    return float(pdfmetrics.stringWidth(shown(text), BOLD if bold else PLAIN, size))


def cropped(text: str, size: float, width: float, bold: bool = False) -> str:
    """The text, or as much of it as fits into the width (mm) with dots after it."""
    if width_of(text, size, bold) <= width:
        return text
    kept = text
    while kept and width_of(kept + "…", size, bold) > width:
        kept = kept[:-1]
    return kept + "…"


@dataclass(frozen=True)
class Pen:
    """Draws on a canvas what is given in millimetres; to_page: where they lie on the page, mm."""

    canvas: Canvas
    to_page: Affine = field(default_factory=lambda: Affine(1, 0, 0, 1, 0, 0))

    def within(self, m: Affine) -> Pen:
        """A pen for coordinates that `m` maps to this one's."""
        return replace(self, to_page=self.to_page @ m)

    def stroke(self, path: Path, width: float, dash: Sequence[float] = (), ink: float = 0) -> None:
        """A path as a line; width and dash in mm of paper, ink 0 black to 1 white."""
        self._pen(width, dash, ink)
        self.canvas.drawPath(self._outline([path]), stroke=1, fill=0)

    def area(self, paths: Iterable[Path], ink: float) -> None:
        """The area between paths, filled by the even-odd rule."""
        self.canvas.setFillGray(ink)
        self.canvas.drawPath(self._outline(paths), stroke=0, fill=1, fillMode=0)

    def line(
        self, points: Sequence[complex], width: float, dash: Sequence[float] = (), ink: float = 0
    ) -> None:
        """Straight lines through points."""
        self.stroke(Path.polygon(points, closed=False), width, dash, ink)

    def rectangle(self, box: Box, width: float, dash: Sequence[float] = (), ink: float = 0) -> None:
        self.stroke(_ring(box), width, dash, ink)

    def filled(self, box: Box, ink: float) -> None:
        self.area([_ring(box)], ink)

    def words(
        self,
        text: str,
        at: complex,
        size: float,
        *,
        bold: bool = False,
        turn: float = 0.0,
        align: Literal["left", "middle", "right"] = "left",
        ink: float = 0,
    ) -> None:
        """Words on a base line from `at`, size in mm of paper, turned counter-clockwise."""
        p = self.to_page(at)
        name = BOLD if bold else PLAIN
        _face(name)
        back = {"left": 0.0, "middle": 0.5, "right": 1.0}[align] * width_of(text, size, bold)
        self.canvas.saveState()
        self.canvas.translate(p.real * POINT, p.imag * POINT)
        self.canvas.rotate(turn)
        self.canvas.setFillGray(ink)
        self.canvas.setFont(name, size * POINT)
        self.canvas.drawString(-back * POINT, 0, shown(text))
        self.canvas.restoreState()

    def clipped(self, box: Box) -> None:
        """From here to `released`, nothing is seen outside the box."""
        self.canvas.saveState()
        self.canvas.clipPath(self._outline([_ring(box)]), stroke=0, fill=0)

    def released(self) -> None:
        self.canvas.restoreState()

    def _pen(self, width: float, dash: Sequence[float], ink: float) -> None:
        self.canvas.setLineWidth(width * POINT)
        self.canvas.setDash([d * POINT for d in dash])
        self.canvas.setStrokeGray(ink)

    def _outline(self, paths: Iterable[Path]) -> Any:
        made = self.canvas.beginPath()
        for path in paths:
            drawn = path.transformed(self.to_page)
            made.moveTo(*_at(drawn.start))
            for segment in drawn.segments:
                for s in segment.cubics() if isinstance(segment, Arc) else (segment,):
                    if isinstance(s, Cubic):
                        made.curveTo(*_at(s.control1), *_at(s.control2), *_at(s.end))
                    else:
                        made.lineTo(*_at(s.end))
            if drawn.closed:
                made.close()
        return made


def _at(p: complex) -> tuple[float, float]:
    return p.real * POINT, p.imag * POINT


def _ring(box: Box) -> Path:
    x0, y0, x1, y1 = box
    return Path.polygon([complex(x0, y0), complex(x1, y0), complex(x1, y1), complex(x0, y1)])


@dataclass(frozen=True, slots=True)
class About:
    """What a document says of itself."""

    title: str
    author: str = ""
    subject: str = ""
    keywords: str = ""


class Document:
    """A PDF in the making: pages of one size, mm."""

    def __init__(self, width: float, height: float, about: About, producer: str) -> None:
        self._data = io.BytesIO()
        size = (width * POINT, height * POINT)
        self._canvas = Canvas(self._data, pagesize=size, invariant=1, pageCompression=1)
        self._canvas.setTitle(about.title)
        self._canvas.setAuthor(about.author)
        self._canvas.setSubject(about.subject)
        self._canvas.setKeywords(about.keywords)
        self._canvas.setCreator(producer)
        self._canvas.setProducer(producer)
        self._canvas.setViewerPreference("PrintScaling", "None")
        self.pen = Pen(self._canvas)

    def mark(self, name: str) -> None:
        """An entry in the reader's list of contents for this page."""
        key = f"page-{self._canvas.getPageNumber()}"
        self._canvas.bookmarkPage(key)
        self._canvas.addOutlineEntry(name, key, 0)

    def next_page(self) -> None:
        self._canvas.showPage()

    def finished(self) -> bytes:
        """The file's bytes."""
        self._canvas.save()
        return self._data.getvalue()
