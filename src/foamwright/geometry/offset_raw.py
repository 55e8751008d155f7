"""The raw parallel of a closed path: every element's own parallel and every joint's join.

Terms.  The path here is of lines and arcs and is followed with the material on its left; its raw
parallel lies `reach` mm (at least 0) to its right.  An *element* is one line or arc of the raw
parallel: the `parallel` of a source segment, a `join` round or across an outside corner, or
`inner`, a stretch that bridges what can't be part of the result (at an inside corner, and the
parallel of an arc whose radius is less than the reach).
Where the raw parallel runs through itself is no matter here: `offset_simple.py` and
`offset_fill.py` see to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from foamwright.geometry.chains import (
    Chains,
    Flags,
    Floats,
    Indices,
    curves,
    joints_turned_round,
)
from foamwright.geometry.fit import SMOOTH, Fitted
from foamwright.geometry.segments import Arc, Cubic, Line, Points

Join: TypeAlias = Literal["round", "mitre", "bevel"]
Role: TypeAlias = Literal["parallel", "join", "inner"]
_ROLES: tuple[Role, ...] = ("parallel", "join", "inner")
#: The numbers of joins in compiled code.
JOINS = (
    "round",
    "mitre",
    "bevel",
    "butt-before",
    "butt-after",
    "fold-before",
    "fold-after",
)

#: A segment shorter than this makes a cutter stutter, mm; only a round join may be.
SLIVER = 0.05
#: A fit's direction at a corner with a mitre or the like is off the drawing's by this at most,
#: radians: so its sides run on straight, and are off by 0.002 mm after 12 mm where only arcs
#: are left.
AT_MITRES = SMOOTH
#: Lengths below this are rounding of doubles for sizes up to some metres, mm.
TINY = 1e-10


@dataclass(frozen=True, slots=True)
class Element:
    """A line or arc of the raw parallel.

    source: index of the segment it is parallel to, or of the joint that it joins.
    sharp: it ends at a corner of the result where the next element follows on naturally; an
    inner one: it stands for an inside corner of the source.
    """

    curve: Line | Arc
    role: Role
    source: int
    sharp: bool = False


@dataclass(frozen=True, slots=True)
class Raw:
    """The elements of many raw parallels as arrays: path i has first[i] up to first[i + 1].

    role: 0 parallel, 1 join, 2 inner; source: index among all the chains' segments.
    """

    start: Points
    end: Points
    bulge: Floats
    role: Indices
    source: Indices
    sharp: Flags
    first: Indices

    def elements(self, i: int) -> tuple[Element, ...]:
        """Path i's elements in the order of travel, each starting where one ends."""
        at = slice(self.first[i], self.first[i + 1])
        told = zip(
            curves(self.start[at], self.end[at], self.bulge[at]),
            self.role[at].tolist(),
            self.source[at].tolist(),
            self.sharp[at].tolist(),
            strict=True,
        )
        return tuple(Element(c, _ROLES[r], s, sharp) for c, r, s, sharp in told)


@dataclass(frozen=True, slots=True)
class Ways:
    """Of each joint of chains the drawing's directions into it and out of it; 0: the chain's own.

    The arcs through a cubic end at a corner within a fraction of a degree of its own direction.  A
    join that is far from the corner shows that, so it is made by the drawing's.
    """

    came: Points
    goes: Points

    @staticmethod
    def of(fits: Sequence[Fitted]) -> Ways:
        first = np.cumsum([0, *(len(f.path.segments) for f in fits)])
        made = Ways.none(int(first[-1]))
        for low, fit in zip(first.tolist(), fits, strict=False):
            for k, before, after in fit.corners:
                if isinstance(before, Cubic):
                    made.came[low + k] = before.tangent(1.0)
                if isinstance(after, Cubic):
                    made.goes[low + k] = after.tangent(0.0)
        return made

    @staticmethod
    def none(joints: int) -> Ways:
        return Ways(np.zeros(joints, np.complex128), np.zeros(joints, np.complex128))

    def reversed(self, first: Indices) -> Ways:
        """Of the reversed chains; first: of the chains."""
        joints = joints_turned_round(first)
        return Ways(-self.goes[joints], -self.came[joints])


def raw_parallels(
    chains: Chains,
    reach: Floats,
    joins: Indices,
    tolerance: float,
    mitre_limit: float,
    ways: Ways | None = None,
) -> Raw:
    """The raw parallels of all paths.

    reach: of each segment, mm; joins: of each joint, as `offset_raw_compiled` numbers them; ways:
    none where no joint has others than its own.
    """
    from foamwright.geometry.offset_raw_compiled import raw_elements

    ways = ways or Ways.none(len(chains.start))
    made, first = raw_elements(
        chains.start,
        chains.end,
        chains.bulge,
        chains.corner,
        chains.first,
        reach,
        joins,
        tolerance,
        mitre_limit,
        ways.came,
        ways.goes,
    )
    n = int(first[-1])
    return Raw(
        made.start[:n],
        made.end[:n],
        made.bulge[:n],
        made.role[:n],
        made.source[:n],
        made.sharp[:n],
        first,
    )
