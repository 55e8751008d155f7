"""Runs of cubics for the fit's own tests, and how far their points are from arcs.

Distances are taken from the arcs' own centres, not from the fit's formulas.
"""

from __future__ import annotations

import cmath
import itertools
import math
from collections.abc import Sequence

import numpy as np
from tests.geometry.dense import Edge, spots_on

from foamwright.geometry.affine import Affine
from foamwright.geometry.fitting.curve import Curve, powers_of, sampled
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Points

TOLERANCE = 0.006


def ellipse(a: float, b: float) -> list[Cubic]:
    drawn = Path.circle(0, 1).transformed(Affine.scaling(a, b))
    return [s for s in drawn.segments if isinstance(s, Cubic)]


def wave() -> list[Cubic]:
    """An open run that bends both ways, and one joint of which jumps in curvature."""
    return [
        Cubic(0j, 10 + 0j, 12 + 9j, 20 + 9j),
        Cubic(20 + 9j, 31 + 9j, 28 - 6j, 40 - 5j),
        Cubic(40 - 5j, 46 - 4.5j, 44 + 5j, 50 + 12j),
    ]


def circle(radius: float, count: int = 4) -> list[Cubic]:
    return arc_of(radius, 360.0, count)


def arc_of(radius: float, degrees: float, count: int) -> list[Cubic]:
    """An arc about the origin as cubics of equal angles (Goldapp 1991, from memory)."""
    turn = math.radians(degrees) / count
    reach = 4 / 3 * math.tan(turn / 4) * radius
    rays = [cmath.rect(1.0, turn * (k % count if degrees == 360 else k)) for k in range(count + 1)]
    return [
        Cubic(radius * u, (radius + 1j * reach) * u, (radius - 1j * reach) * v, radius * v)
        for u, v in itertools.pairwise(rays)
    ]


def curve_of(cubics: Sequence[Cubic], loop: bool, tolerance: float = TOLERANCE) -> Curve:
    controls = np.array([[c.start, c.control1, c.control2, c.end] for c in cubics])
    begins = np.array([c.tangent(0.0) for c in cubics] + [cubics[-1].tangent(1.0)])
    if loop:
        begins[-1] = begins[0]
    return sampled(powers_of(controls), begins, controls[-1, 3], tolerance, loop)


def dense(cubics: Sequence[Cubic], steps: int = 400) -> Points:
    t = np.linspace(0.0, 1.0, steps + 1)
    return np.concatenate([c.points(t) for c in cubics])


def segments_of(joints: Points, sweeps: Sequence[float]) -> list[Line | Arc]:
    ends = itertools.pairwise(complex(j) for j in joints)
    return [
        Arc(a, b, math.tan(w / 4)) if w else Line(a, b)
        for (a, b), w in zip(ends, sweeps, strict=True)
    ]


def worst_kink(made: Sequence[Line | Arc], loop: bool) -> float:
    """Radians, at the joints between neighbours."""
    pairs = list(itertools.pairwise(made)) + ([(made[-1], made[0])] if loop else [])
    return max((abs(cmath.phase(b.tangent(0.0) / a.tangent(1.0))) for a, b in pairs), default=0.0)


def off_arcs(points: Points, made: Sequence[Line | Arc]) -> float:
    """How far, mm, the farthest of the points is from the nearest of the segments' points."""
    return float(
        Edge.through(np.concatenate([spots_on(s, 200)[0] for s in made])).off(points).max()
    )
