"""The bottom face under an inclined blade: what it leaves uncut there, and whether that must be.

Uncut at the bottom is right only where going on would cut into a piece; its length is told.  Any
other stretch is a fault.  Does not know files or records.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from foamwright.geometry.region import (
    Region,
    boundary,
    boundary_points,
    curve,
    directed_deviation,
    grown,
    minus,
    polyline,
    rings,
    touches_or_overlaps,
    union,
)
from foamwright.geometry.segments import Points
from foamwright.stages.verify.compare import Fault
from foamwright.stages.verify.simulate import SEVERING, Trace
from foamwright.stages.verify.targets import Target

#: Distance between places looked at along an edge, mm; corners, where strokes end, are among them.
LOOK = 0.25
#: mm: a stroke may stop this far short of a piece that it would cut into.
STAND_OFF = 0.2
#: Share of the limit: a stroke that would go this deep into a piece need not run on.
GRAZE = 0.1


@dataclass(frozen=True, slots=True)
class Uncut:
    """A stretch of an edge that the bottom face still holds by. length in mm."""

    at: complex
    length: float
    allowed: bool


def uncut_at_bottom(
    edge: Region, strokes: Sequence[Trace], pieces: Sequence[Target], limit: float
) -> Iterator[Uncut]:
    """Stretches of the edge (lines) that no stroke severs at the bottom.

    strokes: those near the edge.  pieces: the targets near it, none of which may be cut into.
    """
    cut = [polyline(s.bottom) for s in strokes if s.bottom is not None and len(s.bottom)]
    if cut:
        severed = union(cut)
        if directed_deviation(boundary_points(edge, LOOK), severed).max() <= limit:
            return
        edge = minus(edge, grown(severed, limit, limit / 4))
    for run in _joined(rings(edge)):
        length = float(np.abs(np.diff(run)).sum()) + 2 * limit
        if length > 4 * limit:
            middle = _half_way(run)
            yield Uncut(middle, length, _must_stay(middle, length, strokes, pieces, limit))


def _half_way(run: Points) -> complex:
    """The point half way along a run."""
    way = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(run)))])
    x, y = (np.interp(way[-1] / 2, way, part) for part in (run.real, run.imag))
    return complex(x, y)


def _joined(runs: Sequence[Points]) -> list[Points]:
    """Runs that meet end to start, as where an edge's seam lies, made one."""
    whole: list[Points] = []
    for run in runs:
        for k, other in enumerate(whole):
            if other[-1] == run[0]:
                whole[k] = np.concatenate([other, run[1:]])
                break
            if run[-1] == other[0]:
                whole[k] = np.concatenate([run, other[1:]])
                break
        else:
            whole.append(run)
    return whole


def _must_stay(
    middle: complex,
    length: float,
    strokes: Sequence[Trace],
    pieces: Sequence[Target],
    limit: float,
) -> bool:
    """Whether each stroke that leaves this stretch would cut a piece by going on as far as it."""
    spot = np.array([middle])
    mine = [s for s in strokes if directed_deviation(spot, s.line(0))[0] <= 2 * limit]
    return bool(mine) and all(
        any(
            touches_or_overlaps(_further(s, middle, length), p.guard(-GRAZE * limit))
            for p in pieces
        )
        for s in mine
    )


def _further(stroke: Trace, near: complex, length: float) -> Region:
    """The way straight on, past the end of the stroke that lags at the bottom, and a little."""
    path = stroke.path
    if stroke.double and abs(near - path.start) < abs(near - path.end):
        path = path.reversed()
    ahead = path.segments[-1].tangent(1.0) * (length + STAND_OFF)
    return polyline(np.array([path.end, path.end + ahead]))


def prove_bottom(
    target: Target, strokes: Sequence[Trace], pieces: Sequence[Target], limit: float
) -> tuple[list[Fault], float]:
    """Faults of the piece at the bottom face, and the length left for the hand, mm."""
    edges = [(boundary(target.area), [s for s in strokes if s.operation in SEVERING])]
    if target.slits:
        slits = union([curve(p, target.fine) for p in target.slits])
        edges.append((slits, [s for s in strokes if s.operation == "CUT_SLIT"]))
    faults, left = [], 0.0
    for edge, cutting in edges:
        for stretch in uncut_at_bottom(edge, cutting, pieces, limit):
            if stretch.allowed:
                left += stretch.length
                continue
            what = f"the bottom face is not severed, {stretch.length:.2f} mm of its edge is uncut"
            faults.append(Fault("V017", stretch.at, what, "cut the job anew with the overrun"))
    return faults, left
