"""A path: a chain of lines, arcs and cubics, open or closed, with its corners known.

A joint i is the start of segment i; a joint where the tangents turn by more than `corner_angle`
is a corner.  Corners are marked when the path is made and stay through every map and reversal.
Closed outer boundaries run counter-clockwise and openings clockwise: material lies to the left.
Does not offset, fit or intersect.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine
from foamwright.geometry.segments import Arc, Box, Cubic, Line, Points, Segment

#: Degrees of turn above which a joint is a corner, where the caller doesn't say.
CORNER_ANGLE = 3.0
#: The largest gap between two segments' shared ends that counts as rounding of doubles, mm.
JOIN_EPS = 1e-9


def turn_degrees(before: complex, after: complex) -> float:
    """Signed turn from one direction to another, -180..180 degrees."""
    return math.degrees(cmath.phase(after / before))


@dataclass(frozen=True)
class Path:
    """segments joined end to end; closed: the last ends where the first starts; corners: joints.

    Make one with `Path.of`, which checks the joints and marks the corners.
    """

    segments: tuple[Segment, ...]
    closed: bool
    corners: frozenset[int] = frozenset()

    @staticmethod
    def of(segments: Iterable[Segment], closed: bool, corner_angle: float = CORNER_ANGLE) -> Path:
        """A path with its corners marked. Raises GeometryError where it has gaps or is empty.

        Segments of no length are left out.
        """
        kept = tuple(s for s in segments if not _is_nothing(s))
        if not kept:
            raise GeometryError("a path without length")
        for a, b in pairwise(kept):
            _must_meet(a, b)
        if closed:
            _must_meet(kept[-1], kept[0])
        return Path(kept, closed, find_corners(kept, closed, corner_angle))

    @staticmethod
    def polygon(points: Sequence[complex], closed: bool = True) -> Path:
        """Straight lines through the points; a repeated last point is not needed."""
        ends = [*points, points[0]] if closed and points[0] != points[-1] else list(points)
        return Path.of([Line(a, b) for a, b in pairwise(ends)], closed)

    @staticmethod
    def circle(centre: complex, radius: float) -> Path:
        """Counter-clockwise, three arcs of 120 degrees, from the rightmost point."""
        spots = [centre + radius * cmath.rect(1.0, k * 2 * math.pi / 3) for k in range(3)]
        bulge = math.tan(math.pi / 6)
        arcs = [Arc(spots[k], spots[(k + 1) % 3], bulge) for k in range(3)]
        return Path(tuple(arcs), True)

    @property
    def start(self) -> complex:
        return self.segments[0].start

    @property
    def end(self) -> complex:
        return self.segments[-1].end

    @cached_property
    def length(self) -> float:
        return math.fsum(s.length() for s in self.segments)

    @cached_property
    def area(self) -> float:
        """Signed area in mm2, positive counter-clockwise. Only a closed path has one."""
        if not self.closed:
            raise GeometryError("an open path has no area")
        return math.fsum(s.area() for s in self._near_origin().segments)

    def _near_origin(self) -> Path:
        return self.transformed(Affine.translation(-self.start))

    @cached_property
    def bounds(self) -> Box:
        boxes = np.array([s.bounds() for s in self.segments])
        low, high = boxes.min(axis=0), boxes.max(axis=0)
        return float(low[0]), float(low[1]), float(high[2]), float(high[3])

    def reversed(self) -> Path:
        n = len(self.segments)
        turned = tuple(s.reversed() for s in reversed(self.segments))
        moved = ((n - i) % n if self.closed else n - i for i in self.corners)
        return Path(turned, self.closed, frozenset(moved))

    def counter_clockwise(self) -> Path:
        return self if self.area > 0 else self.reversed()

    def clockwise(self) -> Path:
        return self if self.area < 0 else self.reversed()

    def transformed(self, m: Affine) -> Path:
        """The mapped path; corners stay corners (an arc under a shear becomes several cubics)."""
        made: list[Segment] = []
        corners = []
        for i, s in enumerate(self.segments):
            if i in self.corners:
                corners.append(len(made))
            made.extend(s.transformed(m))
        return Path(tuple(made), self.closed, frozenset(corners))

    def starting_at(self, joint: int) -> Path:
        """The same closed path with `joint` as its first."""
        n = len(self.segments)
        turned = self.segments[joint:] + self.segments[:joint]
        return Path(turned, True, frozenset((i - joint) % n for i in self.corners))

    def starting_in(self, segment: int, t: float) -> Path:
        """The same closed path with its first joint at parameter t of a segment."""
        if t <= 0.0:
            return self.starting_at(segment)
        first, second = self.segments[segment].split(t)
        segments = (*self.segments[:segment], first, second, *self.segments[segment + 1 :])
        corners = frozenset(i if i <= segment else i + 1 for i in self.corners)
        return Path(segments, True, corners).starting_at(segment + 1)

    def opened(self, beyond: float = 0.0) -> Path:
        """A closed path once round from its first joint and `beyond` mm on, as an open path."""
        if beyond <= 0:
            return Path(self.segments, False, self.corners - {0})
        return self.between(0.0, self.length + beyond)

    def flatten(self, tolerance: float) -> Points:
        """Points along the path within tolerance (mm); a closed path repeats its first point."""
        parts = [s.flatten(tolerance) for s in self.segments]
        return np.concatenate([parts[0]] + [p[1:] for p in parts[1:]])

    def locate(self, s: float) -> tuple[int, float]:
        """Segment index and parameter at arc length s (mm) from the start; clamped to the ends."""
        left = min(max(s, 0.0), self.length)
        for i, segment in enumerate(self.segments):
            size = segment.length()
            if left <= size or i == len(self.segments) - 1:
                return i, min(1.0, max(0.0, segment.at_length(min(left, size))))
            left -= size
        raise AssertionError("a path has at least one segment")

    def point_at(self, s: float) -> complex:
        i, t = self.locate(s)
        return self.segments[i].point(t)

    def tangent_at(self, s: float) -> complex:
        i, t = self.locate(s)
        return self.segments[i].tangent(t)

    def between(self, start: float, end: float) -> Path:
        """The open run from arc length start to end; on a closed path either may pass the start.

        Corners within the run stay corners. Raises GeometryError where the run has no length.
        """
        if end <= start:
            raise GeometryError("a run must end after it starts")
        if self.closed and not 0 <= start < self.length - JOIN_EPS:
            rounds = math.floor((start + JOIN_EPS) / self.length) * self.length
            start, end = max(start - rounds, 0.0), end - rounds
        if self.closed and end > self.length + JOIN_EPS:
            head = self.between(start, self.length)
            tail = self.between(0.0, end - self.length)
            seam = {len(head.segments)} if 0 in self.corners else set()
            moved = {i + len(head.segments) for i in tail.corners}
            return Path(head.segments + tail.segments, False, head.corners | seam | moved)
        return self._cut(*self.locate(start), *self.locate(end))

    def _cut(self, i: int, t: float, j: int, u: float) -> Path:
        made: list[Segment] = []
        corners = []
        for k in range(i, j + 1):
            segment = self.segments[k]
            low, high = (t if k == i else 0.0), (u if k == j else 1.0)
            if high - low < 1e-12:
                continue
            if high < 1.0:
                segment = segment.split(high)[0]
            if low > 0.0:
                segment = segment.split(low / high)[1]
            if k in self.corners and low == 0.0 and made:
                corners.append(len(made))
            made.append(segment)
        if not made:
            raise GeometryError("a run without length")
        return Path(tuple(made), False, frozenset(corners))

    def joint_lengths(self) -> tuple[float, ...]:
        """Arc length from the start at each joint (first 0)."""
        at, total = [], 0.0
        for s in self.segments:
            at.append(total)
            total += s.length()
        return tuple(at)

    def corner_points(self) -> tuple[complex, ...]:
        """The corners in order of travel: their numbers for people are 1, 2, ..."""
        return tuple(self.segments[i].start for i in sorted(self.corners))


def find_corners(segments: Sequence[Segment], closed: bool, corner_angle: float) -> frozenset[int]:
    """Joints where the tangents turn by more than corner_angle degrees."""
    found = []
    for i in range(0 if closed else 1, len(segments)):
        turn = turn_degrees(segments[i - 1].tangent(1.0), segments[i].tangent(0.0))
        if abs(turn) > corner_angle:
            found.append(i)
    return frozenset(found)


def joined(paths: Sequence[Path], closed: bool, corner_angle: float = CORNER_ANGLE) -> Path:
    """Runs laid end to end as one path: their own corners stay, the joints between are judged."""
    segments: list[Segment] = []
    corners: set[int] = set()
    seams: list[int] = []
    for p in paths:
        seams.append(len(segments))
        corners.update(i + len(segments) for i in p.corners)
        segments.extend(p.segments)
    for a, b in pairwise(segments):
        _must_meet(a, b)
    judged = find_corners(segments, closed, corner_angle)
    return Path(tuple(segments), closed, frozenset(corners | (judged & set(seams))))


def _is_nothing(s: Segment) -> bool:
    if isinstance(s, Cubic):
        return s.start == s.control1 == s.control2 == s.end
    return s.start == s.end


def _must_meet(a: Segment, b: Segment) -> None:
    reach = JOIN_EPS * max(1.0, abs(a.end))
    if not abs(a.end - b.start) <= reach:
        raise GeometryError(f"a gap of {abs(a.end - b.start):.3g} mm between two segments")
