"""A sheet as a picture for people: inline SVG, told apart by dashes as well as by colours.

The picture shows targets (what shall remain), not the tool's path: stock, usable area, pieces
with their numbers and names, openings, slits, marks, the order of cutting, the file's zero, and
the way of nap and stretch.  Its colours are classes of the sheet's own style, so that it follows
dark, light and black and white.  Nothing is cut from it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeAlias
from xml.etree.ElementTree import Element, SubElement, tostring

from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import number, to_path_data
from foamwright.geometry.region import (
    Region,
    bounds,
    grown,
    inside_point,
    is_empty,
    region,
    rings,
)
from foamwright.geometry.segments import Box, Points
from foamwright.model import OPERATIONS, Cut, Operation, Placement, Program
from foamwright.names import readable
from foamwright.stages.save.piece_arrows import piece_arrows

#: Width and height that a picture gets on the page, mm: text and strokes are sized by it.
PAGE_WIDTH, PAGE_HEIGHT = 165.0, 190.0
#: Sizes on the page, mm.
NAME_SIZE, NUMBER_SIZE, ORDER_SIZE, GUTTER = 2.6, 3.6, 1.9, 9.0
#: Length on the page of the bar that shows a holding bridge, mm.
BRIDGE_BAR = 3.2
#: Mean width of a letter over its size, for whether a name fits: from memory of common sans faces.
LETTER = 0.55
#: Flattening for the places of labels, mm: nothing is cut by it.
ROUGH = 0.2
#: Halvings of the search for the roomiest place: to 1/64 of the piece's size.
HALVINGS = 6
#: Rows of a piece that are tried for its name.
ROWS = 16
#: Decimals of the picture's numbers, mm.
DECIMALS = 2


@dataclass(frozen=True, slots=True)
class Look:
    """What a picture shows beside its program. zero: the file's origin in sheet mm.

    usable: left, near, right, far of where targets may lie.  nap: one-way or none; stretch: none,
    across, along, both.  label: the picture's name, `sheet-1`, unique on its page.  offcuts: what
    of the stock is worth keeping.
    """

    label: str
    usable: Box
    zero: complex = 0j
    offcuts: tuple[Box, ...] = ()
    nap: str = "none"
    stretch: str = "none"


@dataclass(frozen=True, slots=True)
class Step:
    """A contour in cutting order, by its number from 1. at: where it is begun."""

    number: int
    copy: str
    contour: str
    operation: Operation
    at: complex


def steps_of(program: Program) -> tuple[Step, ...]:
    """The contours in the order in which they are begun; several strokes of one are one step."""
    first: dict[tuple[str, str], Cut] = {}
    for cut in program.cuts:
        first.setdefault((cut.copy, cut.contour), cut)
    return tuple(
        Step(k, c.copy, c.contour, c.operation, c.path.start)
        for k, c in enumerate(first.values(), 1)
    )


def sheet_picture(program: Program, look: Look) -> str:
    """The picture as an `svg` element with a title; hostile names are escaped."""
    sheet = program.sheet
    k = page_scale(sheet.width, sheet.length)
    gutter = GUTTER * k
    view = (-gutter, -gutter, sheet.width + 2 * gutter, sheet.length + 2 * gutter)
    root = Element("svg", viewBox=" ".join(number(v, DECIMALS) for v in view))
    root.set("xmlns", "http://www.w3.org/2000/svg")
    root.set("class", "picture")
    root.set("role", "img")
    root.set("aria-labelledby", f"{look.label}-title")
    title = SubElement(root, "title", id=f"{look.label}-title")
    names = ", ".join(f"{i} {readable(p.copy.name)}" for i, p in enumerate(sheet.placements, 1))
    title.text = f"Sheet of {number(sheet.width, 1)} by {number(sheet.length, 1)} mm: {names}"
    drawn = SubElement(root, "g", id=f"{look.label}-drawn")
    drawn.set("transform", f"matrix(1 0 0 -1 0 {number(sheet.length, DECIMALS)})")
    drawn.set("stroke-width", number(0.35 * k, 3))
    _draw_stock(drawn, program, look, k)
    steps = steps_of(program)
    by_contour = {(s.copy, s.contour): s for s in steps}
    for box in look.offcuts:
        _rect(drawn, box, "offcut").set("stroke-dasharray", _dashes(DASHES["offcut"], k))
    for placed in sheet.placements:
        _draw_piece(drawn, placed, by_contour, k)
    _draw_bridges(drawn, program, k)
    for placed in sheet.placements:
        _draw_arrows(drawn, placed, look, k)
    _write_offcuts(root, sheet.length, look.offcuts, k)
    _write_labels(root, program, k)
    _write_order(root, steps, sheet.length, k)
    _write_frame(root, program, look, k)
    return tostring(root, encoding="unicode")


def page_scale(width: float, length: float) -> float:
    """Sheet mm to one mm on the page."""
    return max(width / (PAGE_WIDTH - 2 * GUTTER), length / (PAGE_HEIGHT - 2 * GUTTER))


def thumbnail(program: Program, label: str) -> str:
    """A small view of the picture named by `label`, which stands once on the same page."""
    sheet = program.sheet
    view = f"0 0 {number(sheet.width, DECIMALS)} {number(sheet.length, DECIMALS)}"
    root = Element("svg", viewBox=view)
    root.set("xmlns", "http://www.w3.org/2000/svg")
    root.set("class", "thumbnail")
    root.set("aria-hidden", "true")
    SubElement(root, "use", href=f"#{label}-drawn")
    return tostring(root, encoding="unicode")


def operations_of(program: Program) -> tuple[str, ...]:
    """The operations that the program has, in file order: what the legend must tell."""
    there = {c.operation for c in program.cuts}
    return tuple(o for o in OPERATIONS if o in there)


def legend_line(operation: str) -> str:
    """A short stretch of an operation's line, or of an offcut's, for the legend: 14 by 3 mm."""
    root = Element("svg", viewBox="0 0 14 3")
    root.set("class", "swatch")
    root.set("aria-hidden", "true")
    line = SubElement(root, "path", d="M0.5 1.5L13.5 1.5")
    line.set("class", "offcut" if operation == "offcut" else f"line {operation}")
    line.set("stroke-width", "0.5")
    if operation in DASHES:
        line.set("stroke-dasharray", _dashes(DASHES[operation], 1.0))
    return tostring(root, encoding="unicode")


def legend_bar(kind: str) -> str:
    """An outline with a bar across it for the legend: 14 by 3 mm."""
    root = Element("svg", viewBox="0 0 14 3")
    root.set("class", "swatch")
    root.set("aria-hidden", "true")
    line = SubElement(root, "path", d="M0.5 1.5L13.5 1.5")
    line.set("class", "line CUT_OUTER")
    line.set("stroke-width", "0.5")
    bar = SubElement(root, "path", d="M7 0.2L7 2.8")
    bar.set("class", kind)
    bar.set("stroke-width", "0.8")
    return tostring(root, encoding="unicode")


# ------------------------------------------------------------------------------------ drawing


def _draw_stock(parent: Element, program: Program, look: Look, k: float) -> None:
    sheet = program.sheet
    outline = sheet.stock.outline
    if outline is None:
        _rect(parent, (0, 0, sheet.width, sheet.length), "stock")
    else:
        SubElement(parent, "path", {"d": _data(outline), "class": "stock"})
    for zone in sheet.zones:
        kept_off = SubElement(parent, "path", {"d": _data(zone.outline), "class": "zone"})
        kept_off.set("stroke-dasharray", _dashes((0.4, 0.8), k))
    if look.usable != (0.0, 0.0, sheet.width, sheet.length):
        usable = _rect(parent, look.usable, "usable")
        usable.set("stroke-dasharray", _dashes((0.4, 1.6), k))


def _rect(parent: Element, box: Box, kind: str) -> Element:
    x0, y0, x1, y1 = box
    sizes = {"x": x0, "y": y0, "width": x1 - x0, "height": y1 - y0}
    shape = SubElement(parent, "rect", {n: number(v, DECIMALS) for n, v in sizes.items()})
    shape.set("class", kind)
    return shape


#: Dash patterns on the page, mm, one an operation and one for offcuts; the outer cut is plain.
DASHES: dict[str, tuple[float, ...]] = {
    "PEN": (0.3, 0.9),
    "SCORE": (0.9, 0.7),
    "HOLE": (0.5, 0.5),
    "CUT_SLIT": (2.6, 0.7, 0.5, 0.7),
    "CUT_INNER": (2.2, 0.8),
    "offcut": (3.2, 1.0),
}


def _dashes(pattern: Iterable[float], k: float) -> str:
    return " ".join(number(v * k, 3) for v in pattern)


def _draw_piece(
    parent: Element, placed: Placement, steps: Mapping[tuple[str, str], Step], k: float
) -> None:
    piece, name = placed.piece, placed.copy.name
    whole = [piece.outline, *(o.path for o in piece.openings)]
    body = SubElement(parent, "path", d=" ".join(_data(p) for p in whole))
    body.set("class", "piece")
    body.set("fill-rule", "evenodd")
    lines = [("outline", piece.outline)]
    lines += [(f"opening:{o.name}", o.path) for o in piece.openings]
    lines += [(f"slit:{s.name}", s.path) for s in piece.slits]
    lines += [(f"mark:{m.name}", p) for m in piece.marks for p in m.paths]
    for contour, path in lines:
        step = steps.get((name, contour))
        line = SubElement(parent, "path", d=_data(path))
        line.set("class", f"line {step.operation if step else 'uncut'}")
        if step is None:
            continue
        line.set("data-step", str(step.number))
        if step.operation in DASHES:
            line.set("stroke-dasharray", _dashes(DASHES[step.operation], k))


def _draw_bridges(parent: Element, program: Program, k: float) -> None:
    """A bar across the outline at each holding bridge."""
    half = BRIDGE_BAR * k / 2
    outlines = {p.copy.name: p.piece.outline for p in program.sheet.placements}
    for cut in program.cuts:
        if cut.bridge is None:
            continue
        outline = outlines[cut.copy]
        along, _ = nearest_length(outline, cut.bridge.at)
        across = 1j * outline.tangent_at(along) * half
        ends = (cut.bridge.at - across, cut.bridge.at + across)
        bar = SubElement(parent, "path", d=_polyline(ends))
        bar.set("class", "bridge")
        bar.set("stroke-width", number(0.8 * k, 3))


def _draw_arrows(parent: Element, placed: Placement, look: Look, k: float) -> None:
    """A piece's grain or nap, and the way it must give, through its roomiest place."""
    inside = _inside(placed)
    arrows = piece_arrows(placed, look.nap, look.stretch, inside, roomiest(inside), k)
    for arrow in arrows:
        d = (arrow.head - arrow.tail) / abs(arrow.head - arrow.tail)
        barbs = [_barb(arrow.head, d, k)] + ([_barb(arrow.tail, -d, k)] if arrow.both else [])
        line = SubElement(parent, "path", d=_polyline((arrow.tail, arrow.head)) + "".join(barbs))
        line.set("class", f"way {arrow.name}")
        line.set("stroke-width", number(0.3 * k, 3))


def _data(path: Path) -> str:
    return to_path_data(path, DECIMALS)


# ------------------------------------------------------------------------------------ writing


def _text(parent: Element, at: complex, words: str, size: float, kind: str) -> Element:
    """Words centred at a place in picture coordinates (y down)."""
    text = SubElement(parent, "text", x=number(at.real, DECIMALS), y=number(at.imag, DECIMALS))
    text.set("class", kind)
    text.set("font-size", number(size, DECIMALS))
    text.text = words
    return text


def _write_labels(parent: Element, program: Program, k: float) -> None:
    """Each piece's number and name where both fit, else its number where it has most room."""
    length = program.sheet.length
    size, line = NUMBER_SIZE * k, NAME_SIZE * k
    for i, placed in enumerate(program.sheet.placements, 1):
        inside = _inside(placed)
        words = readable(placed.copy.name)
        at, room = widest_place(inside, size + 1.3 * line)
        if room >= (len(words) * LETTER + 1) * line:
            here = complex(at.real, length - at.imag)
            _text(parent, here, str(i), size, "number")
            _text(parent, here + 1.1j * line, words, line, "name")
        else:
            at = roomiest(inside)
            _text(parent, complex(at.real, length - at.imag + 0.35 * size), str(i), size, "number")


def _inside(placed: Placement) -> Region:
    piece = placed.piece
    return region(piece.outline, (o.path for o in piece.openings), ROUGH)


def roomiest(inside: Region) -> complex:
    """The place inside a region that is farthest from its edges, about."""
    x0, y0, x1, y1 = bounds(inside)
    low, high = 0.0, min(x1 - x0, y1 - y0) / 2
    inner = inside
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        tried = grown(inside, -middle, ROUGH)
        if is_empty(tried):
            high = middle
        else:
            low, inner = middle, tried
    return inside_point(inner)


def widest_place(inside: Region, height: float) -> tuple[complex, float]:
    """The middle of the widest room for words of this height, and its width, mm; near the centre
    of the region where several are as wide. Looked for in `ROWS` rows.
    """
    _, y0, _, y1 = bounds(inside)
    centre = (y0 + y1) / 2
    found = [(0.0, complex(0, centre))]
    edges = edges_of(inside)
    for row in range(1, ROWS):
        y = y0 + (y1 - y0) * row / ROWS
        free = spans(edges, y)
        for other in (y - height / 2, y + height / 2):
            free = _common_spans(free, spans(edges, other))
        found += [(b - a, complex((a + b) / 2, y)) for a, b in free]
    room, at = max(found, key=lambda f: (round(f[0], 3), -abs(f[1].imag - centre)))
    return at, room


Edges: TypeAlias = tuple[tuple[Points, Points], ...]


def edges_of(inside: Region) -> Edges:
    """Starts and ends of a region's straight edges, ring by ring."""
    return tuple((ring[:-1], ring[1:]) for ring in rings(inside))


def spans(edges: Edges, y: float) -> list[tuple[float, float]]:
    """Even-odd rule: between the first and second crossing, the third and fourth..."""
    crossings: list[float] = []
    for start, end in edges:
        cross = (start.imag <= y) != (end.imag <= y)
        a, b = start[cross], end[cross]
        crossings += (a.real + (y - a.imag) * (b.real - a.real) / (b.imag - a.imag)).tolist()
    crossings.sort()
    return list(zip(crossings[::2], crossings[1::2], strict=True))


def _common_spans(
    a: list[tuple[float, float]], b: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    both = [(max(p[0], q[0]), min(p[1], q[1])) for p in a for q in b]
    return [s for s in both if s[0] < s[1]]


def _write_order(parent: Element, steps: Iterable[Step], length: float, k: float) -> None:
    """Where each contour is begun, numbered in cutting order."""
    for step in steps:
        start = complex(step.at.real, length - step.at.imag)
        dot = SubElement(parent, "circle", r=number(0.5 * k, 3))
        dot.set("cx", number(start.real, DECIMALS))
        dot.set("cy", number(start.imag, DECIMALS))
        dot.set("class", "start")
        size = ORDER_SIZE * k
        at = start + complex(0.4, -0.4) * size
        words = _text(parent, at, str(step.number), size, "order")
        for element in (dot, words):
            element.set("data-step", str(step.number))


def _write_offcuts(parent: Element, length: float, boxes: Iterable[Box], k: float) -> None:
    """In each offcut its size, if there is room for the words."""
    size = NAME_SIZE * k
    for x0, y0, x1, y1 in boxes:
        words = f"offcut {number(x1 - x0, 0)} × {number(y1 - y0, 0)} mm"
        if x1 - x0 > (len(words) * LETTER + 1) * size and y1 - y0 > 2 * size:
            _text(parent, complex((x0 + x1) / 2, length - (y0 + y1) / 2), words, size, "size")


def _write_frame(parent: Element, program: Program, look: Look, k: float) -> None:
    """Sizes along the edges, the file's zero, and arrows for nap and stretch."""
    sheet = program.sheet
    size, half = NAME_SIZE * k, GUTTER * k / 2
    wide = f"{number(sheet.width, 1)} mm across"
    _text(parent, complex(sheet.width / 2, sheet.length + half + size / 2), wide, size, "size")
    up = _text(parent, complex(sheet.width + half, sheet.length / 2), "", size, "size")
    up.text = f"{number(sheet.length, 1)} mm along"
    x, y = number(sheet.width + half, DECIMALS), number(sheet.length / 2, DECIMALS)
    up.set("transform", f"rotate(-90 {x} {y})")
    zero = complex(look.zero.real, sheet.length - look.zero.imag)
    mark = SubElement(parent, "path", d=_cross(zero, 2.2 * k))
    mark.set("class", "zero")
    mark.set("stroke-width", number(0.5 * k, 3))
    if look.nap == "one-way":
        _arrow(parent, complex(-half, sheet.length / 2), 1j, "nap", k)
    if look.stretch in ("across", "both"):
        _arrow(parent, complex(sheet.width / 2, -half), 1 + 0j, "stretch", k, both=True)
    if look.stretch in ("along", "both"):
        _arrow(parent, complex(-half, sheet.length / 4), 1j, "stretch", k, both=True)


def _cross(at: complex, arm: float) -> str:
    x, y, d = at.real, at.imag, arm
    n = [number(v, DECIMALS) for v in (x - d, y, x + d, y, x, y - d, x, y + d)]
    return f"M{n[0]} {n[1]}L{n[2]} {n[3]}M{n[4]} {n[5]}L{n[6]} {n[7]}"


def _arrow(
    parent: Element, at: complex, way: complex, words: str, k: float, *, both: bool = False
) -> None:
    """An arrow of 26 mm on the page along `way` (y up) with its word beside it."""
    d = complex(way.real, -way.imag)
    tip, tail = at + 13 * k * d, at - 13 * k * d
    barbs = [_barb(tip, d, k)] + ([_barb(tail, -d, k)] if both else [])
    line = SubElement(parent, "path", d=_polyline((tail, tip)) + "".join(barbs))
    line.set("class", "arrow")
    line.set("stroke-width", number(0.5 * k, 3))
    size = NAME_SIZE * k
    place = at - complex(0, 0.5 * size) if way == 1 else at - complex(0.5 * size, 0)
    text = _text(parent, place, words, size, "size")
    if way != 1:
        x, y = number(place.real, DECIMALS), number(place.imag, DECIMALS)
        text.set("transform", f"rotate(-90 {x} {y})")


def _barb(tip: complex, d: complex, k: float) -> str:
    return _polyline((tip + k * (-2 + 1j) * d, tip, tip + k * (-2 - 1j) * d))


def _polyline(points: Iterable[complex]) -> str:
    at = (f"{number(p.real, DECIMALS)} {number(p.imag, DECIMALS)}" for p in points)
    return "M" + "L".join(at)
