"""SVG's drawn elements (path and the basic shapes) as subpaths in their own user units.

Raises ValueError with the reason where an element can't be taken at all; an error part way
(path data, points) comes back beside what was drawn up to it.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Mapping

from foamwright.geometry.segments import Line
from foamwright.stages.acquire.curves import Drawn, ellipse_arc
from foamwright.stages.acquire.pathgrammar import PathData, Subpath, parse
from foamwright.stages.acquire.svgvalues import Axis, Viewport, length, numbers

_CSS_PATH = re.compile(r"""path\(\s*(["'])(.*)\1\s*\)""", re.DOTALL)


class Attributes:
    """An element's geometry: a CSS declaration where there is one, else the attribute."""

    def __init__(self, plain: Mapping[str, str], css: Mapping[str, str], viewport: Viewport):
        self._plain, self._css, self._viewport = plain, css, viewport

    def text(self, name: str) -> str | None:
        return self._plain.get(name)

    def css(self, name: str) -> str | None:
        return self._css.get(name)

    def length(self, name: str, axis: Axis, default: float = 0.0) -> float:
        found = self._length(name, axis)
        return default if found is None else found

    def size(self, name: str, axis: Axis) -> float | None:
        """A length that can't be negative; None: absent or `auto`."""
        found = self._length(name, axis)
        if found is not None and found < 0:
            raise ValueError(f"{name} is negative ({found:g})")
        return found

    def _length(self, name: str, axis: Axis) -> float | None:
        text = self._css.get(name, self._plain.get(name))
        if text is None or text.strip() == "auto":
            return None
        try:
            return length(text, axis, self._viewport)
        except ValueError as why:
            raise ValueError(f"{name}: {why}") from None


def subpaths(kind: str, given: Attributes) -> PathData:
    """What the element of this kind draws. kind: a key of `DRAWN`."""
    return DRAWN[kind](given)


def _path(given: Attributes) -> PathData:
    css = given.css("d")
    if css is None:
        return parse(given.text("d") or "")
    found = _CSS_PATH.fullmatch(css)
    if css.strip() == "none":
        return PathData(())
    if found is None:
        raise ValueError(f"d: {css!r} is not path data")
    return parse(found[2])


def _rect(given: Attributes) -> PathData:
    x, y = given.length("x", "x"), given.length("y", "y")
    w, h = given.size("width", "x") or 0.0, given.size("height", "y") or 0.0
    rx, ry = _radii(given)
    rx, ry = min(rx, w / 2), min(ry, h / 2)
    corners = [complex(x, y), complex(x + w, y), complex(x + w, y + h), complex(x, y + h)]
    if w <= 0 or h <= 0:
        return PathData((Subpath(corners[0], [], True),))
    if rx <= 0 or ry <= 0:
        return PathData((_polygon(corners, True),))
    inward = [complex(rx, ry), complex(-rx, ry), complex(-rx, -ry), complex(rx, -ry)]
    made: list[Drawn] = []
    for k in range(4):
        n = (k + 1) % 4
        along = 1.0 if k % 2 == 0 else 1j
        start = corners[k] + along * (inward[k] / along).real
        end = corners[n] + along * (inward[n] / along).real
        if start != end:
            made.append(Line(start, end))
        made.append(ellipse_arc(corners[n] + inward[n], rx, ry, -90.0 + 90.0 * k, 90.0))
    return PathData((Subpath(made[0].start, made, True),))


def _radii(given: Attributes) -> tuple[float, float]:
    """rx and ry, one standing for both where the other is absent or auto (SVG 1.1 section 9.2)."""
    rx, ry = given.size("rx", "x"), given.size("ry", "y")
    if rx is None:
        rx = ry
    if ry is None:
        ry = rx
    return rx or 0.0, ry or 0.0


def _circle(given: Attributes) -> PathData:
    r = given.size("r", "other") or 0.0
    return _round(given, r, r)


def _ellipse(given: Attributes) -> PathData:
    return _round(given, *_radii(given))


def _round(given: Attributes, rx: float, ry: float) -> PathData:
    centre = complex(given.length("cx", "x"), given.length("cy", "y"))
    if rx <= 0 or ry <= 0:
        return PathData((Subpath(centre, [], True),))
    arcs: list[Drawn] = [ellipse_arc(centre, rx, ry, 120.0 * k, 120.0) for k in range(3)]
    return PathData((Subpath(arcs[0].start, arcs, True),))


def _line(given: Attributes) -> PathData:
    start = complex(given.length("x1", "x"), given.length("y1", "y"))
    end = complex(given.length("x2", "x"), given.length("y2", "y"))
    return PathData((Subpath(start, [Line(start, end)]),))


def _polyline(given: Attributes) -> PathData:
    return _points(given, False)


def _polygon_of(given: Attributes) -> PathData:
    return _points(given, True)


def _points(given: Attributes, closed: bool) -> PathData:
    values, error = numbers(given.text("points") or "")
    if not error and len(values) % 2:
        error = "an odd count of numbers"
    spots = [complex(x, y) for x, y in zip(values[::2], values[1::2], strict=False)]
    told = f"points: {error}" if error else ""
    return PathData((_polygon(spots, closed),) if spots else (), told)


def _polygon(spots: list[complex], closed: bool) -> Subpath:
    sides: list[Drawn] = [Line(a, b) for a, b in itertools.pairwise(spots)]
    return Subpath(spots[0], sides, closed)


#: The elements that draw a line of their own.
DRAWN: Mapping[str, Callable[[Attributes], PathData]] = {
    "path": _path,
    "rect": _rect,
    "circle": _circle,
    "ellipse": _ellipse,
    "line": _line,
    "polyline": _polyline,
    "polygon": _polygon_of,
}
