"""One DXF entity as a run of lines, arcs and cubics, in the drawing plane.

Arcs, circles and bulges become exact arcs, never polygons; ellipses are mapped circles; splines
are taken apart into cubics (`nurbs`).  Entities that don't lie in the drawing plane raise
`OutOfPlaneError`, broken ones GeometryError.
Terms: OCS, the entity's own coordinate system (published DXF reference, arbitrary axis algorithm):
in the drawing plane it is either the world's or, at a negative extrusion, its mirror image in x.
Knows nothing of layers, blocks and units.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType
from typing import Any

from foamwright.errors import GeometryError
from foamwright.geometry.affine import IDENTITY, Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment, line_or_arc
from foamwright.stages.acquire import nurbs

#: Largest coordinate or radius taken, mm: 1000 km, where doubles still hold 1e-7 mm.
FARTHEST = 1e9
#: Largest bulge taken: an arc that leaves 4e-6 radians of a full circle open.
LARGEST_BULGE = 1e6
#: Sagitta below which an arc is a line, mm.
FLAT = 1e-7
#: Height differences that count as rounding, drawing units.
LEVEL_EPS = 1e-6
#: Share of an extrusion's length by which it may lean and still stand upright.
UPRIGHT_EPS = 1e-9
#: Segments shorter than this are points drawn twice but for rounding, mm.
SHORTEST = 1e-4
#: How near to a spline its cubics lie, mm, where they aren't exact.
SPLINE_TOLERANCE = 1e-4
#: Most fit points of a closed spline: they are solved for together.
MOST_FIT_POINTS = 2000


class OutOfPlaneError(Exception):
    """The entity lies outside the drawing plane: seen from above it would be foreshortened."""


@dataclass(frozen=True, slots=True)
class Run:
    """What an entity draws, in mm.

    level: height over the plane in drawing units.  fitted: a curve through fit points only, whose
    course between them the file leaves open.  dot: a place without size; words: what it says.
    merged: the places of segments shorter than SHORTEST, which were left out.  start: where it
    begins, if it says so, though nothing be drawn.
    """

    segments: tuple[Segment, ...]
    closed: bool
    level: float = 0.0
    fitted: bool = False
    dot: bool = False
    words: str = ""
    merged: tuple[complex, ...] = ()
    start: complex = complex(math.nan, math.nan)

    def path(self, corner_angle: float) -> Path | None:
        """The path; None where it has no length."""
        if self.dot:
            return Path(self.segments, False)
        if not self.segments:
            return None
        kept = list(self.segments)
        closed = self.closed or (len(kept) > 1 and kept[0].start == kept[-1].end)
        if closed and kept[0].start != kept[-1].end:
            kept.append(Line(kept[-1].end, kept[0].start))
        return Path.of(kept, closed, corner_angle)


def run_of(entity: Any, to_mm: Affine) -> Run:
    """The entity in mm, its type one of READERS. Raises OutOfPlaneError, GeometryError."""
    return READERS[entity.dxftype()](entity, to_mm)


def plane_map(extrusion: Any) -> Affine:
    """From the entity's own coordinates to the drawing's. Raises OutOfPlaneError where it leans."""
    x, y, z = float(extrusion.x), float(extrusion.y), float(extrusion.z)
    size = math.sqrt(x * x + y * y + z * z)
    if not (math.isfinite(size) and size > 0):
        raise GeometryError("an extrusion of no length")
    if math.hypot(x, y) > UPRIGHT_EPS * size:
        raise OutOfPlaneError
    return IDENTITY if z > 0 else Affine.mirror_x()


def placed(segments: Iterable[Segment], closed: bool, m: Affine, level: float = 0.0) -> Run:
    """Segments of an entity mapped to mm, specks left out. Raises GeometryError at wild numbers."""
    drawn = list(segments)
    _must_be_sound(drawn, math.inf)
    made = [t for s in drawn for t in s.transformed(m)]
    _must_be_sound(made, FARTHEST)
    kept, merged = _without_specks([_unbent(s) for s in made if not _is_nothing(s)])
    if len(kept) == 2 and isinstance(kept[0], Line) and kept[1] == kept[0].reversed():
        kept, closed = kept[:1], False
    start = made[0].start if made else complex(math.nan, math.nan)
    return Run(tuple(kept), closed, level, merged=tuple(merged) if kept else (), start=start)


def _without_specks(segments: list[Segment]) -> tuple[list[Segment], list[complex]]:
    """Without segments shorter than SHORTEST, points drawn on top of their neighbours; and where.

    The run still starts and ends where it did, and no point moves by more than SHORTEST.
    """
    if not any(_is_speck(s, s.start) for s in segments):
        return segments, []
    kept: list[Segment] = []
    merged: list[complex] = []
    for s in segments:
        here = kept[-1].end if kept else segments[0].start
        if _is_speck(s, here):
            merged.append(s.end)
        else:
            kept.append(s if s.start == here else nurbs.moved_start(s, here))
    last = segments[-1].end
    if kept and kept[-1].end != last:
        kept[-1] = nurbs.moved_start(kept[-1].reversed(), last).reversed()
    return kept, merged


def _is_speck(s: Segment, here: complex) -> bool:
    return _near(s.end, here) and _near(s.end, s.start) and s.length() < SHORTEST


def _near(a: complex, b: complex) -> bool:
    return abs(a - b) < SHORTEST


def _must_be_sound(segments: Sequence[Segment], farthest: float) -> None:
    for s in segments:
        points = [s.start, s.end]
        if isinstance(s, Cubic):
            points += [s.control1, s.control2]
        if isinstance(s, Arc) and not abs(s.bulge) <= LARGEST_BULGE:
            raise GeometryError(f"a bulge of {s.bulge:g}")
        if not all(cmath.isfinite(p) for p in points):
            raise GeometryError("a coordinate that is not a finite number")
        reach = max(abs(p) for p in points)
        if isinstance(s, Arc) and abs(s.bulge) > 1:
            reach = max(reach, s.radius)
        if not reach <= farthest:
            raise GeometryError(f"a coordinate of {reach:g} mm")


def _unbent(s: Segment) -> Segment:
    if isinstance(s, Arc) and abs(s.bulge) * abs(s.end - s.start) / 2 < FLAT:
        return Line(s.start, s.end)
    return s


def _is_nothing(s: Segment) -> bool:
    if isinstance(s, Cubic):
        return s.start == s.control1 == s.control2 == s.end
    return s.start == s.end


def _flat(v: Any) -> complex:
    if v is None:
        raise GeometryError("a coordinate that is missing")
    return complex(v.x, v.y)


def _level(heights: Iterable[float]) -> float:
    """The one height of all. Raises OutOfPlaneError where they differ."""
    found = list(heights)
    low, high = min(found), max(found)
    if not high - low <= LEVEL_EPS * max(1.0, abs(low), abs(high)):
        raise OutOfPlaneError
    return low if abs(low) > LEVEL_EPS else 0.0


def _line(e: Any, m: Affine) -> Run:
    level = _level((e.dxf.start.z, e.dxf.end.z))
    return placed([Line(_flat(e.dxf.start), _flat(e.dxf.end))], False, m, level)


def circular(centre: complex, radius: float, start: float, sweep: float) -> list[Segment]:
    """Arcs from the angle start over sweep (radians); a full turn is three, else at most 180 each.

    The last point of a full turn is the first, bit by bit.
    """
    if not (math.isfinite(radius) and radius > 0):
        raise GeometryError(f"a radius of {radius:g}")
    if not math.isfinite(start + sweep):
        raise GeometryError("an angle that is not a finite number")
    full = abs(sweep) >= 2 * math.pi
    count = 3 if full else max(1, math.ceil(abs(sweep) / math.pi - 1e-9))
    step = sweep / count
    spots = [centre + radius * cmath.rect(1.0, start + k * step) for k in range(count + 1)]
    if full:
        spots[-1] = spots[0]
    bulge = math.tan(step / 4)
    return [Arc(a, b, bulge) for a, b in pairwise(spots)]


def turn_between(start: float, end: float) -> float:
    """Counter-clockwise turn from start to end, radians, in (0, 2 pi]; equal angles: full turn.

    Files round their angles to six decimals or so: that near to a full turn counts as one.
    """
    turn = (end - start) % (2 * math.pi)
    return 2 * math.pi if turn < 1e-9 or turn > 2 * math.pi - 1e-6 else turn


def _circle(e: Any, m: Affine) -> Run:
    own = plane_map(e.dxf.extrusion)
    arcs = circular(_flat(e.dxf.center), e.dxf.radius, 0.0, 2 * math.pi)
    return placed(arcs, True, m @ own, _level([e.dxf.center.z]))


def _arc(e: Any, m: Affine) -> Run:
    own = plane_map(e.dxf.extrusion)
    start, end = math.radians(e.dxf.start_angle), math.radians(e.dxf.end_angle)
    sweep = turn_between(start, end)
    arcs = circular(_flat(e.dxf.center), e.dxf.radius, start, sweep)
    return placed(arcs, sweep == 2 * math.pi, m @ own, _level([e.dxf.center.z]))


def _ellipse(e: Any, m: Affine) -> Run:
    """A unit circle's arcs under the map of the axes; the minor one is turned by the extrusion."""
    own = plane_map(e.dxf.extrusion)
    major, ratio = _flat(e.dxf.major_axis), float(e.dxf.ratio)
    if abs(e.dxf.major_axis.z) > LEVEL_EPS * abs(major):
        raise OutOfPlaneError
    if not (cmath.isfinite(major) and abs(major) > 0 and math.isfinite(ratio) and ratio != 0):
        raise GeometryError("an ellipse without axes")
    minor = major * ratio * (1j if own is IDENTITY else -1j)
    centre = _flat(e.dxf.center)
    frame = Affine(major.real, major.imag, minor.real, minor.imag, centre.real, centre.imag)
    start, end = float(e.dxf.start_param), float(e.dxf.end_param)
    sweep = turn_between(start, end)
    arcs = circular(0j, 1.0, start, sweep)
    return placed(arcs, sweep == 2 * math.pi, m @ frame, _level([e.dxf.center.z]))


def bulged(points: Sequence[complex], bulges: Sequence[float], closed: bool) -> list[Segment]:
    """A chain of lines and arcs through the points; bulges[i] belongs to the run from point i."""
    ends = [*points[1:], points[0]] if closed else list(points[1:])
    return [
        line_or_arc(a, b, bulge)
        for a, b, bulge in zip(points, ends, bulges, strict=False)
        if a != b
    ]


def _lwpolyline(e: Any, m: Affine) -> Run:
    own = plane_map(e.dxf.extrusion)
    vertices = [tuple(float(v) for v in p) for p in e.get_points("xyb")]
    points = [complex(x, y) for x, y, _ in vertices]
    closed = bool(e.closed)
    segments = bulged(points, [b for _, _, b in vertices], closed) if points else []
    return placed(segments, closed, m @ own, _level([float(e.dxf.elevation)]))


#: POLYLINE and VERTEX flags (published DXF reference): spline fitted; a control point of its frame.
_SPLINE_FITTED, _FRAME_POINT = 4, 16


def _polyline(e: Any, m: Affine) -> Run:
    if not (e.is_2d_polyline or e.is_3d_polyline):
        raise OutOfPlaneError
    vertices = list(e.vertices)
    if e.dxf.flags & _SPLINE_FITTED:
        vertices = [v for v in vertices if not v.dxf.flags & _FRAME_POINT]
    points = [_flat(v.dxf.location) for v in vertices]
    closed = bool(e.is_closed)
    if e.is_3d_polyline:
        level = _level([v.dxf.location.z for v in vertices] or [0.0])
        return placed(bulged(points, [0.0] * len(points), closed), closed, m, level)
    own = plane_map(e.dxf.extrusion)
    bulges = [float(v.dxf.bulge) for v in vertices]
    level = _level([float(e.dxf.elevation.z)])
    segments = bulged(points, bulges, closed) if points else []
    return placed(segments, closed, m @ own, level)


def _spline(e: Any, m: Affine) -> Run:
    control = list(e.control_points)
    if not control:
        return _fitted_spline(e, m)
    level = _level([float(p[2]) for p in control])
    points = [complex(p[0], p[1]) for p in control]
    segments = spline_segments(e.dxf.degree, e.knots, points, e.weights, m)
    closed = bool(e.closed) and abs(segments[0].start - segments[-1].end) <= SPLINE_TOLERANCE
    return placed(nurbs.chained(_ring(segments) if closed else segments), closed, IDENTITY, level)


def spline_segments(
    degree: int, knots: Iterable[float], points: list[complex], weights: Iterable[float], m: Affine
) -> list[Segment]:
    """The map goes to the control points: it doesn't matter to a spline which comes first."""
    placed = [m(p) for p in points]
    if not all(cmath.isfinite(p) and abs(p) <= FARTHEST for p in placed):
        raise GeometryError("a control point that is not finite or too far away")
    return nurbs.segments_of(
        degree, [float(k) for k in knots], placed, [float(w) for w in weights], SPLINE_TOLERANCE
    )


def _ring(segments: list[Segment]) -> list[Segment]:
    """The run with its start moved onto its end, less than the spline tolerance away."""
    return [nurbs.moved_start(segments[0], segments[-1].end), *segments[1:]]


def _fitted_spline(e: Any, m: Affine) -> Run:
    fit = list(e.fit_points)
    if len(fit) < 2:
        raise GeometryError("a spline without points")
    level = _level([float(p[2]) for p in fit])
    points = [complex(p[0], p[1]) for p in fit]
    if not all(cmath.isfinite(p) for p in points):
        raise GeometryError("a fit point that is not finite")
    if len(points) > MOST_FIT_POINTS:
        raise GeometryError(f"a spline through {len(points)} fit points")
    if e.closed:
        return replace(placed(nurbs.closed_through(points), True, m, level), fitted=True)
    curve = e.construction_tool()
    control = [complex(p.x, p.y) for p in curve.control_points]
    segments = spline_segments(curve.degree, curve.knots(), control, [], m)
    return replace(placed(segments, False, IDENTITY, level), fitted=True)


def _dot(place: complex, m: Affine, level: float, words: str) -> Run:
    there = m(place)
    _must_be_sound([Line(there, there)], FARTHEST)
    return Run((Line(there, there),), False, level, dot=True, words=words)


def _point(e: Any, m: Affine) -> Run:
    place, level = _flat(e.dxf.location), _level([e.dxf.location.z])
    return _dot(place, m, level, "")


def _text(e: Any, m: Affine) -> Run:
    """The place of the words."""
    own = plane_map(e.dxf.extrusion) if e.dxftype() == "TEXT" else IDENTITY
    place = _flat(e.dxf.insert)
    words = " ".join(e.plain_text().split())
    return _dot(place, m @ own, _level([e.dxf.insert.z]), words)


#: What each entity type is read by.
READERS: Mapping[str, Callable[[Any, Affine], Run]] = MappingProxyType(
    {
        "LINE": _line,
        "ARC": _arc,
        "CIRCLE": _circle,
        "ELLIPSE": _ellipse,
        "LWPOLYLINE": _lwpolyline,
        "POLYLINE": _polyline,
        "SPLINE": _spline,
        "POINT": _point,
        "TEXT": _text,
        "MTEXT": _text,
    }
)
