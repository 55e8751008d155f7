"""Parallel curves of closed paths: round, mitred or bevelled at corners.

How: cubics become arcs first (`fit.py`), so that every element's parallel is a line or arc known in
closed form (`offset_raw.py`).  The polygon library tells which stretches of it bound the result
(`offset_fill.py`), and these are cut from the exact elements (`offset_trim.py`).  Each path made is
measured against the source; one that fails is made of the polygon's own chords instead.
Does not offset open paths.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from foamwright.errors import GeometryError
from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.offset_fill import Ring, filled, flattened
from foamwright.geometry.offset_raw import Element, Join, Joining, raw_parallel
from foamwright.geometry.offset_trim import exact_path
from foamwright.geometry.path import Path
from foamwright.geometry.region import Region
from foamwright.geometry.segments import Arc, Cubic, Line, Points
from foamwright.geometry.winding import twice_area

__all__ = ["Join", "Parallel", "offset", "parallels"]

#: Shares of the tolerance: of the arcs through cubics, and of the chords that settle what is left.
FIT_SHARE = 0.7
CHORD_SHARE = 0.125
#: Places on each segment of a result at which it is measured, as parameters.
SAMPLES = (0.0, 0.5)


@dataclass(frozen=True, slots=True)
class Parallel:
    """One closed parallel. exact: cut from exact elements; else the chords of a polygon."""

    path: Path
    exact: bool


def offset(
    path: Path,
    distance: float,
    tolerance: float,
    join: Join = "round",
    mitre_limit: float = 4.0,
) -> tuple[Path, ...]:
    """The closed curves parallel to a closed path, `distance` mm to the right of its travel.

    Material lies to the left, so a positive distance goes away from it (an outer boundary grows, a
    clockwise opening shrinks) and a negative one into it.  The result may be several paths (a neck
    vanished) or none (all vanished), each with the source's orientation.  Lines and arcs only.
    Every point of the result is `distance` from the source within tolerance (mm), mitres and
    bevels apart.  What is left narrower than an eighth of the tolerance counts as vanished.
    mitre_limit: a mitre that reaches farther than this many distances is cut square there.
    Raises GeometryError for an open path.
    """
    return tuple(p.path for p in parallels(path, distance, tolerance, join, mitre_limit))


def parallels(
    path: Path,
    distance: float,
    tolerance: float,
    join: Join = "round",
    mitre_limit: float = 4.0,
) -> tuple[Parallel, ...]:
    """As `offset`, and for each path whether it is exact."""
    if not path.closed:
        raise GeometryError("only a closed path has a parallel")
    source = path
    if any(isinstance(s, Cubic) for s in path.segments):
        source = fit_arcs(path, tolerance * FIT_SHARE)
    if distance == 0:
        return (Parallel(source, True),)
    travelled = source if distance > 0 else source.reversed()
    how = Joining(abs(distance), tolerance, join, mitre_limit)
    elements = raw_parallel(travelled, how)
    if not elements:
        return ()
    rings = filled(elements, travelled.area < 0, tolerance * CHORD_SHARE)
    if not rings:
        return ()
    edge = _edge(travelled, tolerance * CHORD_SHARE)
    made = [p for r in rings if (p := _settled(r, elements, edge, how)) is not None]
    if distance > 0:
        return tuple(made)
    return tuple(Parallel(p.path.reversed(), p.exact) for p in made)


def _settled(
    ring: Ring, elements: tuple[Element, ...], edge: Region, how: Joining
) -> Parallel | None:
    """The ring's exact path if it keeps its distance, else its chords; None for a false ring."""
    trimmed = exact_path(ring, elements, how.tolerance)
    if trimmed is not None:
        told = [_keeps(elements[e], how) for e in trimmed.elements]
        curves = [s for s, keeps in zip(trimmed.path.segments, told, strict=True) if keeps]
        spots = np.array([s.point(t) for s in curves for t in SAMPLES])
        if _fills(trimmed.path, ring, how) and _keep_distance(spots, edge, how):
            return Parallel(trimmed.path, True)
    keeps_its = np.array([_keeps(e, how) for e in elements])[ring.owner]
    both = keeps_its & np.roll(keeps_its, 1)
    return Parallel(_chords(ring), False) if _keep_distance(ring.points[both], edge, how) else None


def _edge(path: Path, tolerance: float) -> Region:
    """The source as chords, prepared for many questions."""
    curves = [s for s in path.segments if isinstance(s, Line | Arc)]
    points = flattened(curves, tolerance)[0]
    ring: Region = shapely.LinearRing(np.column_stack([points.real, points.imag]))
    shapely.prepare(ring)
    return ring


def _fills(path: Path, ring: Ring, how: Joining) -> bool:
    """Whether a path bounds the area that its ring does, within tolerance along its length."""
    area = math.fsum(s.area() for s in path.segments)
    return abs(area - twice_area(ring.points) / 2) <= how.tolerance * path.length


def _keeps(element: Element, how: Joining) -> bool:
    """Whether every point of an element should be at the reach from the source."""
    return element.role == "parallel" or (element.role == "join" and how.join == "round")


def _keep_distance(points: Points, edge: Region, how: Joining) -> bool:
    """Whether there are points and all keep their distance (where mitred: at least it)."""
    if not len(points):
        return False
    spots = shapely.points(points.real, points.imag)
    if shapely.dwithin(edge, spots, how.reach - how.tolerance).any():
        return False
    return how.join != "round" or bool(
        shapely.dwithin(edge, spots, how.reach + how.tolerance).all()
    )


def _chords(ring: Ring) -> Path:
    """The polygon as lines; corners where runs meet out of nature."""
    points = ring.points
    ends = np.roll(points, -1)
    lines = tuple(Line(complex(a), complex(b)) for a, b in zip(points, ends, strict=True))
    sharp = {r.begins for r in ring.runs if not r.own_start}
    corners = frozenset(i for i, s in enumerate(lines) if s.start in sharp)
    return Path(lines, True, corners)
