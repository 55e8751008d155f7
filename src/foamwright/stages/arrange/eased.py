"""The strip search's problem made a little easier, and its layouts put right on exact outlines.

The search finds no exact fit: its moves end at a small part of a piece.  So its pieces are inset by
a hair and the strip is as much lower; what it lays overlaps by no more than two hairs, and
`tightened` pushes that apart and all pieces together.  A layout that can't be put right is none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np

from foamwright.errors import GeometryError
from foamwright.geometry.convex import convex_parts
from foamwright.geometry.region import grown, parts, polygon, rings
from foamwright.geometry.segments import Points
from foamwright.stages.arrange.tighten import Body, tightened

#: The hair, as a part of the strip's height: of 0.2 to 4 mm on 1500 the best as measured, half of
#: them; of 1.5 mm on, most layouts can't be put right.
INSET = 0.4 / 1500
#: The hair at most, as a part of the mean piece's size.
INSET_OF_PIECE = 2e-3
#: Pieces and their convex parts at most: beyond, putting a layout right takes seconds.
MOST_PIECES, MOST_PARTS = 120, 1000

#: Item, turn in degrees, x and y of the place.
Laid: TypeAlias = tuple[int, float, float, float]
Corners: TypeAlias = list[tuple[float, float]]


@dataclass(frozen=True, eq=False)
class Eased:
    """items: the request's, with points, turns and count.  height: of the strip within its edges.

    gap: what pieces must keep between them.  Places have (0, 0) in the corner within the edges.
    """

    items: Sequence[dict[str, Any]]
    height: float
    gap: float

    @property
    def is_worth(self) -> bool:
        """Whether pieces are few and plain enough to be put right in time."""
        if sum(item["count"] for item in self.items) > MOST_PIECES:
            return False
        try:
            counts = [
                item["count"] * len(p) for item, p in zip(self.items, self._parts, strict=True)
            ]
        except GeometryError:
            return False
        return bool(sum(counts) <= MOST_PARTS)

    @cached_property
    def hair(self) -> float:
        """What pieces are inset by, mm."""
        areas = [item["count"] * abs(_area(_points(item))) for item in self.items]
        size = math.sqrt(sum(areas) / sum(item["count"] for item in self.items))
        return min(INSET * self.height, INSET_OF_PIECE * size)

    @property
    def strip(self) -> float:
        """The height of the search's strip, with the gap that it keeps to the edges itself."""
        return self.height + 2 * self.gap - self.hair

    def shapes(self) -> list[Corners]:
        """Each item's outline for the search."""
        return [_inset(_points(item), self.hair) for item in self.items]

    def put_right(self, laid: Sequence[Laid]) -> tuple[float, list[Laid]] | None:
        """The length and the places of a layout of the search's, made exact; None: it can't be."""
        bodies, places = [], []
        for item, turn, x, y in laid:
            angle = math.radians(_allowed(turn, self.items[item]["turns"]))
            turned = [p * complex(math.cos(angle), math.sin(angle)) for p in self._parts[item]]
            bodies.append(Body(tuple(np.column_stack([p.real, p.imag]) for p in turned)))
            places.append((x - self.gap, y - self.gap + self.hair / 2))
        at = tightened(bodies, np.array(places), self.height, self.gap)
        if at is None:
            return None
        length = max(float(x + b.box[1, 0]) for b, (x, _) in zip(bodies, at, strict=True))
        exact = zip(laid, at, strict=True)
        return length, [(item, turn, float(x), float(y)) for (item, turn, *_), (x, y) in exact]

    @cached_property
    def _parts(self) -> list[tuple[Points, ...]]:
        return [convex_parts(_points(item)) for item in self.items]


def _points(item: dict[str, Any]) -> Points:
    """The outline, counter-clockwise."""
    made = np.array([complex(x, y) for x, y in item["points"]])
    return made if _area(made) > 0 else made[::-1]


def _area(points: Points) -> float:
    return float((points.conjugate() * np.roll(points, -1)).imag.sum()) / 2


def _inset(points: Points, by: float) -> Corners:
    """The outline inset, or as it is where it would come apart."""
    inner = parts(grown(polygon(points), -by, by / 4, "mitre"))
    if len(inner) == 1 and len(rings(inner[0])) == 1:
        points = rings(inner[0])[0][:-1]
    return [(float(p.real), float(p.imag)) for p in points]


def _allowed(turn: float, turns: Sequence[float] | None) -> float:
    """The turn that the search meant: it gives single precision back."""
    if turns is None:
        return turn
    return min(turns, key=lambda t: abs((t - turn + 180) % 360 - 180))
