"""What a turned blade does beside its edge: its body in a piece, its edge at the bottom face.

Proven of every stroke that is not straight: no place of the blade's sections (`section`) lies in a
piece deeper than the tool's `far_face_max`, and no bottom edge farther off its target than that.
Both are measured place by place.  Does not look at the edge on the top face (`compare`), nor at
what stays uncut (`depth`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from foamwright.geometry.region import (
    Distances,
    boundary,
    contains_points,
    curve,
    directed_deviation,
    union,
)
from foamwright.geometry.segments import Points
from foamwright.stages.verify.compare import Fault, Spot
from foamwright.stages.verify.simulate import SEVERING, Trace
from foamwright.stages.verify.targets import Target

#: mm from a target's edge within which a stroke's place is on it.
ON_EDGE = 0.05
_MEND = "widen the curve, take a steeper or narrower blade, or raise far_face_max"


def prove_body(target: Target, strokes: Sequence[Trace], most: float) -> tuple[list[Fault], Spot]:
    """Faults of a piece by the blades near it, and the farthest that a bottom edge is off it.

    most: mm that either may be off.
    """
    bent = [s for s in strokes if s.blade is not None]
    faults = []
    none = Spot(target.inside, 0.0)
    body = max(_bodies(target, bent), key=_depth, default=none)
    if body.depth > most:
        what = f"the blade's body swings {body.depth:.2f} mm into the piece, {most:g} mm at most"
        faults.append(Fault("V031", body.at, what, _MEND))
    far = max(_far(target, bent), key=_depth, default=none)
    if far.depth > most:
        what = f"its edge at the bottom face is {far.depth:.2f} mm off, {most:g} mm at most"
        faults.append(Fault("V032", far.at, what, _MEND))
    return faults, far


def _depth(spot: Spot) -> float:
    return spot.depth


def _bodies(target: Target, strokes: Sequence[Trace]) -> Iterator[Spot]:
    """The deepest place in the target of each blade; in a slit, the farthest off it."""
    for s in strokes:
        assert s.blade is not None
        points = s.blade.body()
        points = points[contains_points(target.area, points)]
        if len(points):
            edge = boundary(target.area) if s.operation in SEVERING else s.line(0)
            yield _worst(points, directed_deviation(points, edge))


def _far(target: Target, strokes: Sequence[Trace]) -> Iterator[Spot]:
    """For each blade the farthest that its bottom edge lies off the target's edge over it."""
    lines = (target.outline, *target.openings, *target.slits)
    edge = union([curve(p, target.fine) for p in lines])
    for s in strokes:
        assert s.blade is not None
        on = directed_deviation(s.blade.under, edge) <= ON_EDGE
        if on.any():
            points = s.blade.edges[on]
            yield _worst(points, directed_deviation(points, edge))


def _worst(points: Points, off: Distances) -> Spot:
    k = int(np.argmax(off))
    return Spot(complex(points[k]), float(off[k]))
