"""A drawn cut line whose corners are butted, folded or cut off, brought back to plain mitres.

On a cut line the end of such an allowance is a run of its own, just outside the edge that it was
made for.  It is left out, and the edges run on, as they bend, until they meet: then the allowance
can be taken off, exactly beside lines and arcs.
"""

from __future__ import annotations

from itertools import accumulate
from types import MappingProxyType

from foamwright.geometry.contour import Contour
from foamwright.geometry.meeting import meeting
from foamwright.geometry.path import CORNER_ANGLE, Path, find_corners
from foamwright.job import PieceSpec
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern

#: How far the edges beside a drawn corner end run on, as a multiple of the end's length.
MOST_ON = 100.0


def sharpened(pattern: Pattern, spec: PieceSpec, ring: str) -> Contour:
    """The ring with mitred corners wherever `corners` names another kind for an edge.

    Raises NoSuchEdgeError where one can't be made so.
    """
    contour = pattern.ring(ring)
    for edge, kind in spec.corners.items():
        if kind == "mitre":
            continue
        if edge not in pattern.edges:
            raise NoSuchEdgeError(
                f"corners.{edge}: on a cut line name the edge that the corner was made for"
            )
        run = pattern.run(edge)
        if run.ring == ring:
            round_off = kind == "round"
            contour = _sharp(contour, run.last, edge, round_off, forwards=True)
            contour = _sharp(contour, run.first, edge, round_off, forwards=False)
    return contour


def _sharp(contour: Contour, place: str, edge: str, round_off: bool, forwards: bool) -> Contour:
    """Without the end of an allowance beyond a place: one run, or an arc and a step down from it.

    Raises NoSuchEdgeError.
    """
    at = contour.places[place]
    try:
        return without(contour, at if forwards else at - 1, edge)
    except NoSuchEdgeError:
        if not round_off:
            raise
        return without(contour, at if forwards else at - 2, edge, 2)


def without(contour: Contour, end: int, edge: str, count: int = 1) -> Contour:
    """Without `count` segments from `end` on; those beside them run on to where they meet.

    Raises NoSuchEdgeError.
    """
    segments = contour.path.segments
    n = len(segments)
    gone = [(end + k) % n for k in range(count)]
    before, following = (end - 1) % n, (end + count) % n
    reach = MOST_ON * sum(segments[k].length() for k in gone)
    met = meeting(segments[before], segments[following], reach) if n > count + 1 else None
    if met is None:
        raise NoSuchEdgeError(f"the lines beside the end of {edge} never meet")
    told = {before: met[0], following: met[1], **dict.fromkeys(gone, ())}
    runs = [told.get(k, (s,)) for k, s in enumerate(segments)]
    made = tuple(s for run in runs for s in run)
    starts = [0, *accumulate(len(run) for run in runs)]
    at = [j % len(made) for j in starts[:n]]
    corner = at[following]
    at = [corner if j in gone else k for j, k in enumerate(at)]
    corners = frozenset(at[j] for j in contour.path.corners) - {corner}
    judged = find_corners(made, True, CORNER_ANGLE) & {corner}
    places = {name: at[j] for name, j in contour.places.items()}
    return Contour(Path(made, True, corners | judged), MappingProxyType(places))
