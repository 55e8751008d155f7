"""What a strict reader makes of a cut file: its runs of the tool, in sheet coordinates, in order.

A run keeps the operations that its group or layer may stand for.  Whatever `save` would not write
is a reason to refuse, all told at once; what can be read nevertheless is proven, so that the pieces
it harms are named.  `UnreadableError`: nothing can be read.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from foamwright.errors import FoamwrightError
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic
from foamwright.record import FileEntry

#: No cut lies as far from the sheet's zero as this, mm.
FAR = 1e6
#: Layers for people: no run of the tool is looked for in them.
FOR_PEOPLE = ("TEXT", "STOCK", "CHECK")


class UnreadableError(FoamwrightError):
    """Nothing of the file, or of one thing in it, can be read, and why."""


@dataclass(frozen=True, slots=True)
class Run:
    """One path as read. operations: those that its layer may stand for. people: for people only."""

    path: Path
    operations: frozenset[str]
    people: bool = False


@dataclass(frozen=True, slots=True)
class Reading:
    """The runs of a file in file order, and all that no written file holds."""

    runs: tuple[Run, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """A block of the record's contours as a file must show it."""

    label: str
    operation: str


def expected_groups(entry: FileEntry) -> tuple[Group, ...]:
    """The groups of cuts that the record calls for, in order.

    A layer's second group is `NAME-2`, its third `NAME-3`, past the names that layers bear.
    """
    layers = {*entry.layers.values()}
    groups: dict[str, str] = {}
    for (_, operation), _run in groupby(entry.contours, key=lambda c: (c.band, c.operation)):
        label = layer = entry.layers.get(operation, operation)
        number = 1
        while label in groups or (number > 1 and label in layers):
            number += 1
            label = f"{layer}-{number}"
        groups[label] = operation
    return tuple(Group(*g) for g in groups.items())


def to_sheet(entry: FileEntry, scale: float, flipped: bool) -> Affine:
    """From the file's coordinates to the sheet's. scale: mm in a unit; flipped: y runs down.

    Raises UnreadableError where the record's zero or the scale can't be meant.
    """
    x, y = entry.origin
    if not (0 < abs(scale) < FAR and abs(x) < FAR and abs(y) < FAR):
        raise UnreadableError(f"a scale of {scale:g} with its zero at ({x:g}, {y:g}) mm")
    return Affine(a=scale, d=-scale if flipped else scale, e=x, f=y)


def placed(path: Path, m: Affine) -> Path:
    """A path in sheet coordinates. Raises UnreadableError where it lies out of all bounds."""
    moved = path.transformed(m)
    if not all(abs(v) < FAR for v in moved.bounds):
        raise UnreadableError("a place farther off than any sheet")
    return moved


def check_plain(path: Path, where: str) -> Iterable[str]:
    """A reason where the path holds anything but lines and arcs."""
    if any(isinstance(s, Cubic) for s in path.segments):
        yield f"{where} holds a curve that is neither line nor arc"
