"""One windowful: as many pieces as can be laid on it, by search where it is a plain rectangle.

The first layout is there at once: on a plain rectangle boxes in rows, which the strip search
betters (`strip.py`); on any other stock the plain placer's, bettered by other orders.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

from foamwright.model import Copy, Placement
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
from foamwright.stages.arrange.outline import Shape
from foamwright.stages.arrange.rows import place_in_rows
from foamwright.stages.arrange.strip import MOST_LAID, Strip, share, some_of, whole_groups
from foamwright.stages.arrange.task import Task
from foamwright.stages.arrange.window import Window


@dataclass(frozen=True)
class Filled:
    """What lies on a window; fallback: why no layout of the search was used; lost: the rule that a
    better one broke than is used; unpinned: copies whose place is taken or none.
    """

    placed: tuple[Placement, ...]
    fallback: str = ""
    lost: str = ""
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
    filling = share(units, window)
    return [*filling[:MOST_LAID], *some_of(units[len(filling) :])]


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
    return _by_orders(window, shapes, task, time.monotonic() + seconds, first)


def _by_orders(
    window: Window, shapes: Sequence[Shape], task: Task, end: float, first: Filled | None = None
) -> Filled:
    """The plain placer's layouts of other orders, until a time of time.monotonic()."""
    first = first or quick_fill(window, shapes, task.clearance)
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
        better_orders(units, ground, end - time.monotonic(), task.seed, better)
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
    """The strip search's layout; rows, or the plain placer's, where it fails or lays less."""
    began = time.monotonic()
    made = Strip(window, first_order(units_of(shapes)), task).laid(seconds)
    if made is None or (made.lost and not made.placed):
        if task.stopped:
            return quick_fill(window, shapes, task.clearance)
        why = _no_layout(shapes, task) if made is None else made.lost
        return replace(_by_orders(window, shapes, task, began + seconds), fallback=why)
    if len(made.placed) < len(shapes) and task.left > 0:
        rows = max(rows, quick_fill(window, shapes, task.clearance).placed, key=score)
    if score(rows) > score(made.placed):
        return Filled(rows)
    return Filled(made.placed, lost=made.lost)


def _no_layout(shapes: Sequence[Shape], task: Task) -> str:
    """Why the search laid nothing, as far as is known of the library."""
    sizes = [max(s.size(s.rotations[0])) for s in shapes]
    if min(sizes) < task.clearance:
        return f"no search bears a clearance of {task.clearance:g} mm, wider than pieces are"
    return "the search gave no layout"
