"""What a reader hands to `pieces`: drawn shapes, each a path in mm with its names and place.

A shape is one path (a drawn element with several subpaths gives several shapes), y up, corners
marked.  Readers turn a file's own curves into lines, arcs and cubics and know nothing of pieces.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TypeAlias

from foamwright.findings import Finding
from foamwright.geometry.path import Path

#: The words that an id, a group or layer name, or `data-role` may state as what a shape is for.
ROLES = ("cut", "mark", "slit", "fold", "grain", "point", "note")

#: The kind of the boundary of a fill, which is an outline where no line is drawn round the fill.
FILL = "fill"
#: The kind of a fold about which a half is to be opened, whatever the job says.
MIRROR = "mirror"
#: The kinds of an open line that bears a fill, and of one of which nothing but the fill is seen.
FILLED, SEEN_FILL = "filled", "seen-fill"


@dataclass(frozen=True, slots=True)
class Shape:
    """One drawn path.

    groups: names of the enclosing groups or layers, outermost first.  role: one of `ROLES` where
    the drawing states it.  where: file, line and name, for messages (`heron.svg line 12 #sole`);
    the subpaths of one element share it.  kind: what `data-shape` says of a mark (`hole`), FILL,
    MIRROR, FILLED or SEEN_FILL.  element: the number of the element whose subpaths share a fill;
    nought where there is no such thing.
    A dot of no size (a `point`, a note's place) is one line from a spot to itself.
    """

    path: Path
    id: str = ""
    title: str = ""
    groups: tuple[str, ...] = ()
    role: str | None = None
    where: str = ""
    kind: str = ""
    element: int = 0


#: What a reader gives: the shapes, what was noticed, and the unit that a bare number stands for.
Reading: TypeAlias = tuple[tuple[Shape, ...], tuple[Finding, ...], str]

_ROLE_NAME = re.compile(rf"({'|'.join(ROLES)})(?:s|[-_ ]?lines?)?(?:[-_ .]*[0-9]+)?", re.IGNORECASE)


def role_of(name: str | None) -> str | None:
    """The role that a name states: the word, its plural, with `line`, with a number (`slit-2`)."""
    found = _ROLE_NAME.fullmatch((name or "").strip())
    return found[1].lower() if found else None
