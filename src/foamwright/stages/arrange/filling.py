"""A layout under way: window after window is filled, each the stock that serves best."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

from foamwright.findings import Finding, warning
from foamwright.model import Copy, Placement
from foamwright.stages.arrange.choose import next_window
from foamwright.stages.arrange.fill import fill, quick_fill
from foamwright.stages.arrange.outline import Shape
from foamwright.stages.arrange.task import Task
from foamwright.stages.arrange.told import gave_way, no_room_at_pins
from foamwright.stages.arrange.window import Window

#: What a search is expected to fill of a window, where it is asked how many are still to come.
LIKELY_FILLED = 0.75


@dataclass
class Filling:
    """The windows filled so far, in their order, and what waits still."""

    windows: Sequence[Window]
    task: Task
    waiting: list[Copy]
    filled: list[tuple[Window, tuple[Placement, ...]]] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    extra: float = 0.0  # seconds that the last window took beyond its search

    def lay(self) -> None:
        """Fills windows until nothing waits or no window takes anything."""
        while self.waiting:
            choices = {k: w for k, w in enumerate(self.windows) if self.is_left(w)}
            shapes = {k: shapes_on(w, self.waiting) for k, w in choices.items()}
            choices = {k: w for k, w in choices.items() if shapes[k]}
            number = next_window(choices, shapes, self.task.clearance) if choices else None
            if number is None:
                break
            placed = self._fill(choices[number], shapes[number])
            if not placed:
                break
            names = {p.copy.name for p in placed}
            self.waiting = [c for c in self.waiting if c.name not in names]

    def is_left(self, window: Window) -> bool:
        """Whether there is more of this stock."""
        used = sum(w is window for w, _ in self.filled)
        return window.count is None or used < window.count

    def _fill(self, window: Window, shapes: Sequence[Shape]) -> tuple[Placement, ...]:
        began, left = time.monotonic(), self.task.left
        seconds = max(0.0, left / _windows_for(shapes, window) - self.extra)
        self.task.sheet = len(self.filled) + 1
        made = fill(window, shapes, self.task, seconds)
        self.extra = max(0.0, time.monotonic() - began - seconds)
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
