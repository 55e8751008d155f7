"""Regions and lines widened or narrowed by a disc, true to the tolerance at any size.

The polygon library's own buffer leaves out hollows shallower than a hundredth of the distance, and
on finely flattened hollow curves at great distances it has been seen to fill what lies far off; so
the outline's convolution with the disc is made here and the library only fills it.
Works on straight chords; knows nothing of arcs and corners.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from foamwright.geometry.segments import Points
from foamwright.geometry.winding import bounding_rings, twice_area, wound_round

RegionJoin: TypeAlias = Literal["round", "mitre"]

#: A mitred corner is bevelled where it would reach beyond this many times the distance.
MITRE_LIMIT = 5.0
#: At an inside corner sharper than this the convolution goes round the corner's disc, radians.
CUSP_TURN = math.radians(150)


def widened(
    shape: BaseGeometry, distance: float, tolerance: float, join: RegionJoin
) -> BaseGeometry:
    """Polygons and lines widened by `distance` mm (polygons narrowed where it is negative).

    What is left or left open narrower than half the tolerance counts as vanished.
    """
    parts = [p for p in shapely.get_parts(shapely.get_parts(shape)) if not p.is_empty]
    made = shapely.union_all([_part(p, distance, tolerance, join) for p in parts])
    return _without_slivers(made, tolerance / 2)


def disc_steps(radius: float, tolerance: float) -> float:
    """The turn in radians of a chord whose sagitta is the tolerance."""
    return 2 * math.acos(1 - tolerance / radius) if radius > tolerance else math.pi / 4


def _without_slivers(shape: BaseGeometry, width: float) -> BaseGeometry:
    parts = shapely.get_parts(shape)
    rings, owner = shapely.get_rings(parts, return_index=True)
    inside = shapely.polygons(rings)
    thin = 2 * shapely.area(inside) < width * shapely.length(rings)
    if not thin.any():
        return shape
    kept = []
    for k in range(len(parts)):
        shell, *holes = np.flatnonzero(owner == k)
        if not thin[shell]:
            kept.append(shapely.Polygon(rings[shell], [rings[h] for h in holes if not thin[h]]))
    return shapely.union_all(kept)


def _part(part: BaseGeometry, distance: float, tolerance: float, join: RegionJoin) -> BaseGeometry:
    if part.geom_type == "Polygon":
        return _polygon(part, distance, tolerance, join)
    if distance <= 0:
        return shapely.Polygon()
    points = _distinct(part)
    if len(points) < 2:
        quarter = max(2, math.ceil(math.pi / 2 / disc_steps(distance, tolerance)))
        return shapely.buffer(shapely.Point(shapely.get_coordinates(part)[0]), distance, quarter)
    if part.is_ring:
        return _band(part, distance, tolerance, join)
    there_and_back = np.concatenate([points[:-1], points[:0:-1]])
    return wound_round(_convolved(there_and_back, distance, tolerance, join))


def _band(ring: BaseGeometry, reach: float, tolerance: float, join: RegionJoin) -> BaseGeometry:
    """Both sides of a closed line. Run there and back it would have two ends that all but coincide,
    and the library's fill of these has been seen to take in the ring's inside.
    """
    edge = _ccw(ring)
    whole = wound_round(_convolved(edge, reach, tolerance, join))
    return shapely.difference(whole, shapely.union_all([*_narrowed(edge, reach, tolerance, join)]))


def _polygon(
    part: BaseGeometry, distance: float, tolerance: float, join: RegionJoin
) -> BaseGeometry:
    """Outlines grown and openings shrunk, or the other way round."""
    shell, *holes = [_ccw(r) for r in shapely.get_rings(part)]
    openings = [h for h in holes if len(h) > 2]  # one there and back opens nothing
    reach = abs(distance)
    if distance > 0:
        whole = wound_round(_convolved(shell, reach, tolerance, join))
        gone = [p for o in openings for p in _narrowed(o, reach, tolerance, join)]
    else:
        whole = shapely.union_all(list(_narrowed(shell, reach, tolerance, join)))
        gone = [wound_round(_convolved(o, reach, tolerance, join)) for o in openings]
    return shapely.difference(whole, shapely.union_all(gone)) if gone else whole


def _narrowed(
    ring: Points, reach: float, tolerance: float, join: RegionJoin
) -> Iterator[BaseGeometry]:
    """What is left of a ring's inside when a disc has run round along it."""
    edge = shapely.LinearRing(_xy(ring))
    shapely.prepare(edge)
    outward = _convolved(ring[::-1], reach, tolerance, join)
    for found in bounding_rings(outward, clockwise=True):
        # a ring smaller than the disc leaves a false one, nearer to its edge than the disc allows
        if not _all_within(found, edge, reach - 2 * tolerance):
            yield shapely.Polygon(_xy(found))


def _all_within(points: Points, edge: BaseGeometry, reach: float) -> bool:
    """Whether every point is nearer to an edge than the reach; the first of them mostly is not."""
    spots = shapely.points(points.real, points.imag)
    for some in (spots[:1], spots[1:]):
        if not shapely.dwithin(edge, some, math.nextafter(reach, -math.inf)).all():
            return False
    return True


def _convolved(ring: Points, reach: float, tolerance: float, join: RegionJoin) -> Points:
    """The ring's parallel to its right with an arc round each outside corner, untrimmed.

    At an inside corner the neighbours' parallels meet where that is within tolerance of the
    corner's disc, so that finely flattened hollows don't tangle; else both run to their ends.
    """
    ahead = np.roll(ring, -1) - ring
    ahead /= np.abs(ahead)
    came = np.roll(ahead, 1)
    turn = np.angle(ahead / came)
    turn = np.where(turn < -CUSP_TURN, turn + 2 * math.pi, turn)
    stretch = 1 / np.maximum(np.cos(turn / 2), 1e-9)
    convex = (turn > 0) & (turn < math.pi)
    meets = (turn <= 0) & (reach * (stretch - 1) <= tolerance)
    steps = np.maximum(1, np.ceil(turn / disc_steps(reach, tolerance) - 1e-9))
    if join == "mitre":
        steps[convex] = 1
        meets |= convex & (stretch <= MITRE_LIMIT)
    total = np.where(meets, 1, steps + 1).astype(np.intp)
    owner = np.repeat(np.arange(len(ring)), total)
    step = np.arange(total.sum()) - np.repeat(np.cumsum(total) - total, total)
    share = np.where(meets[owner], 0.5, step / steps[owner])
    spoke = -1j * reach * came * np.where(meets, stretch, 1.0)
    made: Points = ring[owner] + spoke[owner] * np.exp(1j * turn[owner] * share)
    return made


def _ccw(ring: BaseGeometry) -> Points:
    points = _distinct(ring)[:-1]
    return points if twice_area(points) > 0 else points[::-1]


def _distinct(line: BaseGeometry) -> Points:
    xy = shapely.get_coordinates(line)
    points: Points = xy[:, 0] + 1j * xy[:, 1]
    kept: Points = points[np.concatenate([[True], points[1:] != points[:-1]])]
    return kept


def _xy(points: Points) -> npt.NDArray[np.float64]:
    return np.column_stack([points.real, points.imag])
