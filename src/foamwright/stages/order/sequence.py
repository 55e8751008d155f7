"""The way round a set of contours: nearest next, then shortened by local exchange.

A *unit* is one contour's cuts, entered at its start and left at its end.  The way is open: it
starts where the head stands and may end anywhere.  Two exchanges are tried until neither helps:
turning a stretch of the sequence round (2-opt), and moving a short stretch elsewhere (or-opt).
Both are bounded by sweeps, not by the clock, so the same units give the same way.
Does not turn a contour round or choose another start on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from foamwright.geometry.segments import Points
from foamwright.model import Cut

#: Sweeps over the whole sequence, at most.
SWEEPS = 30
#: Units that an or-opt move takes along, at most.
STRETCH = 3
#: mm: gains below this are rounding.
GAIN = 1e-9


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


def shortened(units: Sequence[Unit], here: complex) -> list[Unit]:
    """The units in a sequence whose travel from `here` is no longer than as given."""
    if len(units) < 2:
        return list(units)
    starts = np.array([u.start for u in units], dtype=np.complex128)
    ends = np.array([u.end for u in units], dtype=np.complex128)
    way = np.arange(len(units))
    for _ in range(SWEEPS):
        turned, way = _two_opt(way, starts, ends, here)
        moved, way = _or_opt(way, starts, ends, here)
        if not (turned or moved):
            break
    return [units[int(i)] for i in way]


def travel(way: npt.NDArray[np.intp], starts: Points, ends: Points, here: complex) -> float:
    """mm that the head moves with the tool up."""
    s, e = starts[way], ends[way]
    return float(abs(s[0] - here) + np.abs(s[1:] - e[:-1]).sum())


def _two_opt(
    way: npt.NDArray[np.intp], starts: Points, ends: Points, here: complex
) -> tuple[bool, npt.NDArray[np.intp]]:
    """One sweep: for each place the best stretch from there to turn round."""
    improved = False
    n = len(way)
    for i in range(n - 1):
        s, e = starts[way], ends[way]
        before = here if i == 0 else e[i - 1]
        forth = np.abs(s[i + 1 :] - e[i : n - 1]).cumsum()
        back = np.abs(s[i : n - 1] - e[i + 1 :]).cumsum()
        leave = np.append(np.abs(s[i + 2 :] - e[i + 1 : n - 1]), 0.0)
        leave_new = np.append(np.abs(s[i + 2 :] - e[i]), 0.0)
        now = abs(s[i] - before) + forth + leave
        then = np.abs(s[i + 1 :] - before) + back + leave_new
        gain = now - then
        k = int(np.argmax(gain))
        if gain[k] > GAIN:
            way = way.copy()
            way[i : i + k + 2] = way[i : i + k + 2][::-1]
            improved = True
    return improved, way


def _or_opt(
    way: npt.NDArray[np.intp], starts: Points, ends: Points, here: complex
) -> tuple[bool, npt.NDArray[np.intp]]:
    """One sweep: for each short stretch the best place to move it to."""
    improved = False
    n = len(way)
    for size in range(1, min(STRETCH, n - 1) + 1):
        for i in range(n - size + 1):
            stretch = way[i : i + size]
            rest = np.concatenate([way[:i], way[i + size :]])
            enter, leave = starts[stretch[0]], ends[stretch[-1]]
            e = np.concatenate([[here], ends[rest]])
            s = starts[rest]
            joins = np.append(np.abs(s - e[:-1]), 0.0)
            cost = np.abs(enter - e) + np.append(np.abs(s - leave), 0.0) - joins
            k = int(np.argmin(cost))
            if cost[i] - cost[k] > GAIN:
                way = np.concatenate([rest[:k], stretch, rest[k:]])
                improved = True
    return improved, way
