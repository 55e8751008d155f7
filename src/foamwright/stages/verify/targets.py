"""The record's pieces as regions: what must be left, in sheet millimetres.

Does not look at cut files.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import parse_path_data
from foamwright.geometry.region import (
    Region,
    closing,
    grown,
    inside_point,
    is_valid,
    region,
)
from foamwright.record import PieceEntry


class BadTargetError(GeometryError):
    """A target in the record that is no piece."""


@dataclass(frozen=True)
class Target:
    """A copy as it must be left. fine: how closely curves are followed, mm."""

    name: str
    sheet: int
    outline: Path
    openings: tuple[Path, ...]
    slits: tuple[Path, ...]
    marks: tuple[Path, ...]
    fine: float
    _made: dict[tuple[str, float], Region] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def area(self) -> Region:
        return region(self.outline, self.openings, self.fine)

    @cached_property
    def inside(self) -> complex:
        return inside_point(self.area)

    @cached_property
    def holes(self) -> tuple[complex, ...]:
        """A point inside each opening."""
        return tuple(inside_point(region(p, (), self.fine)) for p in self.openings)

    def closed(self, radius: float) -> Region:
        """The target closed by the tool's disc: all that a disc of this radius must leave."""
        key = ("closed", radius)
        if key not in self._made:
            self._made[key] = closing(self.area, radius, self.fine) if radius else self.area
        return self._made[key]

    def guard(self, reach: float) -> Region:
        """All within reach of the target; a negative reach: all deeper in it than that."""
        key = ("guard", reach)
        if key not in self._made:
            self._made[key] = grown(self.area, reach, self.fine / 2)
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
        entry.copy_name, entry.sheet, paths[0], paths[1:], tuple(slits), tuple(marks), fine
    )
    if not is_valid(target.area):
        raise BadTargetError("its recorded target crosses itself")
    return target
