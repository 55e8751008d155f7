"""Which stock at all, where several may be bought: each alone, or mixed, whichever comes cheapest.

A way is a choice of stock: all of it, or one that is bought, with the offcuts, which go first in
every way.  The ways are laid one after another, those that may come cheapest first, for a part of
the time.  Where one would be the best without its last sheet, which holds little, it is tried to
save that; then the best is laid again with all the time that is left.  What is sought: that nothing
is left over, then the least price where every stock has one, then the fewest sheets, then the least
material.  A way that can't come cheaper than one that was laid, by the area of its pieces, isn't
laid.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, TypeAlias

from foamwright.model import Copy, Placement
from foamwright.stages.arrange.choose import is_offcut, is_priced
from foamwright.stages.arrange.fill import fill
from foamwright.stages.arrange.filling import HOPEFUL, Filling, shape_on, shapes_on
from foamwright.stages.arrange.task import Task
from foamwright.stages.arrange.window import Window

Way: TypeAlias = Sequence[Window]
#: The part of the time in which ways are tried, and of what is left then the part in which sheets
#: are saved; the rest goes into the best way.
TRYING, SAVING = 0.4, 0.7
#: Decimals of a price that tell two apart.
CENTS = 6


class Rank(NamedTuple):
    """How good a layout is; less is better. left: pieces without a place; money: 0 where stock has
    no prices; sheets: bought; area: of them, mm2.
    """

    left: int
    money: float
    sheets: int
    area: float


@dataclass(frozen=True, slots=True)
class _Laid:
    way: Way
    made: Filling
    rank: Rank


def lay_cheapest(windows: Sequence[Window], copies: Sequence[Copy], task: Task) -> Filling:
    """The copies on the windows in the way that comes cheapest, as far as there is time to tell."""
    ways = sorted(_ways(windows, copies), key=lambda way: _least(way, windows, copies))
    if len(ways) == 1:
        return _laid(ways[0], windows, copies, task).made
    end = time.monotonic() + TRYING * task.left
    task.enough = True
    best: _Laid | None = None
    tried: list[_Laid] = []
    for number, way in enumerate(ways):
        if best is not None and best.rank <= _least(way, windows, copies):
            continue
        now, task.until = time.monotonic(), math.inf  # so that what is left is what all have
        if best is not None and (now >= end or not _has_time(task, best)):
            break
        task.until = now + (end - now) / (len(ways) - number)
        tried.append(_laid(way, windows, copies, task))
        best = min(tried, key=lambda laid: laid.rank)
    task.until, task.enough = math.inf, False
    best = _with_saved_sheets(tried, windows, task)
    if _has_time(task, best):
        laid = _laid(best.way, windows, copies, task)
        best = laid if laid.rank <= best.rank else best
    return best.made


def _has_time(task: Task, laid: _Laid) -> bool:
    """Whether a layout of as many sheets has time for what it takes beside the searches."""
    return not task.first and task.left > laid.made.overhead


def _with_saved_sheets(tried: Sequence[_Laid], windows: Sequence[Window], task: Task) -> _Laid:
    """The best, once of those that would be better without their last sheet it was tried to save
    it, for a part of the time that is left.
    """
    best = min(tried, key=lambda laid: laid.rank)
    end = time.monotonic() + SAVING * task.left
    for laid in sorted(tried, key=lambda laid: laid.made.hope):
        made = laid.made
        left = end - time.monotonic()
        without = replace(made, filled=made.filled[:-1])
        if left > 0 and made.hope <= HOPEFUL and rank_of(without, windows) < best.rank:
            made.empty_last(left)
            best = min(best, replace(laid, rank=rank_of(made, windows)), key=lambda x: x.rank)
    return best


def _laid(way: Way, windows: Sequence[Window], copies: Sequence[Copy], task: Task) -> _Laid:
    made = Filling(way, task, copies)
    made.lay()
    if len(windows) > 1:
        _last_on_less(made, windows, copies)
    return _Laid(way, made, rank_of(made, windows))


def _ways(windows: Sequence[Window], copies: Sequence[Copy]) -> list[Way]:
    """All stock, and each that is bought and bears every piece, alone."""
    offcuts = [w for w in windows if is_offcut(w)]
    bought = [w for w in windows if not is_offcut(w)]
    if len(bought) < 2:
        return [windows]
    able = [w for w in bought if all(shape_on(w, c) is not None for c in copies)]
    return [windows, *([*offcuts, w] for w in able)]


def rank_of(made: Filling, windows: Sequence[Window]) -> Rank:
    """windows: all that there are: where one has no price, fewest sheets are sought."""
    sheets = [(w, placed) for w, placed in made.filled if not is_offcut(w)]
    priced = is_priced(windows)
    money = sum(w.price_of(placed) for w, placed in sheets) if priced else 0.0
    area = sum(w.area_of(placed) for w, placed in sheets)
    return Rank(len(made.waiting), round(money, CENTS), len(sheets), round(area))


def _least(way: Way, windows: Sequence[Window], copies: Sequence[Copy]) -> Rank:
    """What a way comes to at the least, were its stock filled without a gap."""
    area = sum(c.piece.outline.area for c in copies)
    area = max(0.0, area - sum(w.area * (w.count or 1) for w in way if is_offcut(w)))
    bought = [w for w in way if not is_offcut(w)]
    if not bought or area == 0.0:
        return Rank(0, 0.0, 0, 0.0)
    alone = len(bought) == 1
    shares = [area / max(w.across * w.along, 1.0) for w in bought]
    parts = [
        (math.ceil(s) if alone and not w.fed else s, w) for s, w in zip(shares, bought, strict=True)
    ]
    money = min(n * w.price_of(()) for n, w in parts) if is_priced(windows) else 0.0
    least = min(n * w.area for n, w in parts)
    return Rank(0, round(money, CENTS), math.ceil(min(shares)), math.floor(least))


def _last_on_less(made: Filling, windows: Sequence[Window], copies: Sequence[Copy]) -> None:
    """The pieces of the last window on one that costs less, if one bears them all."""
    if not made.filled or is_offcut(made.filled[-1][0]) or made.filled[-1][0].fed:
        return
    last, placed = made.filled.pop()
    names = {p.copy.name for p in placed}
    copies = [c for c in copies if c.name in names]
    area = sum(c.piece.outline.area for c in copies)
    priced = is_priced(windows)

    def cost(window: Window, lain: Sequence[Placement]) -> tuple[float, float]:
        return window.price_of(lain) if priced else 0.0, window.area_of(lain)

    able = [w for w in windows if w is not last and not is_offcut(w) and made.is_left(w)]
    for window in sorted(able, key=lambda w: cost(w, ())):
        shapes = shapes_on(window, copies)
        is_less = window.fed or cost(window, ()) < cost(last, placed)
        is_room = area <= window.across * window.along and len(shapes) == len(copies)
        if is_less and is_room:
            found = fill(window, shapes, made.task, 0.0)
            whole = len(found.placed) == len(copies) and not found.fallback
            if whole and cost(window, found.placed) < cost(last, placed):
                last, placed = window, found.placed
    made.filled.append((last, placed))
