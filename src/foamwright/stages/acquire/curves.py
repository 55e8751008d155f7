"""Curves on their way from a drawing's own coordinates into lines, arcs and cubics in mm.

An elliptical arc is kept as an arc of the unit circle with the affine map that bends it (`frame`),
so that it can go through any transform and be judged at the end: still circular, it stays an exact
arc; else it becomes cubics within 3e-9 of its longer half axis.
Does not read any file.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc, Cubic, Line, Segment, line_or_arc

#: Half axes that differ by less than this, in mm, count as one radius: far below any tool.
CIRCLE_EPS = 1e-6
#: Segments shorter than this, in mm, are rounding of the writer's numbers, not drawn edges.
TINY = 1e-6
#: A point nearer to its neighbour than this, in mm, is the same one drawn again.
REPEATED = 1e-4
#: A radius below this, in drawing units, is none (SVG 1.1 F.6.6: the arc is a straight line).
NO_RADIUS = 1e-12
#: A cubic whose speed falls below this share of its handles' length comes to a stop: a cusp.
STOP = 1e-6
#: Rounded coordinates never hide a turn of more than this many degrees.
MOST_UNCERTAIN = 20.0


@dataclass(frozen=True, slots=True)
class EllipseArc:
    """An elliptical arc. frame: unit circle to here; first, sweep: radians on the unit circle."""

    start: complex
    end: complex
    frame: Affine
    first: float
    sweep: float

    def mapped(self, m: Affine) -> tuple[Segment, ...]:
        """The arc under m: exact arcs of at most 180 degrees where circular, else cubics."""
        frame = m @ self.frame
        parts = max(1, math.ceil(abs(self.sweep) / math.pi - 1e-9))
        step = self.sweep / parts
        spots = [cmath.rect(1.0, self.first + step * k) for k in range(parts + 1)]
        ends = [m(self.start), *(frame(p) for p in spots[1:-1]), m(self.end)]
        bulge = math.tan(step / 4)
        if _is_circular(frame):
            signed = -bulge if frame.is_mirror else bulge
            return tuple(line_or_arc(ends[k], ends[k + 1], signed) for k in range(parts))
        cubics: list[Cubic] = []
        for k in range(parts):
            bent = Arc(spots[k], spots[k + 1], bulge).cubics()
            cubics.extend(c.transformed(frame)[0] for c in bent)
        cubics[0] = replace(cubics[0], start=ends[0])
        cubics[-1] = replace(cubics[-1], end=ends[-1])
        return tuple(cubics)


#: A segment in the drawing's own coordinates.
Drawn: TypeAlias = Line | Cubic | EllipseArc


def _is_circular(frame: Affine) -> bool:
    if frame.is_mirror:
        return math.hypot(frame.a + frame.d, frame.b - frame.c) <= CIRCLE_EPS
    return math.hypot(frame.a - frame.d, frame.b + frame.c) <= CIRCLE_EPS


def ellipse_arc(centre: complex, rx: float, ry: float, first: float, sweep: float) -> EllipseArc:
    """An upright arc by its centre; first and sweep in degrees on the ellipse's own circle."""
    frame = Affine.translation(centre) @ Affine.scaling(rx, ry)
    low, high = Affine.rotation(first)(1 + 0j), Affine.rotation(first + sweep)(1 + 0j)
    return EllipseArc(frame(low), frame(high), frame, math.radians(first), math.radians(sweep))


def arc_between(
    start: complex, end: complex, radii: tuple[float, float], turn: float, flags: tuple[bool, bool]
) -> Line | EllipseArc | None:
    """The arc of path data by its ends (SVG 1.1 F.6.5 and F.6.6); None where the ends are one.

    turn: degrees of the ellipse's x axis.  flags: the longer way round; angles grow.
    """
    if start == end:
        return None
    rx, ry = abs(radii[0]), abs(radii[1])
    large, grows = flags
    if min(rx, ry) < NO_RADIUS:
        return Line(start, end)
    axis = Affine.rotation(turn)(1 + 0j)
    half = (start - end) / 2 * axis.conjugate()
    spoke = complex(half.real / rx, half.imag / ry)
    reach = abs(spoke)
    if reach > 1:
        rx, ry, spoke, reach = rx * reach, ry * reach, spoke / reach, 1.0
    away = math.sqrt(max(0.0, 1 / (reach * reach) - 1))
    centre = -1j * spoke * (away if large != grows else -away)
    first = cmath.phase(spoke - centre)
    sweep = (cmath.phase(-spoke - centre) - first) % (2 * math.pi)
    if not grows:
        sweep -= 2 * math.pi
    middle = (start + end) / 2 + axis * complex(rx * centre.real, ry * centre.imag)
    frame = Affine.translation(middle) @ Affine.rotation(turn) @ Affine.scaling(rx, ry)
    return EllipseArc(start, end, frame, first, sweep)


def quadratic(start: complex, control: complex, end: complex) -> Cubic:
    """A quadratic Bezier curve, exactly, as a cubic."""
    return Cubic(start, start + (control - start) * (2 / 3), end + (control - end) * (2 / 3), end)


def mapped(segments: Iterable[Drawn], m: Affine) -> list[Segment]:
    """Drawn segments under m. A cubic with its handles folded in is the line it looks like."""
    made: list[Segment] = []
    for s in segments:
        if isinstance(s, EllipseArc):
            made.extend(s.mapped(m))
        elif isinstance(s, Cubic) and s.control1 == s.start and s.control2 == s.end:
            made.append(Line(m(s.start), m(s.end)))
        else:
            made.extend(s.transformed(m))
    return made


def make_path(
    segments: Sequence[Segment], closed: bool, corner_angle: float, rounding: float = 0.0
) -> Path:
    """A path with its corners marked, without repeated points; a cubic's cusp is a joint.

    rounding: the step of the drawing's coordinates in mm.  It makes a tangent over a short handle
    uncertain; at each joint `corner_angle` (degrees) is raised by that much.
    Raises GeometryError where nothing is left or the segments do not meet.
    """
    kept, _ = without_repeats([part for s in segments for part in _at_cusps(s)], closed)
    if not kept:
        raise GeometryError("a path without length")
    whole = Path.of(kept, closed, corner_angle)
    if rounding <= 0:
        return whole
    sure = frozenset(
        i for i in whole.corners if _is_sure(whole.segments, i, corner_angle, rounding)
    )
    return replace(whole, corners=sure)


def _at_cusps(s: Segment) -> list[Segment]:
    """The segment, cut where a cubic stops and turns back, the handles there folded in."""
    if not isinstance(s, Cubic):
        return [s]
    stop = _stop(s)
    if stop is None:
        return [s]
    before, after = s.split(stop)
    ahead = replace(after, control1=after.start)
    return [replace(before, control2=before.end), *_at_cusps(ahead)]


def _stop(s: Cubic) -> float | None:
    """The first parameter inside at which a cubic's derivative, a quadratic, is nought."""
    steps = (s.control1 - s.start, s.control2 - s.control1, s.end - s.control2)
    most = STOP * sum(map(abs, steps))
    a, b, c = steps[0] - 2 * steps[1] + steps[2], 2 * (steps[1] - steps[0]), steps[0]
    if abs(a) > most:
        root = cmath.sqrt(b * b - 4 * a * c)
        spots = [(-b - root) / (2 * a), (-b + root) / (2 * a)]
    elif abs(b) > most:
        spots = [-c / b]
    else:
        return None
    # at a stop at an end the handle is folded in already
    inside = sorted(t.real for t in spots if 1e-3 < t.real < 1 - 1e-3)
    return next((t for t in inside if abs(s.derivative(t)) <= 3 * most), None)


def without_repeats(
    segments: Sequence[Segment], closed: bool
) -> tuple[list[Segment], list[complex]]:
    """The segments without those shorter than REPEATED, and where points were left out.

    No point moves by more than that: steps of a fine curve add up and are kept.
    """
    kept: list[Segment] = []
    merged: list[complex] = []
    for s in segments:
        here = kept[-1].end if kept else segments[0].start
        if _extent(s) < REPEATED and abs(s.end - here) < REPEATED:
            merged.append(s.end)
            continue
        kept.append(replace(s, start=kept[-1].end) if kept and s.start != kept[-1].end else s)
    if closed and len(kept) > 1 and abs(kept[-1].end - kept[0].start) < 2 * REPEATED:
        kept[-1] = replace(kept[-1], end=kept[0].start)
    return kept, merged


def _extent(s: Segment) -> float:
    size = abs(s.end - s.start)
    if isinstance(s, Cubic):
        size = max(size, abs(s.control1 - s.start), abs(s.control2 - s.start))
    return size


def _is_sure(segments: Sequence[Segment], i: int, corner_angle: float, rounding: float) -> bool:
    before, after = segments[i - 1], segments[i]
    turn = abs(turn_degrees(before.tangent(1.0), after.tangent(0.0)))
    doubt = sum(math.atan2(rounding / 2, _handle(s)) for s in (before.reversed(), after))
    return turn > corner_angle + min(MOST_UNCERTAIN, math.degrees(doubt))


def _handle(s: Segment) -> float:
    """Length in mm of what sets the tangent at the start: handle, chord."""
    if isinstance(s, Cubic):
        for p in (s.control1, s.control2, s.end):
            if abs(p - s.start) > TINY:
                return abs(p - s.start)
    return abs(s.end - s.start)
