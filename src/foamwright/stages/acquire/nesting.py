"""Which closed outline lies in which: pieces, their openings, pieces again inside those.

Outlines are compared as regions flattened within a tolerance; a depth below `slack` mm counts as
touching, so that pieces may share a cut line and rounding doesn't make two outlines cross.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from foamwright.geometry.path import Path
from foamwright.geometry.region import (
    Region,
    area,
    common,
    covers,
    grown,
    inside_point,
    is_empty,
    is_valid,
    minus,
    near,
    region,
)

#: Regions that overlap less deep than this, in mm, only touch.
SLACK = 0.01


@dataclass(slots=True)
class Nest:
    """inside: index of the smallest outline around each, or None.  twice: (copy, original).

    crossing: two outlines that overlap in part, and a place where they do.
    """

    inside: list[int | None]
    twice: list[tuple[int, int]] = field(default_factory=list)
    crossing: list[tuple[int, int, complex]] = field(default_factory=list)

    def depth(self, i: int) -> int:
        """How many outlines lie around outline i."""
        count, at = 0, self.inside[i]
        while at is not None:
            count, at = count + 1, self.inside[at]
        return count


def sound_region(path: Path, tolerance: float, openings: Sequence[Path] = ()) -> Region:
    """The region inside a path; one that touches itself is widened by a hair to be whole."""
    made = region(path, openings, tolerance)
    return made if is_valid(made) else grown(made, tolerance / 20, tolerance / 20)


def nest(paths: Sequence[Path], tolerance: float = 0.002, slack: float = SLACK) -> Nest:
    """How closed paths lie in each other. Each must not cross itself."""
    regions = [sound_region(p, tolerance) for p in paths]
    areas = [area(r) for r in regions]
    around: list[set[int]] = [set() for _ in paths]
    found = Nest([None] * len(paths))
    if not paths:
        return found
    for i, j in near(regions).pairs():
        big, small = (i, j) if areas[i] >= areas[j] else (j, i)
        if covers(regions[big], regions[small]) or _within(regions[big], regions[small], slack):
            if _within(regions[small], regions[big], slack):
                found.twice.append((j, i))
            else:
                around[small].add(big)
        elif not is_empty(shared := grown(common(regions[i], regions[j]), -slack)):
            found.crossing.append((i, j, inside_point(shared)))
    copies = {copy for copy, _ in found.twice}
    for k, holders in enumerate(around):
        real = holders - copies
        found.inside[k] = min(real, key=lambda h: (areas[h], h)) if real else None
    return found


def _within(big: Region, small: Region, slack: float) -> bool:
    """Nothing of the small region reaches deeper than slack outside the big one."""
    return is_empty(grown(minus(small, big), -slack / 2))
