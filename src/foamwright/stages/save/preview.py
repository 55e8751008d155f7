"""A picture of a drawing as it was read: outlines, openings, marks, corner numbers, findings.

Every finding with a place has a numbered flag there, in its severity's shape and colour; below the
picture stand the findings by number, and those without a place behind them.  Lines that were
refused are drawn too, so that a fault's flag stands on something.
For looking at, never for cutting: it is a picture with text, and its size is the drawing's.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from xml.sax.saxutils import escape

from foamwright.findings import Finding, Severity
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import number, to_path_data
from foamwright.geometry.segments import Box
from foamwright.model import Drawing, Piece
from foamwright.names import readable

#: Words by which a preview is known again, so that only previews are overwritten.
SIGNATURE = "Foamwright preview: not for cutting"
#: White space round the drawing, as a part of the picture's larger side.
BORDER = 0.03
#: Height of a corner's number and of a name, as a part of the picture's larger side.
LETTERS = 0.012
#: Height of a flag, as a part of the picture's larger side.
FLAG = 0.011
#: Room above the drawing for two flags on top of each other, in flags.
HEADROOM = 6.0
#: From one line of the list to the next, in heights of a letter.
LINE = 1.5
#: Width of a letter, in its heights, with room to spare (common practice, no source).
WIDE = 0.56
#: Flags of one finding, and lines of the list.
MOST_FLAGS, MOST_LINES = 25, 200
#: The largest and the least side of what is drawn, mm.
LARGEST, LEAST = 1e7, 1.0
_INK = {
    "outline": "#D55E00",
    "opening": "#0072B2",
    "slit": "#E69F00",
    "mark": "#009E73",
    "refused": "#999999",
}
#: Okabe-Ito colours; the shapes tell the severities apart without them.
_FLAGS = {Severity.NOTE: "#0072B2", Severity.WARNING: "#B35900", Severity.FAULT: "#A00000"}


def preview_svg(drawing: Drawing, findings: Sequence[Finding]) -> str:
    """The picture as SVG text; findings are flagged, listed below and told in its description."""
    told = sorted(dict.fromkeys(findings), key=lambda f: not f.spots)
    low_x, low_y, high_x, high_y = _frame(drawing, told)
    side = max(high_x - low_x, high_y - low_y)
    rim = BORDER * side
    above = HEADROOM * FLAG * side if any(f.spots for f in told) else rim
    m = Affine(1, 0, 0, -1, rim - low_x, high_y + above)
    wide, high = high_x - low_x + 2 * rim, high_y - low_y + above + rim
    listed = list(_list(told, wide, high, side))
    w, h = number(wide, 3), number(high + len(listed) * side * LETTERS * LINE, 3)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" '
        f'viewBox="0 0 {w} {h}">',
        f"<title>{SIGNATURE}: {escape(readable(drawing.file))}</title>",
        "<desc>" + escape(readable(" | ".join(f.line() for f in findings))) + "</desc>",
        f'<rect width="{w}" height="{h}" fill="#ffffff"/>',
    ]
    out.extend(_strays(drawing.strays, m, side))
    for piece in drawing.pieces:
        out.extend(_piece(piece, m, side))
    out.extend(_flags(told, m, side))
    return "\n".join([*out, *listed, "</svg>"]) + "\n"


def _frame(drawing: Drawing, findings: Iterable[Finding]) -> Box:
    """Round the pieces, the refused lines and the places of findings; refused ones may be wild."""
    boxes = [p.outline.bounds for p in drawing.pieces]
    strays = [p.bounds for p in drawing.strays]
    spots = [(p.real, p.imag, p.real, p.imag) for f in findings for p in f.spots]
    boxes += [b for b in (*strays, *spots) if all(abs(v) <= LARGEST for v in b)]
    if not boxes:
        return (0.0, 0.0, 100.0, 100.0)
    low_x, low_y = min(b[0] for b in boxes), min(b[1] for b in boxes)
    return (
        *(low_x, low_y),
        max(low_x + LEAST, *(b[2] for b in boxes)),
        max(low_y + LEAST, *(b[3] for b in boxes)),
    )


def _strays(paths: Iterable[Path], m: Affine, side: float) -> Iterator[str]:
    yield f'<g fill="none" stroke-width="{number(side / 900, 4)}">'
    for path in paths:
        if path.length > 0 and all(abs(v) <= LARGEST for v in path.bounds):
            yield _line(path, m, "refused")
    yield "</g>"


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


# Findings


def _flags(findings: Sequence[Finding], m: Affine, side: float) -> Iterator[str]:
    """Each finding's number at its places; where several share one, the numbers stand in a row."""
    size = FLAG * side
    letters = number(side * LETTERS, 3)
    yield f'<g font-family="sans-serif" font-size="{letters}" text-anchor="middle">'
    taken: dict[tuple[int, int], int] = {}
    for n, finding in enumerate(findings, 1):
        for at in finding.spots[:MOST_FLAGS]:
            if not max(abs(at.real), abs(at.imag)) <= LARGEST:
                continue
            cell = (round(at.real / size), round(at.imag / size))
            row = taken[cell] = taken.get(cell, 0) + 1
            yield from _flag(str(n), finding.severity, m(at), size, row - 1)
    yield "</g>"


def _flag(label: str, severity: Severity, at: complex, size: float, row: int) -> Iterator[str]:
    """A ring at the place and, above it, the numbered shape: disc, triangle or square."""
    ink = _FLAGS[severity]
    ring = f'cx="{number(at.real, 3)}" cy="{number(at.imag, 3)}" r="{number(size / 4, 3)}"'
    yield f'<circle {ring} fill="none" stroke="{ink}" stroke-width="{number(size / 12, 4)}"/>'
    middle = at + size * complex(-1.2, -1.6 - 2.4 * row)  # a corner's number stands to the right
    foot, head = at + size / 4 * complex(-0.6, -0.8), middle + size * complex(0.5, 0.8)
    if row == 0:
        stem = f"M{_pair(foot)}L{_pair(head)}"
        yield f'<path d="{stem}" stroke="{ink}" stroke-width="{number(size / 12, 4)}"/>'
    yield f'<path d="{_shape(severity, middle, size)}" fill="{ink}"/>'
    x, y = number(middle.real, 3), number(middle.imag + size * 0.36, 3)
    yield f'<text x="{x}" y="{y}" fill="#ffffff" font-weight="bold">{label}</text>'


def _shape(severity: Severity, middle: complex, size: float) -> str:
    if severity is Severity.NOTE:
        turns = [k * math.tau / 24 for k in range(24)]
        corners = [size * complex(math.cos(t), math.sin(t)) for t in turns]
    elif severity is Severity.WARNING:
        corners = [size * c for c in (-1.35 + 0.8j, 1.35 + 0.8j, -1.5j)]
    else:
        corners = [size * c for c in (-1 - 1j, 1 - 1j, 1 + 1j, -1 + 1j)]
    return "M" + "L".join(_pair(middle + c) for c in corners) + "Z"


def _pair(p: complex) -> str:
    return f"{number(p.real, 3)} {number(p.imag, 3)}"


def _list(findings: Sequence[Finding], wide: float, top: float, side: float) -> Iterator[str]:
    """The findings below the picture, a text a line."""
    rim, letter = BORDER * side, LETTERS * side
    room = max(12, int((wide - 2 * rim) / (WIDE * letter)))
    rows: list[tuple[str, str]] = []
    for n, finding in enumerate(findings, 1):
        where = "" if finding.spots else " (no place)"
        lines = textwrap.wrap(readable(f"{n}{where}: {finding.line()}"), room)
        rows += [(_FLAGS[finding.severity], line) for line in lines]
    if len(rows) > MOST_LINES:
        rows = [*rows[: MOST_LINES - 1], ("#000000", "and more: see what the command tells")]
    for k, (ink, line) in enumerate(rows):
        y = top + k * letter * LINE
        yield (
            f'<text x="{number(rim, 3)}" y="{number(y, 3)}" font-family="sans-serif" '
            f'font-size="{number(letter, 3)}" fill="{ink}">{escape(line)}</text>'
        )
