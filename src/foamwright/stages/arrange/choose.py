"""Which stock is taken next, where there are several sizes of it.

What is sought: offcuts first; then the least price, where every stock has one, else the fewest
sheets and of equals the least material.  A stock is judged by a quick layout of what waits: its
cost, and that of the rest on the stock that bears it at the least.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from foamwright.stages.arrange.fill import Filled, quick_fill
from foamwright.stages.arrange.outline import Shape
from foamwright.stages.arrange.window import Window


@dataclass(frozen=True)
class Trial:
    """A quick layout on a window. area: laid, mm2; cost: in money or sheets."""

    window: Window
    filled: Filled
    area: float
    cost: float

    def cost_of(self, area: float) -> float:
        """Of so much more area on this stock: by the length on a roll, else by whole sheets."""
        share = area / self.area
        return self.cost * (share if self.window.fed else math.ceil(share))


def next_window(
    choices: Mapping[int, Window], shapes: Mapping[int, Sequence[Shape]], clearance: float
) -> int | None:
    """The number of the window to fill next; None where none of them takes anything.

    shapes: what each bears of all that waits.
    """
    if len(choices) == 1:
        return next(iter(choices))
    priced = is_priced(tuple(choices.values()))
    trials = {k: _trial(w, quick_fill(w, shapes[k], clearance), priced) for k, w in choices.items()}
    useful = {k: t for k, t in trials.items() if t.area > 0}
    if not useful:
        return None
    waiting = sum(s.area for s in {s.copy.name: s for v in shapes.values() for s in v}.values())
    bought = [t for t in useful.values() if t.cost > 0]

    def whole(number: int) -> tuple[bool, float, float, int]:
        t = useful[number]
        rest = waiting - t.area
        more = min((b.cost_of(rest) for b in bought), default=0.0) if rest > 1e-6 * waiting else 0.0
        return not is_offcut(t.window), round(t.cost + more, 9), t.window.area, number

    return min(useful, key=whole)


def is_offcut(window: Window) -> bool:
    return window.stock.kind == "offcut"


def is_priced(windows: Sequence[Window]) -> bool:
    """Whether all that is to be bought has a price."""
    return all(w.stock.price is not None or is_offcut(w) for w in windows)


def _trial(window: Window, filled: Filled, priced: bool) -> Trial:
    area = sum(p.copy.piece.outline.area for p in filled.placed)
    if is_offcut(window):
        return Trial(window, filled, area, 0.0)
    if not priced or window.stock.price is None:
        return Trial(window, filled, area, 1.0)
    cost = window.stock.price
    if window.fed and filled.placed:
        used = max(p.piece.outline.bounds[3] for p in filled.placed)
        cost *= min(1.0, used / window.stock.length)
    return Trial(window, filled, area, cost)
