"""A picture of a drawing as it was read: outlines, openings, marks, corner numbers, faults.

For looking at, never for cutting: it is a picture with text, and its size is the drawing's.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape

from foamwright.findings import Finding
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import number, to_path_data
from foamwright.model import Drawing, Piece
from foamwright.names import readable

#: Words by which a preview is known again, so that only previews are overwritten.
SIGNATURE = "Foamwright preview: not for cutting"
#: White space round the pieces, as a part of the picture's larger side.
BORDER = 0.03
#: Height of a corner's number and of a name, as a part of the picture's larger side.
LETTERS = 0.012
_INK = {"outline": "#D55E00", "opening": "#0072B2", "slit": "#E69F00", "mark": "#009E73"}


def preview_svg(drawing: Drawing, findings: Sequence[Finding]) -> str:
    """The picture as SVG text; findings are listed in its description."""
    boxes = [p.outline.bounds for p in drawing.pieces] or [(0.0, 0.0, 100.0, 100.0)]
    low_x, low_y = min(b[0] for b in boxes), min(b[1] for b in boxes)
    high_x, high_y = max(b[2] for b in boxes), max(b[3] for b in boxes)
    side = max(high_x - low_x, high_y - low_y)
    rim = BORDER * side
    m = Affine(1, 0, 0, -1, rim - low_x, high_y + rim)
    w, h = number(high_x - low_x + 2 * rim, 3), number(high_y - low_y + 2 * rim, 3)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" '
        f'viewBox="0 0 {w} {h}">',
        f"<title>{SIGNATURE}: {escape(readable(drawing.file))}</title>",
        "<desc>" + escape(readable(" | ".join(f.line() for f in findings))) + "</desc>",
        f'<rect width="{w}" height="{h}" fill="#ffffff"/>',
    ]
    for piece in drawing.pieces:
        out.extend(_piece(piece, m, side))
    return "\n".join([*out, "</svg>"]) + "\n"


def _piece(piece: Piece, m: Affine, side: float) -> Iterator[str]:
    width = number(side / 900, 4)
    yield f'<g fill="none" stroke-width="{width}">'
    yield _line(piece.outline, m, "outline")
    for kind, paths in (
        ("opening", [o.path for o in piece.openings]),
        ("slit", [s.path for s in piece.slits]),
        ("mark", [p for k in piece.marks for p in k.paths]),
    ):
        for path in paths:
            yield _line(path, m, kind)
    yield "</g>"
    yield f'<g font-family="sans-serif" font-size="{number(side * LETTERS, 3)}">'
    for n, corner in enumerate(piece.outline.corner_points(), 1):
        yield _dot(m(corner), side)
        yield _text(str(n), m(corner), side)
    for name, at in piece.points.items():
        yield _dot(m(at), side)
        yield _text(name, m(at), side)
    low_x, low_y, high_x, high_y = piece.outline.bounds
    middle = m(complex(low_x + high_x, low_y + high_y) / 2)
    yield _text(piece.name, middle, side, weight="bold")
    yield "</g>"


def _line(path: Path, m: Affine, kind: str) -> str:
    return f'<path d="{to_path_data(path.transformed(m), 4)}" stroke="{_INK[kind]}"/>'


def _dot(at: complex, side: float) -> str:
    r = number(side / 400, 3)
    return f'<circle cx="{number(at.real, 3)}" cy="{number(at.imag, 3)}" r="{r}"/>'


def _text(text: str, at: complex, side: float, weight: str = "normal") -> str:
    x, y = at.real + side / 200, at.imag - side / 200
    return (
        f'<text x="{number(x, 3)}" y="{number(y, 3)}" font-weight="{weight}">'
        f"{escape(readable(text))}</text>"
    )
