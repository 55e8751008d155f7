"""What is to be cut of a placed piece, and by which operation.

A contour is one target path: a mark's line, a slit, an opening or the outline.  Its name is
`mark:toe`, `slit:vein-1`, `opening:eye` or `outline`; paths of one mark share their name.
Also the small steps that every tool shares: lines and arcs for cubics, chords for arcs where the
machine's software wants them, a start elsewhere on a closed path.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from foamwright.geometry.affine import Affine
from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.offset import FIT_SHARE, offset
from foamwright.geometry.offset_oval import offset_oval
from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.region import self_crossings
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.model import Cut, Entry, Mark, MarkMaker, Operation, Placement, Sheet, Tool

#: Turn at a spike's tip, degrees; how many finer fits are tried for one, each by so much finer; and
#: how near to its tip its sides may cross without harm, mm.
SPIKE_TURN, FINER_FITS, BY, AT_TIP = 120.0, 6, 4.0, 0.002
#: How much finer chords are where a trailing tip would add their errors up.
FINER = 3.0
#: Shapes whose fit or parallel is kept for their other copies.
KEPT = 256
#: Stretches of a cubic over which its radius is taken, and the turn (radians) that counts as none.
STRETCHES, STEADY = 32, 1e-6
_MADE_BY: dict[MarkMaker, Operation] = {
    "score": "SCORE",
    "pen": "PEN",
    "hole": "HOLE",
    "slit": "CUT_SLIT",
}


@dataclass(frozen=True, slots=True)
class Contour:
    """One target path of a copy, which may hold cubics.

    path: on the sheet.  drawn, map: the same before placing, and what places it; what depends on
    the shape alone is found once there for all copies, so that they are cut alike.
    """

    copy: str
    name: str
    operation: Operation
    path: Path
    drawn: Path
    map: Affine

    @property
    def frees(self) -> bool:
        """True where the cut has a piece on one side and scrap on the other."""
        return self.operation in ("CUT_INNER", "CUT_OUTER")

    def cut(self, path: Path, left: float = 0.0, entries: tuple[Entry, ...] = ()) -> Cut:
        return Cut(self.copy, self.name, self.operation, path, left=left, entries=entries)

    def place(self, p: complex) -> str:
        """For messages: whose contour, and where on the sheet in mm."""
        return f"{self.copy} {self.name} at ({p.real:.2f}, {p.imag:.2f}) mm"


def mark_operation(mark: Mark, marks_by: MarkMaker) -> Operation:
    """A hole is always drilled or burnt through; other marks are made as the machine can."""
    return "HOLE" if mark.shape == "hole" else _MADE_BY[marks_by]


def contours(placement: Placement, tool: Tool) -> Iterator[Contour]:
    """A placed piece's contours: marks, slits, openings, then the outline."""

    def contour(name: str, operation: Operation, placed: Path, drawn: Path) -> Contour:
        return Contour(placement.copy.name, name, operation, placed, drawn, placement.map)

    placed, drawn = placement.piece, placement.copy.piece
    for mark, as_drawn in zip(placed.marks, drawn.marks, strict=True):
        operation = mark_operation(mark, tool.marks_by)
        for path, before in zip(mark.paths, as_drawn.paths, strict=True):
            yield contour(f"mark:{mark.name}", operation, path, before)
    for slit, cut in zip(placed.slits, drawn.slits, strict=True):
        yield contour(f"slit:{slit.name}", "CUT_SLIT", slit.path, cut.path)
    for opening, hole in zip(placed.openings, drawn.openings, strict=True):
        yield contour(f"opening:{opening.name}", "CUT_INNER", opening.path, hole.path)
    yield contour("outline", "CUT_OUTER", placed.outline, drawn.outline)


def sheet_contours(sheet: Sheet, tool: Tool) -> Iterator[Contour]:
    for placement in sheet.placements:
        yield from contours(placement, tool)


def share(tool: Tool, tolerance: float) -> float:
    """What of a tolerance the fit may take: half where chords take the other half."""
    return tolerance / 2 if tool.curves == "lines" else tolerance


def fitted(path: Path, tolerance: float) -> Path:
    """The path as lines and arcs."""
    kept = spikes_kept(path, tolerance)
    return fit_arcs(kept, tolerance) if _has_cubics(kept) else kept


def _has_cubics(path: Path) -> bool:
    return any(isinstance(s, Cubic) for s in path.segments)


def spikes_kept(path: Path, tolerance: float) -> Path:
    """The path itself, or lines and arcs where a fit to this tolerance would lose a spike.

    The sides of a spike thinner than twice the tolerance may cross once they are fitted, far from
    the tip; then they are fitted more finely until they don't.
    """
    if not (_has_cubics(path) and _has_spike(path)):
        return path
    made = path
    for k in range(FINER_FITS):
        finer = tolerance / BY**k
        made = fit_arcs(path, finer)
        if not _loses_a_tip(made, finer / 100):
            return made if k else path
    return made


def _has_spike(path: Path) -> bool:
    joints = ((path.segments[i - 1], path.segments[i]) for i in path.corners)
    return any(abs(turn_degrees(a.tangent(1.0), b.tangent(0.0))) > SPIKE_TURN for a, b in joints)


def _loses_a_tip(path: Path, closely: float) -> bool:
    tips = path.corner_points()
    return any(
        all(abs(spot - tip) > AT_TIP for tip in tips) for spot in self_crossings(path, closely)
    )


def written(path: Path, tool: Tool, tolerance: float) -> Path:
    """A path of lines and arcs as this machine's software wants it."""
    if tool.curves == "arcs":
        return path
    return chords(path, tolerance / 2, tight=2 * tool.blade_offset)


@lru_cache(maxsize=KEPT)
def _fitted_once(drawn: Path, tolerance: float) -> Path:
    return fitted(drawn, tolerance)


def fitted_target(contour: Contour, tolerance: float) -> Path:
    """The target on the sheet as lines and arcs."""
    return _fitted_once(contour.drawn, tolerance).transformed(contour.map)


@lru_cache(maxsize=KEPT)
def _offset_once(drawn: Path, distance: float, tolerance: float) -> tuple[Path, ...]:
    return offset(spikes_kept(drawn, tolerance * FIT_SHARE), distance, tolerance)


def offset_target(contour: Contour, distance: float, tolerance: float) -> tuple[Path, ...]:
    """The parallels of a closed target on the sheet, `distance` mm away from the material."""
    found = _offset_once(contour.drawn, distance, tolerance)
    return tuple(p.transformed(contour.map) for p in found)


@lru_cache(maxsize=KEPT)
def _offset_oval_once(turned: Path, oval: Oval, tolerance: float) -> tuple[Path, ...]:
    return offset_oval(turned, oval, tolerance)


def offset_target_oval(contour: Contour, oval: Oval, tolerance: float) -> tuple[Path, ...]:
    """The ways of an oval's centre round a closed target, on its scrap side.

    The oval keeps to the sheet however a copy is turned, so copies are alike only if turned alike.
    """
    move = Affine.translation(complex(contour.map.e, contour.map.f))
    turned = contour.drawn.transformed(move.inverse() @ contour.map)
    return tuple(p.transformed(move) for p in _offset_oval_once(turned, oval, tolerance))


def plain(contour: Contour, tool: Tool, tolerance: float) -> Path:
    """The target itself, uncompensated, as lines and arcs or chords."""
    return written(fitted_target(contour, share(tool, tolerance)), tool, tolerance)


def chords(path: Path, tolerance: float, tight: float = 0.0) -> Path:
    """Lines in place of arcs, no chord farther than tolerance from its arc; corners stay.

    tight: arcs below this radius (mm) get finer chords, since a trailing tip adds up their errors
    where its pivot swings.
    """
    made: list[Segment] = []
    corners = []
    for i, s in enumerate(path.segments):
        if i in path.corners:
            corners.append(len(made))
        is_tight = isinstance(s, Arc) and s.radius < tight
        points = [complex(p) for p in s.flatten(tolerance / FINER if is_tight else tolerance)]
        made.extend(Line(a, b) for a, b in pairwise(points))
    return Path(tuple(made), path.closed, frozenset(corners))


def smallest_radius(path: Path) -> tuple[float, complex]:
    """The tightest curve's radius, mm, and a place on it; infinite where all is straight.

    A cubic is judged by its mean radius over short stretches, so that a stop at its end is none.
    """
    found = (math.inf, path.start)
    for s in path.segments:
        if isinstance(s, Arc):
            found = min(found, (s.radius, s.point(0.5)), key=_radius)
        elif isinstance(s, Cubic):
            found = min([found, *_stretches(s)], key=_radius)
    return found


def _radius(found: tuple[float, complex]) -> float:
    return found[0]


def _stretches(s: Cubic) -> Iterator[tuple[float, complex]]:
    u = np.linspace(0.0, 1.0, STRETCHES + 1)
    points = s.points(u)
    heading = np.array([s.tangent(float(v)) for v in u])
    turned = np.abs(np.angle(heading[1:] / heading[:-1]))
    lengths = np.abs(np.diff(points))
    for length, turn, p in zip(lengths, turned, points, strict=False):
        if turn > STEADY:
            yield float(length / turn), complex(p)
