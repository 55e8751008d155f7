"""The record's pieces as regions: what must be left, in sheet millimetres.

Does not look at cut files.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from foamwright.errors import GeometryError
from foamwright.geometry.oval import POINT, Oval, closed_by, swollen
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import parse_path_data
from foamwright.geometry.region import (
    Region,
    inside_point,
    is_valid,
    region,
)
from foamwright.record import PieceEntry
from foamwright.stages.verify.reading import FAR


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
    _made: dict[tuple[str, Oval, float], Region] = field(
        default_factory=dict, compare=False, repr=False
    )

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
        entry.copy_name, entry.sheet, paths[0], paths[1:], tuple(slits), tuple(marks), fine
    )
    if not all(abs(v) < FAR for v in target.outline.bounds):
        raise BadTargetError("its recorded target lies farther off than any sheet")
    if not all(abs(p.area) > fine * fine for p in paths):
        raise BadTargetError("its recorded target has an outline without area")
    if not is_valid(target.area):
        raise BadTargetError("its recorded target crosses itself")
    return target
