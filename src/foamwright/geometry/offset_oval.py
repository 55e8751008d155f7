"""Parallels of closed paths for a tool that is wider one way than the other.

The centre of an oval that touches a path from outside runs on the path's Minkowski sum with it.
Stretched until the oval is a disc (`oval.py`), that is a plain round parallel.  Its arcs become
cubics that share their tangents at smooth joints, are mapped back, and are fitted anew: a fit wants
a curve without the small kinks that an earlier fit left.
"""

from __future__ import annotations

import math

from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.offset import offset
from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

#: Shares of the tolerance: of the parallel and of the shared tangents; the last fit has the rest.
PARALLEL_SHARE, SMOOTHING_SHARE = 0.1, 0.2
#: How far a cubic's middle moves for each radian that one end's tangent turns, as a share of its
#: length: a third of the length as handle, times the most of 3 t (1 - t)^2, which is 4/9.
SWAY = 4 / 27
#: An arc is cut into cubics of at most this sweep, radians: within 1e-7 of the radius.
WIDEST = math.pi / 6


def offset_oval(path: Path, oval: Oval, tolerance: float) -> tuple[Path, ...]:
    """The ways of an oval's centre round a closed path, on the right of its travel.

    Several where a neck vanished, none where all did; lines and arcs, each with the path's
    orientation.  Within tolerance (mm) even once stretched, where no distance is shorter.
    Raises GeometryError for an open path.
    """
    if oval.is_disc:
        return offset(path, oval.radius, tolerance)
    stretch, back = oval.stretch, oval.stretch.inverse()
    found = offset(path.transformed(stretch), oval.radius, tolerance * PARALLEL_SHARE)
    rest = tolerance * (1 - PARALLEL_SHARE - SMOOTHING_SHARE) / oval.ratio
    smooth = (smoothed(p, tolerance * SMOOTHING_SHARE) for p in found)
    return tuple(fit_arcs(p.transformed(back), rest) for p in smooth)


def smoothed(path: Path, tolerance: float) -> Path:
    """A closed path of lines and arcs with its arcs as cubics, which share tangents at joints.

    A joint where that would move a curve by more than the tolerance (mm) becomes a corner.
    """
    fine = _finely(path)
    segments = fine.segments
    corners = set(fine.corners)
    leaves, comes = {}, {}
    for i, after in enumerate(segments):
        before = segments[i - 1]
        came, goes = before.tangent(1.0), after.tangent(0.0)
        shared = _shared(before, after)
        for own, s in ((came, before), (goes, after)):
            if SWAY * s.length() * abs(shared / own - 1) > tolerance and isinstance(s, Arc):
                corners.add(i)
        comes[(i - 1) % len(segments)] = came if i in corners else shared
        leaves[i] = goes if i in corners else shared
    made = tuple(
        _hermite(s, leaves[i], comes[i]) if isinstance(s, Arc) else s
        for i, s in enumerate(segments)
    )
    return Path(made, True, frozenset(corners))


def _finely(path: Path) -> Path:
    """The path with its wide arcs cut into even parts."""
    made: list[Segment] = []
    corners = []
    for i, s in enumerate(path.segments):
        if i in path.corners:
            corners.append(len(made))
        rest: Segment = s
        parts = math.ceil(abs(s.sweep) / WIDEST) if isinstance(s, Arc) else 1
        for k in range(parts, 1, -1):
            first, rest = rest.split(1 / k)
            made.append(first)
        made.append(rest)
    return Path(tuple(made), True, frozenset(corners))


def _shared(before: Segment, after: Segment) -> complex:
    """The tangent of a smooth joint: a line's own, else between the two."""
    came, goes = before.tangent(1.0), after.tangent(0.0)
    if isinstance(before, Line):
        return came
    if isinstance(after, Line):
        return goes
    middle = came + goes
    return middle / abs(middle)


def _hermite(arc: Arc, leaves: complex, comes: complex) -> Cubic:
    """The cubic in the place of an arc, with these tangents at its ends.

    Handles of 2/3 of the chord over 1 + cos(half the turn): 4/3 tan(sweep / 4) radii for an arc.
    """
    chord = arc.end - arc.start
    handle = abs(chord) * 2 / 3 / (1 + math.cos(arc.sweep / 2))
    return Cubic(arc.start, arc.start + handle * leaves, arc.end - handle * comes, arc.end)
