"""The record's pieces as regions: what must be left, in sheet millimetres, and what holds it.

Does not look at cut files.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from foamwright.errors import GeometryError
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.oval import POINT, Oval, closed_by, swollen
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import parse_path_data
from foamwright.geometry.region import (
    Region,
    curve,
    deepest_point,
    directed_deviation,
    grown,
    is_valid,
    minus,
    region,
    union,
)
from foamwright.geometry.segments import Points
from foamwright.record import BridgeEntry, PieceEntry
from foamwright.stages.verify.reading import FAR


class BadTargetError(GeometryError):
    """A target in the record that is no piece."""


#: mm by which a recorded bridge may miss the outline: the record keeps 6 decimals.
ON_OUTLINE = 1e-3
#: Share of an outline that holding bridges may take at most: a piece is cut, not left.
HELD_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class Held:
    """A holding bridge of the record, on the outline that it interrupts.

    along: mm along the outline to its middle, at.  outward: unit vector into the scrap there.
    length: of the outline that stays uncut; width: of the stock that stands.
    """

    at: complex
    along: float
    outward: complex
    length: float
    width: float


@dataclass(frozen=True)
class Target:
    """A copy as it must be left. fine: how closely curves are followed, mm.  of: its piece."""

    name: str
    sheet: int
    outline: Path
    openings: tuple[Path, ...]
    slits: tuple[Path, ...]
    marks: tuple[Path, ...]
    fine: float
    bridges: tuple[Held, ...] = ()
    of: str = ""
    _made: dict[tuple[str, Oval, float], Region] = field(
        default_factory=dict, compare=False, repr=False
    )

    @cached_property
    def area(self) -> Region:
        return region(self.outline, self.openings, self.fine)

    @cached_property
    def inside(self) -> complex:
        return deepest_point(self.area)

    @cached_property
    def holes(self) -> tuple[complex, ...]:
        """A point inside each opening."""
        return tuple(deepest_point(region(p, (), self.fine)) for p in self.openings)

    @cached_property
    def uncut(self) -> Region:
        """The stretches of the outline that holding bridges leave uncut, as lines."""
        halves = [(h.along, h.length / 2) for h in self.bridges]
        return union([curve(self.outline.between(s - v, s + v), self.fine) for s, v in halves])

    def by_hand(self, beam: Oval) -> Region:
        """What a hand takes away that severs the bridges along the outline, between the places
        where a tool of this section touches it.
        """
        return minus(grown(self.uncut, 2 * beam.radius, self.fine), self.closed(beam))

    def at_bridges(self, points: Points, within: float) -> npt.NDArray[np.bool_]:
        """For each point, whether it lies on a bridge's stretch, within so many mm."""
        if not self.bridges:
            return np.zeros(len(points), dtype=np.bool_)
        return directed_deviation(points, self.uncut) <= within

    def closed(self, beam: Oval) -> Region:
        """The target closed by the tool's section: all that such a tool must leave."""
        key = ("closed", beam, 0.0)
        if key not in self._made:
            self._made[key] = closed_by(self.area, beam, self.fine)
        return self._made[key]

    def guard(self, reach: float, beam: Oval = POINT) -> Region:
        """Where a tool of this section, its longer half axis made wider by reach mm, would touch
        the target; a negative reach of a point: all deeper in the target than that."""
        key = ("guard", beam, reach)
        if key not in self._made:
            self._made[key] = swollen(self.area, beam, reach, self.fine / 2)
        return self._made[key]


def read_target(entry: PieceEntry, fine: float) -> Target:
    """The entry's paths. Raises BadTargetError with the reason where they are no piece."""
    try:
        paths = parse_path_data(entry.target)
        slits = [p for text in entry.slits for p in parse_path_data(text)]
        marks = [p for text in entry.marks for p in parse_path_data(text)]
    except GeometryError as err:
        raise BadTargetError(f"its record can't be read ({err})") from None
    if not paths or not all(p.closed for p in paths):
        raise BadTargetError("its recorded target is not made of closed outlines")
    target = Target(
        entry.copy_name,
        entry.sheet,
        paths[0],
        paths[1:],
        tuple(slits),
        tuple(marks),
        fine,
        of=entry.name,
    )
    if not all(abs(v) < FAR for v in target.outline.bounds):
        raise BadTargetError("its recorded target lies farther off than any sheet")
    if not all(abs(p.area) > fine * fine for p in paths):
        raise BadTargetError("its recorded target has an outline without area")
    if not is_valid(target.area):
        raise BadTargetError("its recorded target crosses itself")
    return replace(target, bridges=tuple(_held(entry.bridges, target.outline)))


def _held(bridges: tuple[BridgeEntry, ...], outline: Path) -> Iterator[Held]:
    """The bridges on the outline. Raises BadTargetError where they can't be meant."""
    for b in bridges:
        at = complex(b.x, b.y)
        if not (abs(at.real) < FAR and abs(at.imag) < FAR):
            raise BadTargetError("its recorded holding bridge lies farther off than any sheet")
        along, off = nearest_length(outline, at)
        if not (off < ON_OUTLINE and b.length > 0 and b.width > 0):
            raise BadTargetError("its recorded holding bridge is none, or not on its outline")
        outward = -1j * outline.tangent_at(along) * (1 if outline.area > 0 else -1)
        yield Held(at, along, outward, b.length, b.width)
    if not sum(b.length for b in bridges) <= HELD_SHARE * outline.length:
        raise BadTargetError("its recorded holding bridges leave more than a quarter of it uncut")
