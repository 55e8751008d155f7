"""The part of the stock that pieces may lie on, from the stock's size and the machine's limits.

A window is what is on the bed at once: a sheet (cut down to the reach where it is larger), or, on a
roll feed, the roll's whole length.
"""

from __future__ import annotations

from dataclasses import dataclass

from foamwright.model import Copy, Limits, Stock
from foamwright.stages.arrange.outline import turned_size

#: Rounding of doubles that a fit may miss by, mm.
FIT_EPS = 1e-6


@dataclass(frozen=True, slots=True)
class Window:
    """width, length: the material on the bed, mm.  left, near, right, far: where targets may lie.

    fed: the length used is cut off the roll.  count: how many there are of it, None: any number.
    """

    stock: Stock
    width: float
    length: float
    left: float
    near: float
    right: float
    far: float
    fed: bool
    count: int | None

    @property
    def across(self) -> float:
        return self.right - self.left

    @property
    def along(self) -> float:
        return self.far - self.near

    def bears(self, copy: Copy, rotation: float) -> bool:
        across, along = turned_size(copy, rotation)
        return across <= self.across + FIT_EPS and along <= self.along + FIT_EPS

    @property
    def is_trimmed(self) -> bool:
        """The stock is larger than what the machine reaches, so it is cut down to it first."""
        return self.width < self.stock.width or (
            self.stock.kind == "sheet" and self.length < self.stock.length
        )


def window_of(stock: Stock, limits: Limits) -> Window:
    """May have no room at all (across or along <= 0): then it bears nothing."""
    left, right, near, far = limits.margins
    fed = limits.feed == "roll"
    width = min(stock.width, limits.reach[0])
    length = stock.length if fed else min(stock.length, limits.reach[1])
    count = stock.count
    if count is not None and stock.kind == "roll" and not fed:
        count *= int(stock.length // length) if length > 0 else 0
    return Window(
        stock=stock,
        width=width,
        length=length,
        left=left + limits.edge,
        near=near + limits.edge,
        right=width - right - limits.edge,
        far=length - far - limits.edge,
        fed=stock.kind == "roll",
        count=count,
    )
