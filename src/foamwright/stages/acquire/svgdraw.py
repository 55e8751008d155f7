"""One drawn SVG element under its map: paths in mm, places without size, and what is wrong.

Does not know the tree: `svg` walks it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic, Line, Segment
from foamwright.stages.acquire.curves import TINY, make_path, mapped, without_repeats
from foamwright.stages.acquire.pathgrammar import PathData, Subpath, decimals
from foamwright.stages.acquire.svgshapes import Attributes, subpaths
from foamwright.stages.acquire.svgstyle import Element
from foamwright.stages.acquire.svgvalues import Viewport

#: Coordinates beyond this, in mm (1 km), can't be meant.
FARTHEST = 1e6
#: A closing line up to this many steps of the coordinates' rounding is the writer's rounding.
ROUNDED_STEPS = 3

_NUMBERS_IN = {"path": "d", "polygon": "points", "polyline": "points"}


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with an element: a finding without its place."""

    code: str
    what: str
    mend: str


@dataclass(slots=True)
class Drawing:
    """paths: in mm.  dots: places drawn without size.  moves: moves that draw nothing.

    merged: points drawn on top of their neighbours.
    """

    paths: list[Path] = field(default_factory=list)
    dots: list[complex] = field(default_factory=list)
    moves: int = 0
    merged: list[complex] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Pen:
    """How elements become paths. corner_angle: degrees.  join_tolerance: mm."""

    corner_angle: float
    join_tolerance: float

    def draw(
        self, el: Element, kind: str, css: Mapping[str, str], m: Affine, viewport: Viewport
    ) -> Drawing:
        """The element of this kind (a key of `svgshapes.DRAWN`) under the map m to mm."""
        made = Drawing()
        attributes = {str(k): str(v) for k, v in el.attrib.items()}
        try:
            data = subpaths(kind, Attributes(attributes, css, viewport))
        except ValueError as why:
            made.problems.append(Problem("R203", str(why), "correct the attribute"))
            return made
        rounding = _rounding(el, kind, m)
        if data.error:
            mend = "only what stands before it is drawn: correct it"
            made.problems.append(Problem("R202", data.error, mend))
        try:
            self._add(made, data, m, rounding)
        except OverflowError:
            made.problems.append(_too_far())
        return made

    def _add(self, made: Drawing, data: PathData, m: Affine, rounding: float) -> None:
        for sub in data.subpaths:
            segments = mapped(sub.segments, m)
            if not all(_is_near(s) for s in segments):
                made.problems.append(_too_far())
                return
            path = self._path(made, segments, sub, rounding)
            if path is not None:
                made.paths.append(path)
            elif sub.closed or sub.segments:
                made.dots.append(m(sub.start))
            else:
                made.moves += 1

    def _path(
        self, made: Drawing, segments: list[Segment], sub: Subpath, rounding: float
    ) -> Path | None:
        """One path, closed where its ends meet; None where it has no length."""
        if not segments:
            return None
        made.merged += without_repeats(segments, False)[1]
        closed, start, end = sub.closed, segments[0].start, segments[-1].end
        gap = abs(end - start)
        near = closed and gap <= min(self.join_tolerance, ROUNDED_STEPS * rounding)
        if len(segments) > 1 and gap <= TINY:
            near = closed = True
        if near and len(segments) > 1:
            segments = [*segments[:-1], replace(segments[-1], end=start)]
        elif closed and gap > 0:
            segments = [*segments, Line(end, start)]
        try:
            return make_path(segments, closed, self.corner_angle, rounding)
        except GeometryError:
            return None


def dot(place: complex) -> Path:
    """A path of no length, for a point or a note."""
    return Path((Line(place, place),), False)


def _rounding(el: Element, kind: str, m: Affine) -> float:
    """The step of the coordinates in mm; 0 where they are whole numbers or exact by nature."""
    key = _NUMBERS_IN.get(kind)
    count = decimals(el.get(key) or "") if key else 0
    return 10.0**-count * abs(m.vector(1 + 0j)) if count else 0.0


def _too_far() -> Problem:
    what = "has coordinates more than 1 km away or not finite"
    return Problem("R113", what, "correct the coordinates or the unit")


def _is_near(s: Segment) -> bool:
    spots = [s.start, s.end]
    if isinstance(s, Cubic):
        spots += [s.control1, s.control2]
    return all(abs(p.real) <= FARTHEST and abs(p.imag) <= FARTHEST for p in spots)
