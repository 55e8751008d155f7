"""The way round a set of contours: nearest next, then shortened by local exchange.

A *unit* is one contour's cuts, entered at its start and left at its end.  The way starts where the
head stands and may end anywhere, unless a finish is asked for.  `exchange` shortens it.
Does not turn a contour round or choose another start on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from foamwright.geometry.segments import Points
from foamwright.model import Cut
from foamwright.stages.order.exchange import shorter_way


@dataclass(frozen=True, slots=True)
class Unit:
    """The cuts of one contour, in order."""

    cuts: tuple[Cut, ...]

    @property
    def copy(self) -> str:
        return self.cuts[0].copy

    @property
    def start(self) -> complex:
        return self.cuts[0].path.start

    @property
    def end(self) -> complex:
        last = self.cuts[-1].path
        return last.start if last.closed else last.end


def nearest_next(units: Sequence[Unit], here: complex) -> list[Unit]:
    """Each time the unit whose start is nearest; of equals the first given."""
    starts = np.array([u.start for u in units], dtype=np.complex128)
    free = np.ones(len(units), dtype=bool)
    made = []
    for _ in units:
        away = np.where(free, np.abs(starts - here), np.inf)
        k = int(np.argmin(away))
        free[k] = False
        made.append(units[k])
        here = units[k].end
    return made


def shortened(units: Sequence[Unit], here: complex, finish: complex | None = None) -> list[Unit]:
    """The units in a sequence whose travel from `here` is no longer than as given.

    finish: where the head goes after the last unit; None: it stays there.
    """
    way = shorter_way([u.start for u in units], [u.end for u in units], here, finish)
    return [units[i] for i in way]


def travel(way: npt.NDArray[np.intp], starts: Points, ends: Points, here: complex) -> float:
    """mm that the head moves with the tool up."""
    s, e = starts[way], ends[way]
    return float(abs(s[0] - here) + np.abs(s[1:] - e[:-1]).sum())
