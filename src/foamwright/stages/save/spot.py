"""A picture of a proof's worst place: the piece, the place, the edge close up, a place not reached.

Each panel is a window of the same scene at its own scale, with a bar that tells it: the target, the
written path, the edge that the tool leaves, the tool itself.  For looking at, never for cutting.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from xml.sax.saxutils import escape

from foamwright.explained import Explanation, Place, Scene, ToolAt, lines_of
from foamwright.geometry.affine import Affine
from foamwright.geometry.pathdata import number, to_path_data
from foamwright.geometry.segments import Box, Points, box_of
from foamwright.names import readable
from foamwright.stages.save.preview import SIGNATURE

#: Sizes on the page, mm: a panel's side, the gap between panels, letters, a line of text.
PANEL, GAP, LETTERS, LINE = 88.0, 8.0, 3.2, 4.6
#: Characters that fit the page: a sans face's are about 0.55 of their height wide (from memory).
LONGEST = 100
#: A bar is at most this share of its panel.
BAR = 0.3
#: Side of the window about the place, in widths of the tool; close up, in deviations.
TOOLS, DEVIATIONS = 4.0, 8.0
#: Least side of a window, mm, so that rounding in the sixth decimal does not show.
LEAST = 0.02
#: How far about its panel a line is kept, in sides of the window.
AROUND = 2.0
_INK = {
    "target": "#0072B2",
    "path": "#009E73",
    "trail": "#CC79A7",
    "kept": "#D55E00",
    "tool": "#000000",
}
_STOCK = "#F6E9DD"
_FLIP = Affine.scaling(1, -1)
#: Dashes of a line in widths of the line; none: a plain line.
_DASHES = {"path": (4.0, 2.5), "trail": (1.2, 1.8)}


@dataclass(frozen=True, slots=True)
class Panel:
    """A square window on the scene. middle: sheet mm; side: mm; place: what an arrow points at."""

    title: str
    middle: complex
    side: float
    place: Place | None
    with_tool: bool = True

    @property
    def unit(self) -> float:
        """Sheet mm to one mm on the page."""
        return self.side / PANEL


def spot_svg(told: Explanation) -> str:
    """The picture as SVG text; what it tells in words stands beneath it."""
    panels = tuple(_panels(told))
    lines = [part for line in lines_of(told) for part in _wrapped(line)]
    words = [*_legend(told), *lines]
    rows = math.ceil(len(panels) / 2)
    wide = 2 * PANEL + 3 * GAP
    high = rows * (PANEL + GAP + LINE) + GAP + LINE * (len(words) + 1)
    w, h = number(wide, 3), number(high, 3)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" '
        f'viewBox="0 0 {w} {h}" font-family="sans-serif" font-size="{LETTERS}">',
        f"<title>{SIGNATURE}: where {escape(readable(told.copy))} is off most</title>",
        f"<desc>{escape(readable(' | '.join(lines_of(told))))}</desc>",
        f'<rect width="{w}" height="{h}" fill="#ffffff"/>',
    ]
    for k, panel in enumerate(panels):
        x, y = GAP + (k % 2) * (PANEL + GAP), GAP + (k // 2) * (PANEL + GAP + LINE)
        out.extend(_drawn(panel, told.scene, complex(x, y)))
    top = rows * (PANEL + GAP + LINE) + GAP
    out.extend(_key(told, top))
    for k, line in enumerate(lines):
        out.append(_text(line, complex(GAP, top + (k + len(_legend(told)) + 1) * LINE)))
    return "\n".join([*out, "</svg>"]) + "\n"


def _panels(told: Explanation) -> Iterator[Panel]:
    low_x, low_y, high_x, high_y = told.scene.target[0].bounds
    whole = 1.12 * max(high_x - low_x, high_y - low_y)
    middle = complex(low_x + high_x, low_y + high_y) / 2
    yield Panel("the piece on its sheet", middle, whole, told.worst, with_tool=False)
    tool, at = _size(told.scene.tool), told.worst.at
    near = min(whole, max(TOOLS * tool, 2 * told.worst.depth, 20 * told.limit))
    yield Panel("the worst place with the tool", at, near, told.worst)
    close = max(DEVIATIONS * told.worst.depth, DEVIATIONS * told.limit / 2, LEAST)
    if close < near / 1.5:
        yield Panel("its edge close up", at, close, told.worst)
    if told.unreached is not None:
        side = min(whole, max(TOOLS * tool, 6 * told.unreached.depth))
        yield Panel("the deepest place not reached", told.unreached.at, side, told.unreached, False)


def _size(tool: ToolAt | None) -> float:
    """How wide the tool is over all, mm."""
    if tool is None:
        return 1.0
    reach = [abs(p - tool.at) for p in (tool.pivot, tool.bottom) if p is not None]
    return max(2 * tool.beam.radius, *reach, 0.1)


# ------------------------------------------------------------------------------------ a panel


def _drawn(panel: Panel, scene: Scene, corner: complex) -> Iterator[str]:
    """The panel with its title over it and its bar; a nested `svg` clips it."""
    unit, half = panel.unit, panel.side / 2
    view = (panel.middle.real - half, -panel.middle.imag - half, panel.side, panel.side)
    x, y = number(corner.real, 3), number(corner.imag + LINE, 3)
    yield _text(panel.title, corner + 0.7j * LINE)
    yield (
        f'<svg x="{x}" y="{y}" width="{PANEL:g}" height="{PANEL:g}" overflow="hidden" '
        f'viewBox="{" ".join(number(v, 6) for v in view)}">'
    )
    yield f'<g fill="none" stroke-width="{number(0.35 * unit, 7)}" stroke-linejoin="round">'
    yield from _lines(panel, scene)
    if panel.with_tool and scene.tool is not None:
        yield from _tool(scene.tool, unit)
    if panel.place is not None:
        yield from _pointer(panel.place.at, unit)
    yield "</g>"
    yield "</svg>"
    yield (
        f'<rect x="{x}" y="{y}" width="{PANEL:g}" height="{PANEL:g}" fill="none" '
        'stroke="#000000" stroke-width="0.2"/>'
    )
    yield from _bar(panel, corner + 1j * LINE)


def _lines(panel: Panel, scene: Scene) -> Iterator[str]:
    unit = panel.unit
    if scene.kept:
        data = " ".join(_polyline(ring) for ring in scene.kept)
        yield f'<path d="{data}" fill="{_STOCK}" fill-rule="evenodd" stroke="{_INK["kept"]}"/>'
    window = _window(panel)
    for kind, paths in (("target", scene.target), ("path", scene.written)):
        for path in paths:
            if _meet(path.bounds, window):
                yield _line(to_path_data(path.transformed(_FLIP), 6), kind, unit)
    for trail in scene.trails:
        if _meet(box_of(trail), window):
            yield _line(_polyline(trail), "trail", unit)


def _window(panel: Panel) -> Box:
    half, at = panel.side * AROUND / 2, panel.middle
    return at.real - half, at.imag - half, at.real + half, at.imag + half


def _meet(a: Box, b: Box) -> bool:
    return a[0] <= b[2] and b[0] <= a[2] and a[1] <= b[3] and b[1] <= a[3]


def _polyline(points: Points) -> str:
    shown = (f"{number(p.real, 6)} {number(-p.imag, 6)}" for p in points)
    return "M" + " L".join(shown)


def _line(data: str, kind: str, unit: float) -> str:
    dashes = " ".join(number(0.35 * d * unit, 7) for d in _DASHES.get(kind, ()))
    pattern = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="{data}" stroke="{_INK[kind]}"{pattern}/>'


def _tool(tool: ToolAt, unit: float) -> Iterator[str]:
    """The section of what is removed; a blade as the line from its pivot or to its lower end."""
    x, y = number(tool.at.real, 6), number(-tool.at.imag, 6)
    if tool.beam.radius:
        rx, ry = number(tool.beam.rx, 6), number(tool.beam.ry, 6)
        yield f'<ellipse cx="{x}" cy="{y}" rx="{rx}" ry="{ry}" stroke="{_INK["tool"]}"/>'
    for end, size in ((tool.pivot, 1.0), (tool.bottom, 0.6)):
        if end is not None:
            ex, ey, r = number(end.real, 6), number(-end.imag, 6), number(size * unit, 7)
            wide = number(0.7 * unit, 7)
            yield (
                f'<path d="M{x} {y} L{ex} {ey}" stroke="{_INK["tool"]}" stroke-width="{wide}"/>'
                f'<circle cx="{ex}" cy="{ey}" r="{r}" stroke="{_INK["tool"]}"/>'
            )
    r = number(0.5 * unit, 7)
    yield f'<circle cx="{x}" cy="{y}" r="{r}" fill="{_INK["tool"]}"/>'


def _pointer(at: complex, unit: float) -> Iterator[str]:
    """A ring about the place with four ticks: what lies in it stays to be seen."""
    x, y = at.real, -at.imag
    r = 2.2 * unit
    ticks = " ".join(
        f"M{number(x + r * c, 6)} {number(y + r * s, 6)} "
        f"L{number(x + 2 * r * c, 6)} {number(y + 2 * r * s, 6)}"
        for c, s in ((1, 0), (0, 1), (-1, 0), (0, -1))
    )
    yield (
        f'<circle cx="{number(x, 6)}" cy="{number(y, 6)}" r="{number(r, 7)}" stroke="#000000"/>'
        f'<path d="{ticks}" stroke="#000000"/>'
    )


def bar_length(most: float) -> float:
    """The longest of 1, 2, 5, 10... mm that is no longer than `most`."""
    ten = 10.0 ** math.floor(math.log10(most))
    return max(k * ten for k in (1, 2, 5) if k * ten <= most * (1 + 1e-9))


def _bar(panel: Panel, corner: complex) -> Iterator[str]:
    mm = bar_length(BAR * panel.side)
    long = mm / panel.unit
    x, y = corner.real + 3, corner.imag + PANEL - 3
    wide = number(long + 2, 3)
    yield (
        f'<rect x="{number(x - 1, 3)}" y="{number(y - 5, 3)}" width="{wide}" height="6.5" '
        'fill="#ffffff" fill-opacity="0.85"/>'
        f'<path d="M{number(x, 3)} {number(y - 1.5, 3)} v1.5 h{number(long, 3)} v-1.5" '
        'fill="none" stroke="#000000" stroke-width="0.4"/>'
    )
    yield _text(f"{mm:g} mm", complex(x + 1, y - 1.4))


# ------------------------------------------------------------------------------------ words


def _legend(told: Explanation) -> list[tuple[str, str]]:
    tip = "where the tip runs" if told.scene.trails else ""
    edge = "the edge that the tool leaves, and the stock with the piece"
    if told.scene.tool is not None and not told.scene.tool.beam.radius:
        edge += f" (the cut taken as {told.limit:g} mm wide)"
    rows = [
        ("target", "what must be left"),
        ("kept", edge),
        ("path", "the written path"),
        ("trail", tip),
        ("tool", _tool_words(told)),
    ]
    return [(kind, words) for kind, words in rows if words]


def _tool_words(told: Explanation) -> str:
    tool = told.scene.tool
    if tool is None:
        return ""
    if tool.pivot is not None:
        return "the blade there: its pivot is the ring, its tip the dot"
    if tool.bottom is not None:
        return "the blade there: the dot at the top face, the ring where it severs the bottom"
    return "what the tool removes there" if tool.beam.radius else "where the tool is there"


def _wrapped(line: str) -> list[str]:
    """A line in parts that fit the page; its own indent stays."""
    indent = line[: len(line) - len(line.lstrip())]
    later = f"{indent}    "
    return textwrap.wrap(line.strip(), LONGEST, initial_indent=indent, subsequent_indent=later)


def _key(told: Explanation, top: float) -> Iterator[str]:
    for k, (kind, words) in enumerate(_legend(told)):
        y = top + k * LINE
        d = f"M{GAP:g} {number(y - 1, 3)} h12"
        dashes = " ".join(number(0.45 * v, 3) for v in _DASHES.get(kind, ()))
        pattern = f' stroke-dasharray="{dashes}"' if dashes else ""
        yield f'<path d="{d}" fill="none" stroke="{_INK[kind]}" stroke-width="0.45"{pattern}/>'
        yield _text(words, complex(GAP + 15, y))


def _text(words: str, at: complex) -> str:
    x, y = number(at.real, 3), number(at.imag, 3)
    return f'<text x="{x}" y="{y}" xml:space="preserve">{escape(readable(words))}</text>'
