"""Cuts to a program: in which sequence, and how long it takes.

Piece by piece safe: whatever is inside is cut before what frees it, since operations follow each
other as `OPERATIONS` says.  On a roll the feed is worked band by band; where the profile says so, a
sheet is too, from its far side on, so that what still has to be cut lies in stock that is stiff.
`sequence` and `exchange` find the way round and choose among each cut's entries, `time` foretells
the duration.  Does not make a path that compensation hasn't offered.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
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
    """Each cut with the band in which its piece is cut; 0 where there are no bands.

    On a roll a piece begins at its near edge, and bands follow the feed; where a sheet is worked
    from its far side on, at its far edge, and bands count from there.  A piece with others in its
    openings waits for these: bands then count what is cut one after the other.  A cut of no piece,
    such as a knife's alignment stroke, goes into the first band there is.
    """
    of_copy = _after_guests(_bands(sheet, tool), _guests(sheet))
    first = min((of_copy[c.copy] for c in cuts if c.copy), default=0)
    return [replace(c, band=of_copy.get(c.copy, first)) for c in cuts]


def _bands(sheet: Sheet, tool: Tool) -> dict[str, int]:
    """By copy: the band that it begins in."""
    depth = tool.band or tool.far_first
    if depth is None:
        return {p.copy.name: 0 for p in sheet.placements}
    made = {}
    for p in sheet.placements:
        _, near, _, far = p.piece.outline.bounds
        begins = near if tool.band is not None else sheet.length - far
        made[p.copy.name] = max(0, math.floor(begins / depth))
    return made


def _guests(sheet: Sheet) -> dict[str, set[str]]:
    """By copy: the copies in its openings, where there are any."""
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
    return {host: guests for host, guests in inside.items() if guests}


def _after_guests(bands: Mapping[str, int], guests: Mapping[str, set[str]]) -> Mapping[str, int]:
    """Bands in which every host comes after its guests; as they are where there are none."""
    if not guests:
        return bands

    def when(name: str) -> tuple[int, int]:
        """Its band, and its turn in that."""
        latest = max((when(g) for g in guests.get(name, ())), default=(-1, 0))
        return (bands[name], 0) if latest[0] < bands[name] else (latest[0], latest[1] + 1)

    turns = {name: when(name) for name in bands}
    number = {turn: k for k, turn in enumerate(sorted(set(turns.values())))}
    return {name: number[turn] for name, turn in turns.items()}


def units(cuts: Sequence[Cut]) -> list[Unit]:
    """The cuts of each contour together, sorted by name."""
    kept: dict[tuple[str, str], list[Cut]] = {}
    for c in cuts:
        kept.setdefault((c.copy, c.contour), []).append(c)
    return [Unit(tuple(kept[name])) for name in sorted(kept)]
