"""Places on a plain window by the strip search, which lays pieces on a strip without an end.

Where the window ends, what the strip has beyond it is lost, and a ragged edge is left.  So where
not all pieces find room, it is searched again: those that lie within and some more, as many as may
just fit, and again while there is time.  What is left goes into the gaps, as far as it fits.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from foamwright.geometry.affine import Affine
from foamwright.model import Placement
from foamwright.stages.arrange.check import broken_rule
from foamwright.stages.arrange.greedy import Ground, Score, Unit, lay, score
from foamwright.stages.arrange.outline import Shape, changed, strip_corner
from foamwright.stages.arrange.search import Found, find, strip_for
from foamwright.stages.arrange.task import Task
from foamwright.stages.arrange.window import FIT_EPS, Window

#: Area that is given to one search at most, as a part of the window's: the rest waits.
SEARCHED_SHARE = 1.3
#: Units that the plain placer lays on a plain rectangle, where rows and the search lay all.
MOST_LAID = 400
#: Units that are tried in the gaps of a window that the largest fill: each takes 10 to 20 ms, also
#: where it finds no place.
MOST_IN_GAPS = 24
#: What pieces fill of a window at the most, when all of them are expected to find room.
SURE_TO_FIT = 0.7
#: The part of a window's time that the first search has where not all pieces may find room.
FIRST_PART = 0.4
#: The part of the time left that each further search has, and the seconds that it has at least.
NEXT_PART, NEXT_S = 0.4, 0.5
#: What the first of those takes more than lies there, as a part of the window's area at least.
MORE = 0.03
#: Layouts of one search, the shortest, of which the one that leaves most within is taken.
MOST_LOOKED_AT = 40


@dataclass(frozen=True)
class Searched:
    """What the search laid within a window; lost: the rule that its best broke, if one was."""

    placed: tuple[Placement, ...] = ()
    lost: str = ""


@dataclass(frozen=True)
class Strip:
    """The search for one window. units: all that waits, the largest first."""

    window: Window
    units: Sequence[Unit]
    task: Task

    def laid(self, seconds: float) -> Searched | None:
        """As many as can be laid; nothing is placed where all that it laid breaks a rule, and None
        is given where it laid nothing.
        """
        began = time.monotonic()
        some = share(self.units, self.window)
        area = sum(s.area for u in some for s in u)
        may_fit = area <= SURE_TO_FIT * self.window.across * self.window.along
        first = seconds if may_fit else FIRST_PART * seconds
        enough = not self.window.fed and (self.task.enough or not may_fit)
        made = self._searched(some, first, enough and len(some) == len(self.units))
        if made is None or (made.lost and not made.placed):
            return made
        placed = self.fuller(self._gaps_filled(made.placed), began + seconds)
        return Searched(placed, made.lost)

    def fuller(
        self, placed: tuple[Placement, ...], end: float, keep: bool = False
    ) -> tuple[Placement, ...]:
        """With more of what waits, as long as it may fit, until a time of time.monotonic().

        keep: none of those that lie there may be left out for larger ones.
        """
        room = self.window.across * self.window.along
        more = max(MORE * room, SURE_TO_FIT * room - _area(placed))
        while (left := min(end - time.monotonic(), self.task.left)) >= NEXT_S:
            there = {p.copy.name for p in placed}
            rest = [u for u in self.units if u[0].copy.name not in there]
            some = [u for u in self.units if u[0].copy.name in there]
            extra = _about(more, rest)
            if not extra or _area(placed) + _size(extra) > room:
                break
            is_least = _size(extra) <= _size(rest[-1:])
            seconds = left if is_least else max(NEXT_S, NEXT_PART * left)
            made = self._searched([*some, *extra], seconds, True)
            fuller = self._gaps_filled(made.placed) if made is not None else ()
            kept = not keep or there <= {p.copy.name for p in fuller}
            if kept and score(fuller)[0] > score(placed)[0]:
                placed = fuller
            elif is_least:
                break
            else:
                more = _size(extra) / 2
        return placed

    def _searched(self, units: Sequence[Unit], seconds: float, enough: bool) -> Searched | None:
        """One search. enough: it ends once all lie within."""
        shapes = [_one_way_up(s) for u in units for s in u]
        height, gap = strip_for(
            self.window.across, self.task.clearance, max(s.miss for s in shapes)
        )
        there: list[Found] = []  # the shortest last

        def better(found: Found) -> bool:
            there.append(found)
            self.task.told(self.window, lambda: _within(shapes, found, self.window, gap))
            return not (enough and found.length - 2 * gap <= self.window.along + FIT_EPS)

        try:
            find(shapes, height, gap, seconds, self.task.seed, better)
        except KeyboardInterrupt:
            self.task.stopped = True
        if not there:
            return None
        looked_at = there[-MOST_LOOKED_AT:]
        lost = ""
        for found in sorted(looked_at, key=lambda f: _reach(shapes, f, self.window, gap))[::-1]:
            placed = whole_groups(_within(shapes, found, self.window, gap), units)
            broken = broken_rule(placed, self.window, self.task.clearance)
            if broken is None:
                return Searched(placed, lost)
            lost = lost or broken
        return Searched((), lost)

    def _gaps_filled(self, placed: tuple[Placement, ...]) -> tuple[Placement, ...]:
        there = {p.copy.name for p in placed}
        rest = [u for u in self.units if u[0].copy.name not in there]
        if not rest:
            return placed
        may_all_fit = len(share(self.units, self.window)) == len(self.units)
        ground = Ground.of(self.window, self.task.clearance)
        for p in placed:
            ground.take(p)
        return (*placed, *lay(rest[:MOST_LAID] if may_all_fit else some_of(rest), ground))


def share(units: Sequence[Unit], window: Window) -> list[Unit]:
    """The first of them, up to somewhat more than the window can bear."""
    taken: list[Unit] = []
    area = 0.0
    for unit in units:
        if taken and area > SEARCHED_SHARE * window.across * window.along:
            break
        taken.append(unit)
        area += _size([unit])
    return taken


def some_of(units: Sequence[Unit]) -> Sequence[Unit]:
    """Few of them, of every size."""
    return units[:: max(1, math.ceil(len(units) / MOST_IN_GAPS))]


def whole_groups(placed: Sequence[Placement], units: Sequence[Unit]) -> tuple[Placement, ...]:
    """Without the groups of which not every copy is there."""
    there = {p.copy.name for p in placed}
    parted = {s.copy.name for u in units if not all(t.copy.name in there for t in u) for s in u}
    return tuple(p for p in placed if p.copy.name not in parted)


def _about(area: float, units: Sequence[Unit]) -> list[Unit]:
    """Units that come to this area, the largest that do; the smallest, where none is so small."""
    taken: list[Unit] = []
    for unit in units:
        if _size([*taken, unit]) <= area:
            taken.append(unit)
    return taken or list(units[-1:])


def _size(units: Sequence[Unit]) -> float:
    return sum(s.area for u in units for s in u)


def _area(placed: Sequence[Placement]) -> float:
    return sum(p.copy.piece.outline.area for p in placed)


def _one_way_up(shape: Shape) -> Shape:
    """A mirror image that may be had by turning over is laid as drawn, as its twins are."""
    copy = shape.copy
    if copy.turnable and copy.mirrored and not copy.turned:
        return Shape(copy.turned_over(), shape.rotations)
    return shape


def _reach(shapes: Sequence[Shape], found: Found, window: Window, gap: float) -> Score:
    """How good what lies within is, by the search's polygons."""
    far = window.along + gap
    ends = [(shapes[i].area, x + _along(shapes[i], turn)) for i, turn, x, _ in found.places]
    within = [(a, end) for a, end in ends if end <= far]
    return round(sum(a for a, _ in within), 3), -max((end for _, end in within), default=0.0)


def _along(shape: Shape, turn: float) -> float:
    """How far a turned shape reaches along the strip from its place, mm."""
    strip = (shape.points.imag + 1j * shape.points.real) - strip_corner(shape.points)
    return float((strip * np.exp(-1j * math.radians(turn))).real.max())


def _within(
    shapes: Sequence[Shape], found: Found, window: Window, gap: float
) -> tuple[Placement, ...]:
    """The places on the sheet of those shapes that end within the window."""
    return tuple(_ending_within(shapes, found, window, gap))


def _ending_within(
    shapes: Sequence[Shape], found: Found, window: Window, gap: float
) -> Iterator[Placement]:
    for i, turn, x, y in found.places:
        corner = Affine.rotation(-turn).vector(strip_corner(shapes[i].points))
        spot = changed(complex(x, y) - gap * (1 + 1j) - corner)
        at = spot + complex(window.left, window.near)
        placed = _moved_in(Placement(shapes[i].copy, turn, at.real, at.imag), window)
        if placed.piece.outline.bounds[3] <= window.far + FIT_EPS:
            yield placed


def _moved_in(placed: Placement, window: Window) -> Placement:
    """Moved by the search's slack where it pokes out across the window or at the near end."""
    low_x, low_y, high_x, _ = placed.piece.outline.bounds
    dx = max(0.0, window.left - low_x) - max(0.0, high_x - window.right)
    dy = max(0.0, window.near - low_y)
    if dx == 0.0 and dy == 0.0:
        return placed
    return Placement(placed.copy, placed.rotation, placed.x + dx, placed.y + dy)
