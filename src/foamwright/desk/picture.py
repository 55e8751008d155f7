"""A piece's picture for its card: outline, openings, slits, marks, corners with their numbers.

Inline SVG whose colours are classes of the page's style.  For looking at; nothing is cut from it.
"""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement, tostring

from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import number, to_path_data
from foamwright.model import Piece
from foamwright.names import readable

#: White space round a piece, and height of a corner's number, as parts of its larger side.
BORDER, LETTERS = 0.07, 0.055
#: Decimals of the picture's numbers, mm.
DECIMALS = 2


def piece_picture(piece: Piece) -> str:
    """The picture as an `svg` element, y turned down; hostile names are escaped."""
    low_x, low_y, high_x, high_y = piece.outline.bounds
    side = max(high_x - low_x, high_y - low_y)
    rim = BORDER * side
    view = (low_x - rim, -high_y - rim, high_x - low_x + 2 * rim, high_y - low_y + 2 * rim)
    root = Element("svg", viewBox=" ".join(number(v, DECIMALS) for v in view))
    root.set("xmlns", "http://www.w3.org/2000/svg")
    root.set("class", "piece-picture")
    root.set("role", "img")
    root.set("aria-label", f"{readable(piece.name)} as drawn")
    drawn = SubElement(root, "g", transform="matrix(1 0 0 -1 0 0)")
    whole = [piece.outline, *(o.path for o in piece.openings)]
    body = SubElement(drawn, "path", d=" ".join(map(_data, whole)))
    body.set("class", "body")
    body.set("fill-rule", "evenodd")
    for kind, paths in (
        ("outline", [piece.outline]),
        ("opening", [o.path for o in piece.openings]),
        ("slit", [s.path for s in piece.slits]),
        ("mark", [p for m in piece.marks for p in m.paths]),
    ):
        for path in paths:
            SubElement(drawn, "path", {"d": _data(path), "class": kind})
    _corners(root, piece, side)
    return tostring(root, encoding="unicode")


def _corners(root: Element, piece: Piece, side: float) -> None:
    """Numbers at the corners, and a dot for each drawn point."""
    group = SubElement(root, "g", {"class": "corners", "font-size": number(side * LETTERS, 2)})
    for n, at in enumerate(piece.outline.corner_points(), 1):
        _dot(group, at, side, "corner")
        spot = {"x": number(at.real, DECIMALS), "y": number(-at.imag, DECIMALS)}
        text = SubElement(group, "text", spot)
        text.set("dx", number(side / 90, 2))
        text.set("dy", number(-side / 90, 2))
        text.text = str(n)
    for at in piece.points.values():
        _dot(group, at, side, "point")


def _dot(group: Element, at: complex, side: float, kind: str) -> None:
    dot = SubElement(group, "circle", r=number(side / 130, 2))
    dot.set("cx", number(at.real, DECIMALS))
    dot.set("cy", number(-at.imag, DECIMALS))
    dot.set("class", kind)


def _data(path: Path) -> str:
    return to_path_data(path, DECIMALS)
