"""A PDF's pages as another library reads them (pypdfium2): boxes, strokes, words; all in mm."""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pypdfium2 as pdfium
import shapely
from pypdfium2 import raw

MM = 25.4 / 72
#: Straight parts that a Bezier curve is read in: its chords are short by 1e-6 of it at most.
PARTS = 160


@dataclass(frozen=True)
class Stroke:
    """A line as drawn: its points with curves flattened, its pen, the box that it is seen in.

    clip None: all of it is seen; the reader leaves a box away that holds the whole line.
    """

    points: np.ndarray
    width: float
    dashed: bool
    clip: tuple[float, float, float, float] | None

    @cached_property
    def line(self) -> shapely.LineString:
        return shapely.LineString(np.column_stack([self.points.real, self.points.imag]))

    @property
    def length(self) -> float:
        return float(self.line.length)

    @property
    def seen(self) -> shapely.Geometry:
        """What of it is seen on the page."""
        return self.line if self.clip is None else self.line.intersection(shapely.box(*self.clip))


@dataclass(frozen=True)
class Page:
    """Its boxes by name, its strokes, its words with the place where each begins."""

    boxes: dict[str, tuple[float, ...]]
    strokes: tuple[Stroke, ...]
    words: tuple[tuple[str, complex], ...]

    @property
    def text(self) -> str:
        return "\n".join(w for w, _ in self.words)


def pages_of(data: bytes) -> list[Page]:
    document = pdfium.PdfDocument(data)
    return [_page(document[i]) for i in range(len(document))]


def metadata_of(data: bytes) -> dict[str, str]:
    return dict(pdfium.PdfDocument(data).get_metadata_dict(skip_empty=True))


def contents_of(data: bytes) -> list[tuple[str, int]]:
    """The list of contents: titles and page numbers from 1."""
    document = pdfium.PdfDocument(data)
    return [(b.get_title(), b.get_dest().get_index() + 1) for b in document.get_toc()]


def _page(page: pdfium.PdfPage) -> Page:
    boxes = {
        name: tuple(v * MM for v in getattr(page, f"get_{name}box")())
        for name in ("media", "crop", "bleed", "trim", "art")
    }
    strokes: list[Stroke] = []
    words: list[tuple[str, complex]] = []
    text_page = page.get_textpage()
    for thing in page.get_objects():
        if thing.type == raw.FPDF_PAGEOBJ_PATH:
            strokes += _strokes(thing)
        elif thing.type == raw.FPDF_PAGEOBJ_TEXT:
            size = raw.FPDFTextObj_GetText(thing, text_page, None, 0)
            buffer = (ctypes.c_ushort * (size // 2 + 1))()
            raw.FPDFTextObj_GetText(thing, text_page, buffer, size)
            text = bytes(buffer)[: size - 2].decode("utf-16-le").strip()
            m = thing.get_matrix()
            words.append((text, complex(m.e, m.f) * MM))
    return Page(boxes, tuple(strokes), tuple(words))


def _strokes(thing: pdfium.PdfObject) -> list[Stroke]:
    fill, stroke = ctypes.c_int(), ctypes.c_int()
    raw.FPDFPath_GetDrawMode(thing, fill, stroke)
    if not stroke.value:
        return []
    width = ctypes.c_float()
    raw.FPDFPageObj_GetStrokeWidth(thing, width)
    dashed = raw.FPDFPageObj_GetDashCount(thing) > 0
    clip = raw.FPDFPageObj_GetClipPath(thing)
    box = None
    for k in range(max(0, raw.FPDFClipPath_CountPaths(clip)) if clip else 0):
        corners = np.concatenate(
            _subpaths(
                raw.FPDFClipPath_CountPathSegments(clip, k),
                lambda i, k=k: raw.FPDFClipPath_GetPathSegment(clip, k, i),
            )
        )
        box = (
            corners.real.min(),
            corners.imag.min(),
            corners.real.max(),
            corners.imag.max(),
        )
    m = thing.get_matrix()
    assert (m.a, m.b, m.c, m.d, m.e, m.f) == (1, 0, 0, 1, 0, 0)  # paths are in page coordinates
    made = _subpaths(
        raw.FPDFPath_CountSegments(thing), lambda i: raw.FPDFPath_GetPathSegment(thing, i)
    )
    return [Stroke(points, width.value * MM, dashed, box) for points in made if len(points) > 1]


def _subpaths(count: int, segment) -> list[np.ndarray]:  # type: ignore[no-untyped-def]
    made: list[list[complex]] = []
    controls: list[complex] = []
    for i in range(count):
        s = segment(i)
        x, y = ctypes.c_float(), ctypes.c_float()
        raw.FPDFPathSegment_GetPoint(s, x, y)
        p = complex(x.value, y.value) * MM
        kind = raw.FPDFPathSegment_GetType(s)
        if kind == raw.FPDF_SEGMENT_MOVETO:
            made.append([p])
        elif kind == raw.FPDF_SEGMENT_LINETO:
            made[-1].append(p)
        else:
            controls.append(p)
            if len(controls) == 3:
                made[-1] += _bezier(made[-1][-1], *controls)
                controls = []
        if raw.FPDFPathSegment_GetClose(s) and made[-1][-1] != made[-1][0]:
            made[-1].append(made[-1][0])
    return [np.array(points) for points in made]


def _bezier(a: complex, b: complex, c: complex, d: complex) -> list[complex]:
    t = np.arange(1, PARTS + 1) / PARTS
    u = 1 - t
    return list(u**3 * a + 3 * u * u * t * b + 3 * u * t * t * c + t**3 * d)
