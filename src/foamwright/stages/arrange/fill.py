"""One windowful: as many pieces as can be laid on it, by search where it is a plain rectangle.

The first layout is there at once: on a plain rectangle boxes in rows, which the strip search
betters; on any other stock the plain placer's, bettered by other orders.  What the strip search
leaves over beyond the window's length goes into the gaps, as far as it fits.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from foamwright.geometry.affine import Affine
from foamwright.model import Copy, Placement
from foamwright.stages.arrange.check import broken_rule
from foamwright.stages.arrange.greedy import (
    Ground,
    Unit,
    better_orders,
    first_order,
    lay,
    lay_pinned,
    score,
    stretch_for,
)
from foamwright.stages.arrange.outline import Shape, changed, strip_corner
from foamwright.stages.arrange.rows import place_in_rows
from foamwright.stages.arrange.search import Found, find, strip_for
from foamwright.stages.arrange.window import FIT_EPS, Window

#: Area that is given to one search at most, as a part of the window's: the rest waits.
SEARCHED_SHARE = 1.3
#: Units that the plain placer lays on a plain rectangle, where rows and the search lay all.
MOST_LAID = 400
#: Units that are tried in the gaps of a window that the largest fill: each takes 10 to 20 ms, also
#: where it finds no place.
MOST_IN_GAPS = 24
#: Telling takes this part of the time at most: each layout told of is placed exactly for it.
TELLING = 0.1


@dataclass(frozen=True, slots=True)
class Progress:
    """What is told while a layout is searched. density: of the length that is used, 0..1."""

    material: str
    sheet: int
    pieces: int
    density: float
    seconds: float


@dataclass
class Task:
    """The time that one layout may take, and what became of it.

    first: no search.  stopped: someone had enough, and the best so far stands.  until: when the
    part that is under way must end, as time.monotonic has it.  enough: a sheet that bears all that
    waits need not be searched on.
    """

    clearance: float
    seconds: float
    seed: int
    tell: Callable[[Progress], None] | None = None
    first: bool = False
    sheet: int = 1
    stopped: bool = False
    began: float = field(default_factory=time.monotonic)
    quiet_until: float = 0.0
    until: float = math.inf
    enough: bool = False

    @property
    def left(self) -> float:
        """Seconds left, 0 at least."""
        if self.stopped:
            return 0.0
        return max(0.0, min(self.began + self.seconds, self.until) - time.monotonic())

    def told(self, window: Window, lie: Callable[[], Sequence[Placement]]) -> None:
        """Tells of a layout, unless it comes so soon that telling would hold the search up."""
        began = time.monotonic()
        if self.tell is None or began < self.quiet_until:
            return
        placed = lie()
        if placed:
            self.tell(self._progress(window, placed))
        now = time.monotonic()
        self.quiet_until = now + (now - began) * (1 / TELLING - 1)

    def _progress(self, window: Window, placed: Sequence[Placement]) -> Progress:
        far = max(p.piece.outline.bounds[3] for p in placed)
        area = sum(p.copy.piece.outline.area for p in placed)
        filled = area / (window.width * max(far, FIT_EPS))
        spent = time.monotonic() - self.began
        return Progress(window.stock.material, self.sheet, len(placed), filled, spent)


@dataclass(frozen=True)
class Filled:
    """What lies on a window; fallback: why the search's layout was not used; unpinned: copies whose
    place is taken or none.
    """

    placed: tuple[Placement, ...]
    fallback: str = ""
    unpinned: tuple[Copy, ...] = ()


def units_of(shapes: Sequence[Shape]) -> list[Unit]:
    """Shapes of a group together, all others alone."""
    made: dict[str, list[Shape]] = {}
    for shape in shapes:
        made.setdefault(shape.copy.group or f"/{shape.copy.name}", []).append(shape)
    return [tuple(unit) for unit in made.values()]


def quick_fill(window: Window, shapes: Sequence[Shape], clearance: float) -> Filled:
    """A first layout, at once: rows of boxes or the plain placer's, whichever lays more."""
    ground = Ground.of(window, clearance, stretch_for(shapes, window, clearance))
    pinned, unpinned = lay_pinned([s for s in shapes if s.copy.pin is not None], ground)
    loose = [s for s in shapes if s.copy.pin is None]
    units = first_order(units_of(loose))
    is_open = not pinned and window.is_open(tuple(s.copy for s in loose))
    tried = worth_trying(units, window)
    laid = lay(tried, ground) or (lay(units, ground) if len(tried) < len(units) else ())
    placed = (*pinned, *laid)
    if is_open:
        rows = whole_groups(place_in_rows(loose, window, clearance), units)
        placed = max(placed, rows, key=score)
    return Filled(placed, unpinned=tuple(unpinned))


def worth_trying(units: Sequence[Unit], window: Window) -> list[Unit]:
    """The largest, which fill the window, and some of each size of the others for its gaps.

    units: the largest first.  All, where they are not much more than the window can bear.
    """
    filling = _share(units, window)
    return [*filling[:MOST_LAID], *_some(units[len(filling) :])]


def _share(units: Sequence[Unit], window: Window) -> list[Unit]:
    """The first of them, up to somewhat more than the window can bear."""
    taken: list[Unit] = []
    area = 0.0
    for unit in units:
        if taken and area > SEARCHED_SHARE * window.across * window.along:
            break
        taken.append(unit)
        area += sum(s.area for s in unit)
    return taken


def _some(units: Sequence[Unit]) -> Sequence[Unit]:
    return units[:: max(1, math.ceil(len(units) / MOST_IN_GAPS))]


def fill(window: Window, shapes: Sequence[Shape], task: Task, seconds: float) -> Filled:
    """As many of the shapes as can be laid; never none, where the window bears any by itself."""
    searching = len(shapes) > 1 and not task.stopped and not task.first
    if searching and window.is_open(tuple(s.copy for s in shapes)):
        units = first_order(units_of(shapes))
        rows = whole_groups(place_in_rows(shapes, window, task.clearance), units)
        task.told(window, lambda: rows)
        return _by_strip(window, shapes, task, seconds, rows)
    first = quick_fill(window, shapes, task.clearance)
    task.told(window, lambda: first.placed)
    if not searching or all(s.copy.pin is not None for s in shapes):
        return first
    return _by_orders(window, shapes, task, seconds, first)


def _by_orders(
    window: Window, shapes: Sequence[Shape], task: Task, seconds: float, first: Filled
) -> Filled:
    best = [first.placed]
    stretch = stretch_for(shapes, window, task.clearance)
    ground = Ground.of(window, task.clearance, stretch)
    pinned, _ = lay_pinned([s for s in shapes if s.copy.pin is not None], ground)
    loose = units_of([s for s in shapes if s.copy.pin is None])
    units = worth_trying(first_order(loose), window)

    def better(placed: tuple[Placement, ...]) -> bool:
        whole = (*pinned, *placed)
        if score(whole) > score(best[0]):
            best[0] = whole
            task.told(window, lambda: whole)
        return True

    try:
        better_orders(units, ground, seconds, task.seed, better)
    except KeyboardInterrupt:
        task.stopped = True
    return Filled(best[0], unpinned=first.unpinned)


def _by_strip(
    window: Window,
    shapes: Sequence[Shape],
    task: Task,
    seconds: float,
    rows: tuple[Placement, ...],
) -> Filled:
    """The strip search's layout with its gaps filled; rows, or the plain placer's, if it fails."""
    units = first_order(units_of(shapes))
    searched = [_one_way_up(s) for u in _share(units, window) for s in u]
    found_so_far: list[Found] = []  # the best last
    may_be_enough = task.enough and not window.fed and len(searched) == len(shapes)
    height, gap = strip_for(window.across, task.clearance, max(s.miss for s in searched))

    def better(found: Found) -> bool:
        found_so_far.append(found)
        task.told(window, lambda: _within(searched, found, window, gap))
        bears_all = found.length - 2 * gap <= window.along + FIT_EPS
        return not (may_be_enough and bears_all)

    try:
        find(searched, height, gap, seconds, task.seed, better)
    except KeyboardInterrupt:
        task.stopped = True
    if not found_so_far:
        plain = quick_fill(window, shapes, task.clearance).placed
        return Filled(plain, "" if task.stopped else "the search gave no layout")
    for found in reversed(found_so_far):
        placed = whole_groups(_within(searched, found, window, gap), units)
        broken = broken_rule(placed, window, task.clearance)
        if broken is None:
            break
    else:
        return Filled(quick_fill(window, shapes, task.clearance).placed, broken or "")
    placed = _gaps_filled(placed, units, window, task.clearance)
    if len(placed) < len(shapes) or not placed:
        rows = max(rows, quick_fill(window, shapes, task.clearance).placed, key=score)
    return Filled(max(placed, rows, key=score))


def _one_way_up(shape: Shape) -> Shape:
    """A mirror image that may be had by turning over is laid as drawn, as its twins are."""
    copy = shape.copy
    if copy.turnable and copy.mirrored and not copy.turned:
        return Shape(copy.turned_over(), shape.rotations)
    return shape


def _within(
    shapes: Sequence[Shape], found: Found, window: Window, gap: float
) -> tuple[Placement, ...]:
    """The places on the sheet of those shapes that end within the window."""
    made = []
    for i, turn, x, y in found.places:
        corner = Affine.rotation(-turn).vector(strip_corner(shapes[i].points))
        spot = changed(complex(x, y) - gap * (1 + 1j) - corner)
        at = spot + complex(window.left, window.near)
        placed = _moved_in(Placement(shapes[i].copy, turn, at.real, at.imag), window)
        if placed.piece.outline.bounds[3] <= window.far + FIT_EPS:
            made.append(placed)
    return tuple(made)


def _moved_in(placed: Placement, window: Window) -> Placement:
    """Moved by the search's slack where it pokes out across the window or at the near end."""
    low_x, low_y, high_x, _ = placed.piece.outline.bounds
    dx = max(0.0, window.left - low_x) - max(0.0, high_x - window.right)
    dy = max(0.0, window.near - low_y)
    if dx == 0.0 and dy == 0.0:
        return placed
    return Placement(placed.copy, placed.rotation, placed.x + dx, placed.y + dy)


def whole_groups(placed: Sequence[Placement], units: Sequence[Unit]) -> tuple[Placement, ...]:
    """Without the groups of which not every copy is there."""
    there = {p.copy.name for p in placed}
    parted = {s.copy.name for u in units if not all(t.copy.name in there for t in u) for s in u}
    return tuple(p for p in placed if p.copy.name not in parted)


def _gaps_filled(
    placed: tuple[Placement, ...], units: Sequence[Unit], window: Window, clearance: float
) -> tuple[Placement, ...]:
    there = {p.copy.name for p in placed}
    rest = [u for u in units if u[0].copy.name not in there]
    if not rest:
        return placed
    may_all_fit = len(_share(units, window)) == len(units)
    ground = Ground.of(window, clearance)
    for p in placed:
        ground.take(p)
    return (*placed, *lay(rest[:MOST_LAID] if may_all_fit else _some(rest), ground))
