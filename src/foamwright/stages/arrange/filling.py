"""A layout under way: window after window is filled, each the stock that serves best."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

from foamwright.findings import Finding, warning
from foamwright.model import Copy, Placement
from foamwright.stages.arrange.choose import next_window
from foamwright.stages.arrange.fill import fill, quick_fill, units_of
from foamwright.stages.arrange.greedy import first_order
from foamwright.stages.arrange.outline import Shape
from foamwright.stages.arrange.strip import Strip
from foamwright.stages.arrange.task import Task
from foamwright.stages.arrange.told import gave_way, no_room_at_pins
from foamwright.stages.arrange.window import Window

#: What a search is expected to fill of a window, where it is asked how many are still to come.
LIKELY_FILLED = 0.75
#: A stock is taken again unasked while what waits covers so many times the largest there is.
AGAIN = 3.0
#: The part of the time in which the last of several windows is emptied into the others.
EMPTYING = 0.2
#: What the last may hold for that, as a part of what the others hold.
HOPEFUL = 0.1


@dataclass
class Filling:
    """The windows filled so far, in their order, and what of the copies waits still.

    extra: seconds that the last window took beyond its search, overhead: that all took.  kept_back:
    seconds, for the end.
    """

    windows: Sequence[Window]
    task: Task
    copies: Sequence[Copy]
    waiting: Sequence[Copy] = ()
    filled: list[tuple[Window, tuple[Placement, ...]]] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    extra: float = 0.0
    overhead: float = 0.0
    kept_back: float = 0.0

    def lay(self) -> None:
        """Fills windows until nothing waits or no window takes anything."""
        self._fill_all()
        if not self.task.first:
            self.empty_last(self.task.left)

    def _fill_all(self) -> None:
        waiting, number = list(self.copies), None
        self.kept_back = EMPTYING * self.task.left
        while waiting:
            choices = {k: w for k, w in enumerate(self.windows) if self.is_left(w)}
            shapes = {k: shapes_on(w, waiting) for k, w in choices.items()}
            choices = {k: w for k, w in choices.items() if shapes[k]}
            largest = max((w.area for w in choices.values()), default=0.0)
            asked = number not in choices or _area(waiting) < AGAIN * largest
            if asked:
                number = next_window(choices, shapes, self.task.clearance) if choices else None
            if number is None:
                break
            placed = self._fill(choices[number], shapes[number])
            if not placed and asked:
                break
            number = number if placed else None
            names = {p.copy.name for p in placed}
            waiting = [c for c in waiting if c.name not in names]
        self.waiting = waiting

    @property
    def hope(self) -> float:
        """What the last of several sheets holds, as a part of what the others hold: if little, it
        may be saved; infinite where there is none.
        """
        if len(self.filled) < 2 or self.filled[-1][0].fed or self.waiting:
            return math.inf
        *others, last = (_area([p.copy for p in placed]) for _, placed in self.filled)
        return last / sum(others)

    def empty_last(self, seconds: float) -> None:
        """Lays what the last of several sheets holds on the others, where it is little and they
        may bear it: searched sheet by sheet, the emptiest first.
        """
        if self.hope > HOPEFUL:
            return
        end = time.monotonic() + seconds
        last = {p.copy.name for p in self.filled[-1][1]}
        others = sorted(range(len(self.filled) - 1), key=self._part_filled)
        for k, number in enumerate(others):
            window, placed = self.filled[number]
            names = {p.copy.name for p in placed} | last
            shapes = shapes_on(window, [c for c in self.copies if c.name in names])
            now = time.monotonic()
            if not window.is_open(tuple(s.copy for s in shapes)) or self.task.stopped or now >= end:
                continue
            strip = Strip(window, first_order(units_of(shapes)), self.task)
            fuller = strip.fuller(placed, now + (end - now) / (len(others) - k), keep=True)
            self.filled[number] = window, fuller
            last -= {p.copy.name for p in fuller}
            if not last:
                break
        window, placed = self.filled.pop()
        if last:
            self.filled.append((window, tuple(p for p in placed if p.copy.name in last)))

    def _part_filled(self, number: int) -> float:
        window, placed = self.filled[number]
        return _area([p.copy for p in placed]) / window.area

    def is_left(self, window: Window) -> bool:
        """Whether there is more of this stock."""
        used = sum(w is window for w, _ in self.filled)
        return window.count is None or used < window.count

    def _fill(self, window: Window, shapes: Sequence[Shape]) -> tuple[Placement, ...]:
        began, left = time.monotonic(), self.task.left
        many = _windows_for(shapes, window)
        if many == 1 and not self.filled:
            self.kept_back = 0.0
        seconds = max(0.0, (left - self.kept_back) / many - self.extra)
        self.task.sheet = len(self.filled) + 1
        made = fill(window, shapes, self.task, seconds)
        self.extra = max(0.0, time.monotonic() - began - seconds)
        self.overhead += self.extra
        if made.unpinned:
            self.findings.extend(no_room_at_pins(made.unpinned))
        if made.fallback:
            what = f"{made.fallback}; laid by the plain placer"
            self.findings.append(warning("L402", window.stock.material, what))
        if made.lost:
            self.findings.append(gave_way(window, len(self.filled) + 1, made.lost))
        if made.placed:
            self.filled.append((window, made.placed))
        return made.placed


def _area(copies: Sequence[Copy]) -> float:
    return sum(c.piece.outline.area for c in copies)


def _windows_for(shapes: Sequence[Shape], window: Window) -> int:
    """How many windows these shapes will fill, this one counted."""
    room = max(window.across * window.along, 1.0)
    area = sum(s.area for s in shapes)
    return 1 if area <= room else math.ceil(area / (LIKELY_FILLED * room))


def shapes_on(window: Window, waiting: Sequence[Copy]) -> list[Shape]:
    """What the window bears of a list; a group only as a whole."""
    shapes = [s for c in waiting if (s := shape_on(window, c)) is not None]
    there = {s.copy.name for s in shapes}
    lacking = {c.group for c in waiting if c.group and c.name not in there}
    return [s for s in shapes if s.copy.group not in lacking]


def shape_on(window: Window, copy: Copy) -> Shape | None:
    """The copy with the turns in which the window bears it, if there is one."""
    turns = tuple(r for r in copy.rotations if window.bears(copy, r))
    return Shape(copy, turns) if turns else None


def bears(window: Window, copy: Copy) -> bool:
    """Whether the copy alone has room on the window."""
    shape = shape_on(window, copy)
    if shape is None or window.is_open((copy,)):
        return shape is not None
    return bool(quick_fill(window, [shape], 0.0).placed)
