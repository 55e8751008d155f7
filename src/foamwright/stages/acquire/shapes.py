"""What a reader hands to `pieces`: drawn shapes, each a path in mm with its names and place.

A shape is one path (a drawn element with several subpaths gives several shapes), y up, corners
marked.  Readers turn a file's own curves into lines, arcs and cubics and know nothing of pieces.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from foamwright.findings import Finding
from foamwright.geometry.path import Path

#: The words that an id, a group or layer name, or `data-role` may state as what a shape is for.
ROLES = ("cut", "mark", "slit", "fold", "grain", "point", "note")


@dataclass(frozen=True, slots=True)
class Shape:
    """One drawn path.

    groups: names of the enclosing groups or layers, outermost first.  role: one of `ROLES` where
    the drawing states it.  where: file, line and name, for messages (`heron.svg line 12 #sole`).
    """

    path: Path
    id: str = ""
    title: str = ""
    groups: tuple[str, ...] = ()
    role: str | None = None
    where: str = ""


#: What a reader gives: the shapes, what was noticed, and the unit that a bare number stands for.
Reading: TypeAlias = tuple[tuple[Shape, ...], tuple[Finding, ...], str]
