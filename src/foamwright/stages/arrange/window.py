"""The part of the stock that pieces may lie on, from the stock's size and the machine's limits.

A window is what is on the bed at once: a sheet (cut down to the reach where it is larger), or, on a
roll feed, the roll's whole length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from foamwright.geometry.region import (
    Region,
    box,
    common,
    covers,
    distance,
    grown,
    minus,
    region,
    union,
)
from foamwright.model import Copy, Limits, Placement, Stock, Zone
from foamwright.stages.arrange.outline import turned_size

#: Rounding of doubles that a fit may miss by, mm.
FIT_EPS = 1e-6
#: What a place may miss the usable stock by, mm: the check's flattening.
HOLD_TOLERANCE = 0.005
#: How closely the outlines of stock and zones are followed, mm.
OUTLINE_TOLERANCE = 0.01


@dataclass(frozen=True)
class Window:
    """width, length: the material on the bed, mm.  left, near, right, far: where targets may lie.

    fed: the length used is cut off the roll.  count: how many there are of it, None: any number.
    zones: what pieces are kept off, edge mm away from it.  beyond: the margin at the far end, mm.
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
    edge: float = 0.0
    beyond: float = 0.0
    zones: tuple[Zone, ...] = ()
    _kept_off: dict[str, Region | None] = field(default_factory=dict, compare=False, repr=False)

    @property
    def across(self) -> float:
        return self.right - self.left

    @property
    def along(self) -> float:
        return self.far - self.near

    @property
    def area(self) -> float:
        """mm2 of the material on the bed."""
        outline = self.stock.outline
        whole = self.width * self.length
        return whole if outline is None else min(whole, outline.area)

    def used_length(self, placed: Sequence[Placement]) -> float:
        """mm of the material that these take: of a fed roll whole millimetres, else all of it."""
        if not self.fed or not placed:
            return self.length
        top = max(p.piece.outline.bounds[3] for p in placed)
        return min(self.length, math.ceil(top + self.edge + self.beyond))

    def price_of(self, placed: Sequence[Placement]) -> float:
        """Of the material that these take, of a roll its share; 0 where it has no price."""
        price = self.stock.price or 0.0
        return price * self.used_length(placed) / self.stock.length if self.fed else price

    def area_of(self, placed: Sequence[Placement]) -> float:
        """mm2 of the material that these take."""
        return self.width * self.used_length(placed) if self.fed else self.area

    def bears(self, copy: Copy, rotation: float) -> bool:
        """Whether its box has room, wherever its pin is."""
        across, along = turned_size(copy, rotation)
        return across <= self.across + FIT_EPS and along <= self.along + FIT_EPS

    @property
    def is_trimmed(self) -> bool:
        """The stock is larger than what the machine reaches, so it is cut down to it first."""
        return self.width < self.stock.width or (
            self.stock.kind != "roll" and self.length < self.stock.length
        )

    def is_open(self, copies: tuple[Copy, ...]) -> bool:
        """A plain rectangle for these copies: no outline, no zone that any is kept off, no pin."""
        zones = any(z.keeps_off(c) for z in self.zones for c in copies)
        return self.stock.outline is None and not zones and all(c.pin is None for c in copies)

    @cached_property
    def room(self) -> Region:
        """Where targets may lie on stock of its outline, zones that are for all left out."""
        whole = box((self.left, self.near, self.right, self.far))
        if self.stock.outline is not None:
            stock = region(self.stock.outline, (), OUTLINE_TOLERANCE)
            whole = common(whole, grown(stock, -self.edge, OUTLINE_TOLERANCE))
        for_all = [z for z in self.zones if not z.pieces]
        return minus(whole, union(map(self._about, for_all))) if for_all else whole

    def kept_off(self, copy: Copy) -> Region | None:
        """Where this copy may not lie besides: zones that are for some pieces only."""
        if copy.of not in self._kept_off:
            own = [self._about(z) for z in self.zones if z.pieces and z.keeps_off(copy)]
            self._kept_off[copy.of] = union(own) if own else None
        return self._kept_off[copy.of]

    def _about(self, zone: Zone) -> Region:
        return grown(region(zone.outline, (), OUTLINE_TOLERANCE), self.edge, OUTLINE_TOLERANCE)

    def fault_of(self, placed: Placement, tolerance: float = HOLD_TOLERANCE) -> str | None:
        """Why a target may not lie where it does, in words, or None where it may."""
        low_x, low_y, high_x, high_y = placed.piece.outline.bounds
        over = max(self.left - low_x, self.near - low_y, high_x - self.right, high_y - self.far)
        if over > tolerance:
            return f"lies {over:.2f} mm outside the usable stock"
        if self.stock.outline is None and not self.zones:
            return None
        shape = region(placed.piece.outline, (), OUTLINE_TOLERANCE)
        if not covers(grown(self.room, 2 * tolerance, OUTLINE_TOLERANCE), shape):
            return "lies off the stock or on a zone that pieces are kept off"
        off = self.kept_off(placed.copy)
        if off is not None and distance(grown(off, -2 * tolerance, OUTLINE_TOLERANCE), shape) == 0:
            return "lies on a zone that it is kept off"
        return None


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
        edge=limits.edge,
        beyond=far,
        zones=(*stock.zones, *limits.zones),
    )
