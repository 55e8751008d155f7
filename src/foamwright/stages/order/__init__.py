"""Cuts to a program: in which sequence, and how long it takes.

Piece by piece safe: whatever is inside is cut before what frees it, since operations follow each
other as `OPERATIONS` says.  On a roll the feed is worked band by band; where the profile says so, a
sheet is too, from its far side on, so that what still has to be cut lies in stock that is stiff.
`sequence` and `exchange` find the way round and choose among each cut's entries, `time` foretells
the duration.  Does not make a path that compensation hasn't offered.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from foamwright.geometry import region
from foamwright.model import OPERATIONS, Cut, Program, Sheet, Tool
from foamwright.stages.order.sequence import Unit, entered, way_round
from foamwright.stages.order.time import operation_times

__all__ = ["order"]

#: The head's place before the first move: the stock's near left corner.
HOME = 0j


def order(cuts: Sequence[Cut], sheet: Sheet, tool: Tool) -> Program:
    """The sheet's cuts in cutting order, grouped by band, then by operation, with time and box.

    Strokes of one contour stay together and in their order; ties are broken by name.
    """
    banded = with_bands(cuts, sheet, tool)
    sequence: list[Unit] = []
    here = HOME
    for band in sorted({c.band for c in banded}):
        for operation in OPERATIONS:
            group = units([c for c in banded if c.band == band and c.operation == operation])
            first = [u for u in group if not u.copy]
            rest = [u for u in group if u.copy]
            if first:
                here = entered(first, here)[-1].end
            way = way_round(rest, here)
            sequence += [*first, *(v.unit for v in way)]
            if way:
                here = way[-1].end
    done = tuple(c for v in entered(sequence, HOME) for c in v.cuts)
    times = operation_times(done, tool, HOME)
    seconds = math.fsum(s for _, s in times)
    return Program(sheet, tool, done, seconds, times)


def with_bands(cuts: Sequence[Cut], sheet: Sheet, tool: Tool) -> list[Cut]:
    """Each cut with the band that its piece begins in; 0 where there are no bands.

    Where there are none, a piece in another's opening still goes before that other.

    On a roll a piece begins at its near edge, and bands follow the feed; where a sheet is worked
    from its far side on, at its far edge, and bands count from there.  A cut of no piece, such as a
    knife's alignment stroke, goes into the first band there is.
    """
    depth = tool.band or tool.far_first
    if depth is None:
        first_freed = _by_nesting(sheet)
        return [replace(c, band=first_freed.get(c.copy, 0)) for c in cuts]
    from_far = tool.band is None
    of_copy: dict[str, int] = {}
    for p in sheet.placements:
        _, near, _, far = p.piece.outline.bounds
        of_copy[p.copy.name] = max(
            0, math.floor((sheet.length - far if from_far else near) / depth)
        )
    first = min((of_copy[c.copy] for c in cuts if c.copy), default=0)
    return [replace(c, band=of_copy.get(c.copy, first)) for c in cuts]


def _by_nesting(sheet: Sheet) -> dict[str, int]:
    """By copy: how many pieces deep lies what is in its openings; 0 where nothing does."""
    holes = [
        (p.copy.name, region.region(o.path))
        for p in sheet.placements
        for o in p.piece.openings
        if len(sheet.placements) > 1
    ]
    if not holes:
        return {}
    bodies = {p.copy.name: region.region(p.piece.outline) for p in sheet.placements}
    inside: dict[str, set[str]] = {}
    for host, hole in holes:
        guests = {n for n, body in bodies.items() if n != host and region.covers(hole, body)}
        inside.setdefault(host, set()).update(guests)

    def depth(name: str) -> int:
        return max((1 + depth(g) for g in inside.get(name, ())), default=0)

    return {name: depth(name) for name in bodies}


def units(cuts: Sequence[Cut]) -> list[Unit]:
    """The cuts of each contour together, sorted by name."""
    kept: dict[tuple[str, str], list[Cut]] = {}
    for c in cuts:
        kept.setdefault((c.copy, c.contour), []).append(c)
    return [Unit(tuple(kept[name])) for name in sorted(kept)]
