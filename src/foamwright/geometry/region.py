"""Regions of the plane: what is covered, swept, freed, near. Only `geometry` touches `shapely`.

A `Region` is a shapely geometry in mm; other stages hold it and ask the functions here.
Everything works on outlines flattened within a stated tolerance (half of it where a disc's arcs
take the other half), so a result is true to that tolerance, no better.
Does not make curves: see `offset.py` and `fit.py`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Box, Points
from foamwright.geometry.widen import RegionJoin, widened

Region: TypeAlias = BaseGeometry
Distances: TypeAlias = npt.NDArray[np.float64]

#: How closely a path is followed in looking for its loops, mm.  The first is as near as a proof
#: looks; the sides of a spike may cross within less than that and yet far from its tip.
CLOSELY = (5e-4, 1e-4)
#: No closer than this share of an outline's larger side: a double's digits end not far below.
NEAREST = 1e-8
#: Places told of one path at most: what meets itself more often is a scribble.
MOST_MEETINGS = 200
#: Chords looked at together: few where many meet, so that the pairs fit into memory.
FIRST_BATCH, MOST_IN_BATCH = 16, 4096
#: How much nearer the boundary a deepest point may lie, as a share of the mean width.
DEEPEST_WITHIN = 0.05
#: Sine of the angle within which a chord runs back along the one before it.
STRAIGHT = 1e-12

#: Coordinates nearer to nought than this, mm, are nought: their squares are no doubles any more.
NOUGHT = 1e-150


def _coords(points: Points) -> npt.NDArray[np.float64]:
    made = np.column_stack([points.real, points.imag])
    made[np.abs(made) < NOUGHT] = 0.0
    return made


def _complex(coords: npt.NDArray[np.float64]) -> Points:
    made: Points = coords[:, 0] + 1j * coords[:, 1]
    return made


# Making regions


def region(outline: Path, openings: Iterable[Path] = (), tolerance: float = 0.002) -> Region:
    """The material inside a closed outline less its openings."""
    holes = [_coords(p.flatten(tolerance)) for p in openings]
    return shapely.Polygon(_coords(outline.flatten(tolerance)), holes)


def curve(path: Path, tolerance: float = 0.002) -> Region:
    """A path as a line without area."""
    return shapely.LineString(_coords(path.flatten(tolerance)))


def point(p: complex) -> Region:
    """A single place."""
    return shapely.Point(p.real, p.imag)


def box(bounds: Box) -> Region:
    """An upright rectangle: x_min, y_min, x_max, y_max."""
    return shapely.box(*bounds)


def polygon(points: Points | Sequence[complex]) -> Region:
    """The region inside a ring of points."""
    return shapely.Polygon(_coords(np.asarray(points, dtype=np.complex128)))


def polyline(points: Points | Sequence[complex]) -> Region:
    """Straight lines through points, without area."""
    return shapely.LineString(_coords(np.asarray(points, dtype=np.complex128)))


def swept(paths: Iterable[Path], radius: float, tolerance: float = 0.002) -> Region:
    """What a disc of `radius` mm covers as its centre runs along the paths."""
    lines = [shapely.LineString(_coords(p.flatten(tolerance / 2))) for p in paths]
    return grown(shapely.multilinestrings(lines), radius, tolerance / 2)


def union(regions: Iterable[Region]) -> Region:
    return shapely.union_all(list(regions))


def minus(a: Region, b: Region) -> Region:
    """What of `a` lies outside `b`."""
    return shapely.difference(a, b)


def common(a: Region, b: Region) -> Region:
    """What lies in both."""
    return shapely.intersection(a, b)


# Growing and shrinking


def grown(
    material: Region, distance: float, tolerance: float = 0.002, join: RegionJoin = "round"
) -> Region:
    """The region widened by `distance` mm on every side, or narrowed where it is negative.

    join: what an outside corner becomes (for a negative distance: an inside corner).
    """
    if distance == 0:
        return material
    return widened(material, distance, tolerance, join)


def closing(material: Region, radius: float, tolerance: float = 0.002) -> Region:
    """All but what a disc of `radius` mm outside the region can reach: inside corners are filled.

    Grown by the radius, then narrowed by it.
    """
    return grown(grown(material, radius, tolerance / 2), -radius, tolerance / 2)


def opening(material: Region, radius: float, tolerance: float = 0.002) -> Region:
    """What a disc of `radius` mm inside the region can reach: outside corners are rounded off."""
    return grown(grown(material, -radius, tolerance / 2), radius, tolerance / 2)


# Looking at regions


def parts(material: Region) -> tuple[Region, ...]:
    """The connected polygons of a region; lines and points without area are left out."""
    return tuple(
        p
        for p in shapely.get_parts(shapely.get_parts(material))
        if p.geom_type == "Polygon" and not p.is_empty
    )


def is_empty(material: Region) -> bool:
    return bool(shapely.is_empty(material))


def is_valid(material: Region) -> bool:
    """No outline crosses itself or another, and openings lie inside."""
    return bool(shapely.is_valid(material))


def parted(material: Region, lines: Iterable[Region], width: float) -> tuple[Region, ...]:
    """What cuts of this width (mm) along lines leave of a region in one part each, largest first.

    Parts smaller than a square whose sides are three times the width count as crumbs of the cut.
    """
    left = parts(minus(material, grown(union(lines), width / 2)))
    whole = [p for p in left if area(p) > (3 * width) ** 2]
    return tuple(sorted(whole, key=area, reverse=True))


def area(material: Region) -> float:
    """mm2."""
    return float(shapely.area(material))


def face_about(p: complex, lines: Iterable[Region]) -> Region | None:
    """The face that lines cut the plane into and that holds a point; None where it has no edge."""
    faces = shapely.get_parts(shapely.polygonize([union(lines)]))
    held = faces[shapely.intersects_xy(faces, p.real, p.imag)]
    return held[0] if len(held) else None


def bounds(material: Region) -> Box:
    """Raises GeometryError for an empty region."""
    if is_empty(material):
        raise GeometryError("an empty region has no bounds")
    low_x, low_y, high_x, high_y = material.bounds
    return low_x, low_y, high_x, high_y


def boundary(material: Region) -> Region:
    """The outlines of a region as lines; a line is its own boundary here."""
    return material if shapely.get_dimensions(material) < 2 else shapely.boundary(material)


def rings(material: Region) -> tuple[Points, ...]:
    """Each boundary ring or line as its points, outlines and openings alike."""
    lines = shapely.get_parts(shapely.get_parts(boundary(material)))
    return tuple(_complex(shapely.get_coordinates(line)) for line in lines)


def inside_point(material: Region) -> complex:
    """Some point inside, away from the boundary. Raises GeometryError for an empty region."""
    if is_empty(material):
        raise GeometryError("an empty region has no inside point")
    found = shapely.point_on_surface(material)
    return complex(found.x, found.y)


def deepest_point(material: Region) -> complex:
    """The point inside that is farthest from the boundary, but for a small part of that distance.

    Costs more than `inside_point`, whose point may lie a hair from an edge.  Raises GeometryError
    for an empty region.
    """
    if is_empty(material):
        raise GeometryError("an empty region has no inside point")
    width = 2 * float(material.area) / float(material.length)
    found = shapely.maximum_inscribed_circle(material, tolerance=DEEPEST_WITHIN * width)
    return complex(*shapely.get_coordinates(found)[0])


def boundary_points(material: Region, step: float) -> Points:
    """Points along the boundary, every vertex and no two neighbours farther than step mm apart."""
    return _complex(shapely.get_coordinates(shapely.segmentize(boundary(material), step)))


def distance(a: Region, b: Region) -> float:
    """Least distance between two regions, mm; 0 where they meet, infinite where one is empty."""
    found = float(shapely.distance(a, b))
    return math.inf if math.isnan(found) else found


def meeting(a: Region, b: Region) -> complex:
    """A place of `a` nearest to `b`: where they touch, if they do."""
    low = shapely.get_coordinates(shapely.shortest_line(a, b))[0]
    return complex(low[0], low[1])


def covers(a: Region, b: Region) -> bool:
    """No point of `b` lies outside `a`; edges may touch."""
    return bool(shapely.covers(a, b))


def contains(a: Region, p: complex) -> bool:
    """The point is inside or on the edge."""
    return bool(shapely.intersects_xy(a, p.real, p.imag))


def contains_points(a: Region, points: Points) -> npt.NDArray[np.bool_]:
    """For each point, whether it is inside or on the edge."""
    shapely.prepare(a)
    found: npt.NDArray[np.bool_] = shapely.intersects_xy(a, points.real, points.imag)
    return found


def touches_or_overlaps(a: Region, b: Region) -> bool:
    """They share at least one point."""
    return bool(shapely.intersects(a, b))


def overlaps(a: Region, b: Region) -> bool:
    """They share area, not only an edge or a point."""
    return bool(shapely.relate_pattern(a, b, "2********"))


def directed_deviation(points: Points, edge: Region) -> Distances:
    """For each point its distance to the nearest place on `edge` (a region means its boundary)."""
    from foamwright.geometry.chords_compiled import nearest_chords

    starts, ends = _chords(boundary(edge))
    if not len(starts):
        return np.full(len(points), np.inf)
    return nearest_chords(np.asarray(points, dtype=np.complex128), starts, ends)


def _chords(lines: Region) -> tuple[Points, Points]:
    """Start and end of every straight stretch of lines."""
    coords, owner = shapely.get_coordinates(
        shapely.get_parts(shapely.get_parts(lines)), return_index=True
    )
    points = _complex(coords)
    same = owner[1:] == owner[:-1]
    return points[:-1][same], points[1:][same]


class Near:
    """An index of many regions: which of them lie at or within a distance of another region."""

    def __init__(self, regions: Sequence[Region]) -> None:
        self.regions = tuple(regions)
        self._all = np.array(self.regions, dtype=object)
        shapely.prepare(self._all)
        self._tree = shapely.STRtree(self._all)

    def within(self, material: Region, reach: float = 0.0) -> tuple[int, ...]:
        """Indices, ascending, of the regions at most `reach` mm away (0: touching)."""
        if is_empty(material):
            return ()
        low_x, low_y, high_x, high_y = material.bounds
        margin = max(reach, 0.0)
        zone = shapely.box(low_x - margin, low_y - margin, high_x + margin, high_y + margin)
        asked = np.sort(self._tree.query(zone))
        if reach <= 0:
            met = shapely.intersects(self._all[asked], material)
        else:
            met = shapely.dwithin(self._all[asked], material, reach)
        return tuple(int(i) for i in asked[met])

    def nearest(self, material: Region) -> int:
        """Index of the region nearest to another. Raises GeometryError where there is none."""
        found = self._tree.nearest(material)
        if found is None:
            raise GeometryError("no region to be near to")
        return int(found)

    def pairs(self, reach: float = 0.0) -> tuple[tuple[int, int], ...]:
        """Each two of the regions at most `reach` mm apart, as i < j in order."""
        if reach <= 0:
            found = self._tree.query(self.regions, predicate="intersects")
        else:
            found = self._tree.query(self.regions, predicate="dwithin", distance=reach)
        return tuple(sorted((int(i), int(j)) for i, j in found.T if i < j))


def near(regions: Sequence[Region]) -> Near:
    """An index over the regions, for many questions."""
    return Near(regions)


# Where a path meets itself


def self_crossings(path: Path, tolerance: float = 0.002) -> tuple[complex, ...]:
    """Places where a path crosses itself, in the order of travel, MOST_MEETINGS at most.

    Touching is not crossing.
    """
    crossed = (p for p, is_crossed in _meetings(path, tolerance) if is_crossed)
    return tuple(islice(crossed, MOST_MEETINGS))


def loops(path: Path) -> tuple[complex, ...]:
    """Where a path crosses itself, looked at more and more closely until something is found."""
    return next((found for t in CLOSELY if (found := self_crossings(path, t))), ())


def self_touches(path: Path, tolerance: float = 0.002) -> tuple[complex, ...]:
    """Places where a path touches itself, or runs along itself, without crossing."""
    touched = (p for p, is_crossed in _meetings(path, tolerance) if not is_crossed)
    return tuple(islice(touched, MOST_MEETINGS))


def _meetings(path: Path, tolerance: float) -> Iterator[tuple[complex, bool]]:
    low_x, low_y, high_x, high_y = path.bounds
    tolerance = max(tolerance, NEAREST * max(high_x - low_x, high_y - low_y))
    points = path.flatten(tolerance)
    keep = np.concatenate([[True], points[1:] != points[:-1]])
    points = points[keep]
    if shapely.is_simple(shapely.LineString(_coords(points))):
        return
    chords = shapely.linestrings(np.stack([_coords(points[:-1]), _coords(points[1:])], axis=1))
    seen: set[tuple[int, int]] = set()
    for i, j in meeting_chords(points, path.closed, chords):
        for a, b, shared in zip(i, j, shapely.intersection(chords[i], chords[j]), strict=True):
            is_point = shared.geom_type == "Point"
            spot = complex(shared.x, shared.y) if is_point else complex(*shared.centroid.coords[0])
            key = (round(spot.real / tolerance), round(spot.imag / tolerance))
            if key not in seen:
                seen.add(key)
                yield spot, is_point and _strands_cross(points, path.closed, int(a), int(b), spot)


def meeting_chords(
    points: Points, closed: bool, chords: npt.NDArray[np.object_]
) -> Iterator[tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]]:
    """Batches of chords i and j > i that meet otherwise than as neighbours, in order of travel."""
    n = len(chords)
    tree = shapely.STRtree(chords)
    start, count = 0, FIRST_BATCH
    while start < n:
        asked = chords[start : start + count]
        found = tree.query(asked, predicate="intersects") + np.array([[start], [0]])
        i, j = found[:, found[0] < found[1]]
        follows, closes = j - i == 1, closed & (j - i == n - 1)
        apart = ~(follows | closes)
        apart[follows] = _turned_back(points, i[follows])
        apart[closes] = _turned_back(points, np.full(int(closes.sum()), -1))
        i, j = i[apart], j[apart]
        order = np.lexsort((j, i))
        yield i[order], j[order]
        start += len(asked)
        count = min(2 * count, MOST_IN_BATCH) if found.shape[1] < MOST_IN_BATCH else FIRST_BATCH


def _turned_back(points: Points, chord: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Whether the chord after each of these runs back along it. chord -1: the last of a ring."""
    corner = points[chord + 1]
    before = corner - points[np.where(chord < 0, len(points) - 2, chord)]
    after = points[np.where(chord < 0, 1, chord + 2)] - corner
    turn = after * before.conjugate()
    back: npt.NDArray[np.bool_] = (turn.real < 0) & (abs(turn.imag) <= STRAIGHT * abs(turn))
    return back


def _strands_cross(points: Points, closed: bool, a: int, b: int, spot: complex) -> bool:
    """Whether the strand along chord b passes from one side of the strand along a to the other."""
    one, other = (_either_way(points, closed, k, spot) for k in (a, b))
    if one is None or other is None:
        return False
    (back_a, on_a), (back_b, on_b) = one, other

    def between(v: complex) -> bool:
        turn = np.angle([on_a / back_a, v / back_a]) % (2 * math.pi)
        return bool(turn[1] < turn[0])

    return between(back_b) != between(on_b)


def _either_way(
    points: Points, closed: bool, chord: int, spot: complex
) -> tuple[complex, complex] | None:
    """Vectors from a spot on a chord to the points before and after it on its strand."""
    n = len(points) - 1
    eps = 1e-9 * max(1.0, abs(spot))
    before, after = chord, chord + 1
    if abs(points[before] - spot) <= eps:
        before -= 1
    if abs(points[after] - spot) <= eps:
        after += 1
    if not closed and (before < 0 or after > n):
        return None
    return complex(points[before % n] - spot), complex(points[after % n] - spot)
