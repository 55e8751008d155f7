"""Which closed outline lies in which: pieces, their openings, pieces again inside those.

A depth below `slack` mm counts as touching, so that pieces may share a cut line and rounding
doesn't make two outlines cross.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from foamwright.geometry.region import (
    Region,
    area,
    boundary,
    common,
    covers,
    distance,
    grown,
    inside_point,
    is_empty,
    is_valid,
    minus,
    near,
)

#: Regions that overlap less deep than this, in mm, only touch.
SLACK = 0.01


@dataclass(slots=True)
class Nest:
    """inside: index of the smallest outline around each, or None.  twice: (copy, original).

    crossing: two outlines that overlap in part, and a place where they do.  touching: two whose
    lines meet without crossing.
    """

    inside: list[int | None]
    twice: list[tuple[int, int]] = field(default_factory=list)
    crossing: list[tuple[int, int, complex]] = field(default_factory=list)
    touching: list[tuple[int, int]] = field(default_factory=list)

    def depth(self, i: int) -> int:
        """How many outlines lie around outline i."""
        count, at = 0, self.inside[i]
        while at is not None:
            count, at = count + 1, self.inside[at]
        return count


def whole(material: Region, tolerance: float) -> Region:
    """The region itself; one whose outline touches itself is widened by a hair to be whole."""
    return material if is_valid(material) else grown(material, tolerance / 20, tolerance / 20)


def nest(regions: Sequence[Region], slack: float = SLACK) -> Nest:
    """How regions without openings, each whole, lie in each other. slack: mm."""
    areas = [area(r) for r in regions]
    around: list[set[int]] = [set() for _ in regions]
    found = Nest([None] * len(regions))
    if not regions:
        return found
    for i, j in near(regions).pairs():
        big, small = (i, j) if areas[i] >= areas[j] else (j, i)
        if covers(regions[big], regions[small]) or _within(regions[big], regions[small], slack):
            if _same(regions[big], regions[small], areas[big] - areas[small], slack):
                found.twice.append((j, i))
                continue
            around[small].add(big)
            if distance(boundary(regions[big]), boundary(regions[small])) <= slack:
                found.touching.append((i, j))
        elif is_empty(shared := grown(common(regions[i], regions[j]), -slack)):
            found.touching.append((i, j))
        else:
            found.crossing.append((i, j, inside_point(shared)))
    copies = {copy for copy, _ in found.twice}
    for k, holders in enumerate(around):
        real = holders - copies
        found.inside[k] = min(real, key=lambda h: (areas[h], h)) if real else None
    found.crossing = [c for c in found.crossing if not {c[0], c[1]} & copies]
    found.touching = [t for t in found.touching if not set(t) & copies]
    return found


def _same(big: Region, small: Region, difference: float, slack: float) -> bool:
    return difference <= slack * float(big.length) and _within(small, big, slack)


def _within(big: Region, small: Region, slack: float) -> bool:
    """Nothing of the small region reaches deeper than slack outside the big one."""
    return is_empty(grown(minus(small, big), -slack / 2))
