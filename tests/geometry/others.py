"""Parallels made by two polygon libraries, Clipper2 and GEOS, to hold ours against.

Both work on chords.  A curve is sampled so finely here that neither its chords nor the mitres at
their joints are off by more than FINE.  Clipper2 is told the same for its arcs, and its whole
numbers are a millionth of a millimetre.  GEOS leaves out hollows shallower than a hundredth of the
distance before it begins (BufferInputLineSimplifier) and can't be told otherwise; it looks at some
of the points only, pass after pass, so that twice as much, `geos_slack`, has to be allowed for.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import pyclipr
import shapely
from tests.geometry.dense import Edge, Points, fine_count, places, spots_at

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Line, Segment

#: A place and how far about it nothing is measured, mm.
Disc: TypeAlias = tuple[complex, float]

#: What sampling may add, mm.
FINE = 2e-4
#: Clipper2's whole numbers in a millimetre.
SCALE = 10**6
#: Halvings of a step at most: what still turns sharply after them is a corner.
HALVINGS = 12
#: Gap between the places at which polygons are measured, mm.
STEP = 0.25
#: A library has the tip of a mitre that it passes as near as this, mm.
TIP = 0.005
#: A tip is loose where its sides' tolerance moves it this many times as far; how far at most, mm.
LOOSE, FARTHEST = 1.5, 1.0


def sampled(path: Path, reach: float) -> Points:
    """A closed path's points, the first not repeated."""
    return np.concatenate([_steps(s, reach)[:-1] for s in path.segments])


def _steps(segment: Segment, reach: float) -> Points:
    if isinstance(segment, Line):
        return np.array([segment.start, segment.end])
    t = np.linspace(0.0, 1.0, fine_count(segment, FINE, math.inf) + 1)
    widest = math.sqrt(8 * FINE / max(reach, FINE))
    for _ in range(HALVINGS):
        _, way = spots_at(segment, t)
        turns = np.flatnonzero(np.abs(np.angle(way[1:] / way[:-1])) > widest)
        if not len(turns):
            break
        t = np.insert(t, turns + 1, (t[turns] + t[turns + 1]) / 2)
    # the ends run along the tangents, which a mitre prolongs
    t = np.concatenate([[0.0, t[1] / 2], t[1:-1], [(t[-2] + 1) / 2, 1.0]])
    at, way = spots_at(segment, t)
    at[1] = at[0] + way[0] * abs(at[1] - at[0])
    at[-2] = at[-1] - way[-1] * abs(at[-2] - at[-1])
    return at


def by_clipper(
    rings: Sequence[Points], distance: float, join: str, mitre_limit: float
) -> list[Points]:
    """Rings that Clipper2 makes of rings: outlines counter-clockwise, openings clockwise."""
    if not rings:
        return []
    tool = pyclipr.ClipperOffset()
    tool.scaleFactor = SCALE
    tool.arcTolerance = FINE * SCALE
    tool.miterLimit = mitre_limit
    style = pyclipr.JoinType.Round if join == "round" else pyclipr.JoinType.Miter
    for r in rings:
        tool.addPath(np.column_stack([r.real, r.imag]), style, pyclipr.EndType.Polygon)
    return [r[:, 0] + 1j * r[:, 1] for r in map(np.asarray, tool.execute(distance))]


def by_geos(
    rings: Sequence[Points], distance: float, join: str, mitre_limit: float
) -> list[Points]:
    """Rings that the GEOS buffer makes, turned as `by_clipper` has them."""
    quarter = math.ceil(math.pi / 4 / math.acos(1 - FINE / max(abs(distance), 2 * FINE)))
    made = shapely.buffer(
        bounded(rings),
        distance,
        quad_segs=quarter,
        join_style="round" if join == "round" else "mitre",
        mitre_limit=mitre_limit,
    )
    parts = shapely.get_parts(shapely.orient_polygons(made))
    # chords of an arc about whose centre a disc just fits leave specks
    parts = parts[2 * shapely.area(parts) > FINE * shapely.length(parts)]
    found = [shapely.get_coordinates(r) for p in parts for r in shapely.get_rings(p)]
    return [xy[:-1, 0] + 1j * xy[:-1, 1] for xy in found]


def bounded(rings: Sequence[Points]) -> shapely.Geometry:
    """What rings bound, those that run clockwise being openings."""
    made = [shapely.Polygon(np.column_stack([r.real, r.imag])) for r in rings]
    signs = [area([r]) for r in rings]
    solid = [p for p, sign in zip(made, signs, strict=True) if sign > 0]
    holes = [p for p, sign in zip(made, signs, strict=True) if sign < 0]
    if len(made) == 1:
        return made[0]
    return shapely.difference(shapely.union_all(solid), shapely.union_all(holes))


def geos_slack(distance: float) -> float:
    """How far a buffer may be off because GEOS leaves hollows out first, mm."""
    return 0.02 * abs(distance)


def area(rings: Sequence[Points]) -> float:
    """What rings bound, mm2, by the shoelace formula."""
    return sum(float((r.conj() * np.roll(r, -1)).imag.sum()) / 2 for r in rings)


def apart(
    ours: Points, edge: Edge, rings: Sequence[Points], but: Sequence[Disc]
) -> tuple[float, complex]:
    """Hausdorff distance of rings and of paths, mm, and the place that is farthest from the others.

    ours, edge: places on the paths and the paths as chords; but: nothing is measured inside these.
    """
    spots = np.concatenate(rings)
    for p, radius in but:
        spots, ours = spots[np.abs(spots - p) > radius], ours[np.abs(ours - p) > radius]
    found = (0.0, 0j)
    for points, there in ((spots, edge), (ours, Edge.through(*rings))):
        if len(points):
            off = there.off(points)
            found = max(
                found, (float(off.max()), complex(points[off.argmax()])), key=lambda f: f[0]
            )
    return found


def _along(ring: Points) -> Points:
    """The points of a closed line, and others so that none are more than STEP mm apart."""
    ways = np.diff(ring)
    counts = np.maximum(1, np.ceil(np.abs(ways) / STEP)).astype(int)
    share = np.concatenate([np.arange(n) / n for n in counts])
    return np.append(np.repeat(ring[:-1], counts) + share * np.repeat(ways, counts), ring[-1])


def mitres(path: Path, distance: float, mitre_limit: float) -> tuple[list[complex], list[Disc]]:
    """The tips of a path's mitres by its own tangents, and about its corners how far each reaches.

    One too sharp for a mitre, which each library cuts off in its own way, has no tip.
    """
    tips, about = [], []
    sharpest = 2 * math.acos(0.999 / mitre_limit)
    for p, turn, way in _corners(path):
        if math.copysign(turn, turn * distance) <= 0:
            continue
        # one cut at its limit is as wide there as the two sides are apart at most
        reach = abs(distance) * math.hypot(mitre_limit, 1.0)
        if abs(turn) < sharpest:
            reach = abs(distance) / math.cos(turn / 2)
            tips.append(p - 1j * way * math.copysign(reach, distance))
        about.append((p, 1.01 * reach))
    return tips, about


def loose_tips(made: Sequence[Path], tolerance: float) -> list[Disc]:
    """About sharp tips, where tolerance in the sides moves their crossing far along them.

    Two lines that are each off by the tolerance cross up to tolerance / cos(turn / 2) away.
    """
    tips = ((p, tolerance / math.cos(turn / 2)) for m in made for p, turn, _ in _corners(m))
    return [(p, min(radius, FARTHEST)) for p, radius in tips if radius > LOOSE * tolerance]


def _corners(path: Path) -> Iterator[tuple[complex, float, complex]]:
    """Each corner, its turn in radians, and the direction half way between both tangents."""
    for i in path.corners:
        came, goes = path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0)
        turn = cmath.phase(goes / came)
        yield path.segments[i].start, turn, came * cmath.exp(0.5j * turn)


@dataclass(frozen=True)
class Difference:
    """How far our parallel and another library's differ, mm, where most, and by what area, mm2.

    apart: away from mitres and loose tips; tips: of mitres that the library has, from ours.
    area: with the sign of what ours has more; 0 if a mitre is cut, which each does its way.
    length: of ours, mm.
    """

    apart: float
    at: complex
    tips: float
    area: float
    length: float


def differences(
    path: Path,
    made: Sequence[Path],
    distance: float,
    tolerance: float,
    join: str,
    mitre_limit: float,
) -> dict[str, Difference]:
    """Parallels of a path, made within a tolerance, held against those by Clipper2 and GEOS."""
    way = (
        1 if path.area > 0 else -1
    )  # the libraries grow what a ring bounds, ours goes to its right
    points = sampled(path, abs(distance))[::way]
    tips, about = mitres(path, distance, mitre_limit) if join == "mitre" else ([], [])
    whole = len(tips) == len(about)
    but = about + loose_tips(made, tolerance)
    length, ours = sum(p.length for p in made), way * sum(p.area for p in made)
    found = {}
    for name, make in (("Clipper2", by_clipper), ("GEOS", by_geos)):
        rings = make([points], way * distance, join, mitre_limit)
        more = ours - area(rings) if whole else 0.0
        off, at, missed = _width(made, rings), 0j, 0.0
        if made and rings:
            closed = [_along(np.append(r, r[0])) for r in rings]
            edge = Edge(made)
            off, at = apart(places(made)[0], edge, closed, but)
            missed = _missed(np.array(tips), edge, Edge.through(*closed))
        found[name] = Difference(off, at, missed, more, length)
    return found


def _width(made: Sequence[Path], rings: Sequence[Points]) -> float:
    """How wide, mm, about, what one has where the other has nothing."""
    size = abs(sum(p.area for p in made)) + abs(area(rings))
    length = sum(p.length for p in made)
    length += sum(float(np.abs(r - np.roll(r, 1)).sum()) for r in rings)
    return 2 * size / length if length else 0.0


def _missed(tips: Points, ours: Edge, theirs: Edge) -> float:
    """How far the tips that theirs has are from ours at most, mm."""
    if not len(tips):
        return 0.0
    kept = tips[theirs.off(tips) < TIP]
    return float(ours.off(kept).max()) if len(kept) else 0.0
