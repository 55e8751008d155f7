"""A drawn cut line whose corners are butted, folded or cut off, brought back to plain mitres.

On a cut line the end of such an allowance is a run of its own, just outside the edge that it was
made for.  Between straight edges it is left out, and the edges run on until they meet: then the
allowance can be taken off exactly.
"""

from __future__ import annotations

from types import MappingProxyType

from foamwright.geometry.contour import Contour
from foamwright.geometry.path import Path, find_corners
from foamwright.geometry.segments import Line, Segment
from foamwright.job import PieceSpec
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern

#: Sine of the least angle at which two edges run on to a corner.
LEAST_ANGLE = 0.01


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
            contour = without(contour, contour.places[run.last], edge)
            contour = without(contour, contour.places[run.first] - 1, edge)
    return contour


def without(contour: Contour, end: int, edge: str) -> Contour:
    """Without segment `end`; its neighbours run on to where they meet. Raises NoSuchEdgeError."""
    segments = contour.path.segments
    n = len(segments)
    end %= n
    before, after = segments[end - 1], segments[(end + 1) % n]
    if not (isinstance(before, Line) and isinstance(after, Line)):
        raise NoSuchEdgeError(
            f"the allowance of {edge} ends beside a curve, and can't be taken off there exactly"
        )
    corner = _meeting(before, after, edge)
    made: list[Segment] = list(segments)
    made[end - 1] = Line(before.start, corner)
    made[(end + 1) % n] = Line(corner, after.end)
    del made[end]
    places = {name: (j - (j > end)) % (n - 1) for name, j in contour.places.items()}
    kept = tuple(made)
    return Contour(
        Path(kept, True, find_corners(kept, True, 3.0) | _moved(contour.path.corners, end, n)),
        MappingProxyType(places),
    )


def _moved(corners: frozenset[int], end: int, n: int) -> frozenset[int]:
    return frozenset((j - (j > end)) % (n - 1) for j in corners)


def _meeting(a: Line, b: Line, edge: str) -> complex:
    u, v = a.tangent(0.0), b.tangent(0.0)
    sine = (u.conjugate() * v).imag
    if abs(sine) < LEAST_ANGLE:
        raise NoSuchEdgeError(f"the lines beside the end of {edge} never meet")
    far = ((b.start - a.start).conjugate() * v).imag / sine
    return a.start + u * far
