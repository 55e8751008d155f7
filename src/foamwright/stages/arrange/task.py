"""The time that a layout may take, who hears of it, and what became of it."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from foamwright.model import Placement
from foamwright.stages.arrange.window import FIT_EPS, Window

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

    @property
    def spent(self) -> float:
        """Seconds since the layout was begun."""
        return time.monotonic() - self.began

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
        return Progress(window.stock.material, self.sheet, len(placed), filled, self.spent)
