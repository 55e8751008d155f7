"""Smooth runs of a parallel, drawn anew through the true parallel of the drawn cubics.

A parallel that was cut from the parallels of arcs turns more at its joints than these did where it
lies inside a bend, and its arcs there may be short.  Where that is too much, its arcs are laid
anew, through the true parallel itself.

Terms.  A *course* is the true parallel of a run of cubics without a corner; a place on it is the
number of its cubic plus the parameter there.  Where two of its cubics meet with a slight kink it
goes round their joint, or has a kink where their parallels cross.  A *stretch* is a run of the
parallel's segments that follow one course without a corner between.
Does not trim: a stretch's ends stay where they are.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely

from foamwright.geometry.chains import Chains, Floats, Indices
from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.offset_faults import at_fault, faults
from foamwright.geometry.offset_raw import SLIVER
from foamwright.geometry.path import CORNER_ANGLE, Path
from foamwright.geometry.segments import Cubic, Line, Segment

#: Shares of the tolerance: of the cubics through the true parallel, and of the arcs through them.
THROUGH, ANEW = 0.02, 0.9
#: Places nearer than this are one.
WITHIN = 1e-6
#: How far a point beside a course may lie off the normal: half of what isn't a corner, radians.
BESIDE = math.radians(CORNER_ANGLE / 2 + 0.2)
#: Two cubics' parallels that lie less apart than this at their joint are led together, mm.
SHORT_GAP = SLIVER
#: How much of a stretch is bent to lead to its end, mm.
LEAD = 0.4
#: Samples of each cubic, among which the nearest to a point is looked for.
SAMPLES = 24
#: A segment that begins within so much of a cubic's parameters of where one ends is the next.
NEXT = 0.1
#: Newton's steps to a foot, and halvings of a cubic's parameters that are tried.
STEPS, HALVINGS = 8, 10
#: A parallel no slower than this share of its source has no cusp near.
SLOW = 1e-3
#: The share of the tolerance to which a path is flattened where a new one is measured by it.
MEASURED = 0.05
#: Where a segment is held against a course, as parameters.
HELD = (0.03, 0.5, 0.97)


@dataclass(frozen=True, slots=True)
class _Course:
    """The parallel `distance` mm to the right of cubics that follow each other."""

    cubics: tuple[Cubic, ...]
    distance: float
    loop: bool

    def _at(self, u: float) -> tuple[Cubic, float]:
        n = len(self.cubics)
        k = math.floor(u) if self.loop else min(max(math.floor(u), 0), n - 1)
        return self.cubics[k % n], u - k

    def spot(self, u: float) -> tuple[complex, complex, float]:
        """The point, its direction, and how fast it moves against u, mm; below 0: backwards."""
        c, t = self._at(u)
        first, second = c.derivative(t), c.second_derivative(t)
        way = c.tangent(t)
        speed = abs(first)
        bend = (first.conjugate() * second).imag / speed**3 if speed > 0 else math.inf
        return c.point(t) - 1j * self.distance * way, way, speed * (1 + self.distance * bend)

    def foot(self, p: complex, u: float) -> float:
        """The place near u beside which a point lies."""
        n = len(self.cubics)
        for _ in range(STEPS):
            c, t = self._at(u)
            first, off = c.derivative(t), p - c.point(t)
            square = abs(first) ** 2 - (off * c.second_derivative(t).conjugate()).real
            if square <= 0:
                break
            step = (off * first.conjugate()).real / square
            u += min(max(step, -0.5), 0.5)
            u = u if self.loop else min(max(u, 0.0), float(n))
            if abs(step) < 1e-12:
                break
        return u


@dataclass(frozen=True, slots=True)
class _Followed:
    """Which course a segment follows, and from which place to which."""

    course: int
    begins: float
    ends: float


@dataclass(frozen=True, slots=True)
class _Nearest:
    """Samples of courses: where near a point one lies."""

    tree: shapely.STRtree
    course: Indices
    place: Floats

    @staticmethod
    def of(courses: Sequence[_Course]) -> _Nearest:
        t = (np.arange(SAMPLES) + 0.5) / SAMPLES
        drawn = [(i, k, c) for i, course in enumerate(courses) for k, c in enumerate(course.cubics)]
        spots = [c.points(t) - 1j * courses[i].distance * c.tangents(t) for i, _, c in drawn]
        p = np.concatenate(spots)
        tree = shapely.STRtree(shapely.points(p.real, p.imag))
        which, places = np.repeat([i for i, _, _ in drawn], SAMPLES), [k + t for _, k, _ in drawn]
        return _Nearest(tree, which, np.concatenate(places))

    def to(self, points: Sequence[complex]) -> tuple[list[int], list[float]]:
        """The course and the place of the sample nearest to each point."""
        p = np.array(points)
        found = self.tree.nearest(shapely.points(p.real, p.imag))
        return self.course[found].tolist(), self.place[found].tolist()


def redrawn(
    made: Sequence[Path], sources: Sequence[Path], distance: float, tolerance: float
) -> list[Path]:
    """Parallels of paths with their uneven stretches as arcs through the true parallel.

    made: lines and arcs, each `distance` mm to the right of its source, all closed.  Within
    tolerance (mm) of the true parallel there; their corners, their other segments and the ends of
    their stretches stay.  A stretch that can't be followed stays too.
    """
    wrong = at_fault(made, sources, distance, tolerance)
    return [
        _redrawn(m, path, distance, tolerance) if is_wrong else m
        for m, path, is_wrong in zip(made, sources, wrong, strict=True)
    ]


def _redrawn(made: Path, source: Path, distance: float, tolerance: float) -> Path:
    courses = list(_courses(source, distance))
    if not courses:
        return made
    turned = _begun_at_a_break(made)
    wrong = faults(Chains.of([turned]), abs(distance))
    near = _Nearest.of(courses)
    segments: list[Segment] = []
    corners: list[int] = []
    for first, last in _spans(turned):
        if first in turned.corners:
            corners.append(len(segments))
        here = [(k + i) % len(turned.segments) for i in (0, 1) for k in range(first, last)]
        if wrong.kinks[here].any() or wrong.slivers[here].any():
            segments.extend(_span_anew(turned.segments[first:last], courses, near, tolerance))
        else:
            segments.extend(turned.segments[first:last])
    found = fit_arcs(Path(tuple(segments), True, frozenset(corners)), ANEW * tolerance)
    better = faults(Chains.of([found]), abs(distance)).fewer(wrong)
    return found if better and _is_sound(found, made, source, distance, tolerance) else made


def _is_sound(found: Path, made: Path, source: Path, distance: float, tolerance: float) -> bool:
    """Whether a path keeps its distance wherever it isn't as it was, and bounds as much area.

    The second, since a stretch drawn twice round would keep its distance too.
    """
    own, before = (_chords(p, tolerance * MEASURED) for p in (source, made))
    spots = np.array([s.point(t) for s in found.segments for t in HELD])
    at = shapely.points(spots.real, spots.imag)
    off = np.abs(shapely.distance(at, own) - abs(distance))
    strays = (off > tolerance * (1 + MEASURED)) & (
        shapely.distance(at, before) > tolerance * MEASURED + WITHIN
    )
    areas = [math.fsum(s.area() for s in p.segments) for p in (found, made)]
    return not strays.any() and abs(areas[0] - areas[1]) <= 2 * tolerance * made.length


def _chords(path: Path, tolerance: float) -> shapely.LineString:
    points = np.concatenate([s.flatten(tolerance) for s in path.segments])
    ring = shapely.LineString(np.column_stack([points.real, points.imag]))
    shapely.prepare(ring)
    return ring


def _spans(path: Path) -> Iterator[tuple[int, int]]:
    """From corner up to corner."""
    breaks = sorted({0, *path.corners, len(path.segments)})
    yield from pairwise(breaks)


def _span_anew(
    run: Sequence[Segment], courses: Sequence[_Course], near: _Nearest, tolerance: float
) -> Iterator[Segment]:
    """A run with its stretches as cubics, where they can be followed."""
    followed = [_follows(s, courses, near, tolerance) for s in run]
    for first, last in _stretches(followed, courses):
        own = run[first:last]
        yield from _drawn(own, followed[first:last], courses, tolerance) or own


def _courses(source: Path, distance: float) -> Iterator[_Course]:
    n = len(source.segments)
    breaks = [i for i in range(n) if not _goes_on(source, i)]
    if not breaks:
        yield _Course(tuple(s for s in source.segments if isinstance(s, Cubic)), distance, True)
        return
    for a, b in zip(breaks, [*breaks[1:], breaks[0] + n], strict=True):
        run = tuple(source.segments[k % n] for k in range(a, b))
        cubics = tuple(s for s in run if isinstance(s, Cubic))
        if len(cubics) == len(run):
            yield _Course(cubics, distance, False)


def _goes_on(path: Path, i: int) -> bool:
    """Whether two cubics meet at a joint that is no corner."""
    before, after = path.segments[i - 1], path.segments[i]
    return i not in path.corners and isinstance(before, Cubic) and isinstance(after, Cubic)


def _begun_at_a_break(path: Path) -> Path:
    """The path begun at a corner or a line, if it has one."""
    n = len(path.segments)
    breaks = [i for i in range(n) if i in path.corners or isinstance(path.segments[i], Line)]
    return path.starting_at(breaks[0]) if breaks else path


def _follows(
    s: Segment, courses: Sequence[_Course], near: _Nearest, tolerance: float
) -> _Followed | None:
    """The course that a segment follows within tolerance, onwards."""
    held = [s.point(t) for t in HELD]
    which, places = near.to(held)
    if len(set(which)) > 1:
        return None
    course = courses[which[0]]
    at = [course.foot(p, u) for p, u in zip(held, places, strict=True)]
    for p, u, t in zip(held, at, HELD, strict=True):
        spot, way, speed = course.spot(u)
        spoke = (spot - p) * way.conjugate() - 1j * course.distance  # from the foot to the point
        off = abs(abs(spoke) - abs(course.distance))
        aside = abs(cmath.phase(spoke / (-1j * course.distance)))
        onwards = (s.tangent(t) * way.conjugate()).real > 0.9
        if off > tolerance or aside > BESIDE or speed <= 0 or not onwards:
            return None
    begins, ends = course.foot(s.start, at[0]), course.foot(s.end, at[-1])
    if course.loop:
        ends = begins + (ends - begins) % len(course.cubics)
    return _Followed(which[0], begins, ends) if begins < ends else None


def _stretches(
    followed: Sequence[_Followed | None], courses: Sequence[_Course]
) -> Iterator[tuple[int, int]]:
    """Segments from first up to last, which follow one course or stand alone."""
    first = 0
    for i, (a, b) in enumerate(zip(followed, [*followed[1:], None], strict=True), 1):
        if not (a and b and a.course == b.course and _is_next(a, b, courses[a.course])):
            yield first, i
            first = i


def _is_next(a: _Followed, b: _Followed, course: _Course) -> bool:
    gap, n = b.begins - a.ends, len(course.cubics)
    return abs((gap + n / 2) % n - n / 2 if course.loop else gap) < NEXT


def _drawn(
    run: Sequence[Segment],
    followed: Sequence[_Followed | None],
    courses: Sequence[_Course],
    tolerance: float,
) -> list[Cubic] | None:
    """Cubics through the true parallel in the place of a stretch."""
    first, last = followed[0], followed[-1]
    if first is None or last is None:
        return None
    course = courses[first.course]
    low, high = first.begins, last.ends
    if course.loop:
        high = low + ((high - low) % len(course.cubics) or len(course.cubics))
    made: list[Cubic] = []
    begin = low
    for k in range(math.ceil(low + WITHIN), math.ceil(high - WITHIN)):
        before, after, link = _joined_at(course, k)
        if before - begin > WITHIN:
            part = _through(course, begin, before, THROUGH * tolerance, HALVINGS)
            if part is None:
                return None
            made.extend(part)
        made.extend(link)
        begin = max(low, after)
    part = (
        _through(course, begin, high, THROUGH * tolerance, HALVINGS)
        if high - begin > WITHIN
        else []
    )
    return None if part is None else _ended(made + part, run[0].start, run[-1].end, tolerance)


def _joined_at(course: _Course, k: int) -> tuple[float, float, list[Cubic]]:
    """Where a course leaves the cubic before a joint and takes up the next, and what lies between.

    An arc round the joint, or nothing where the two parallels cross.
    """
    near = 1e-9
    (a, came, fast), (b, goes, slow) = course.spot(k - near), course.spot(k + near)
    turn = cmath.phase(goes / came)
    gap = course.distance * turn
    if abs(gap) < SHORT_GAP or min(fast, slow) <= 0:
        return k, k, []
    if gap > 0:
        handle = gap / 3
        return k, k, [Cubic(a, a + handle * came, b - handle * goes, b)]
    u, v = k + gap / 2 / fast, k - gap / 2 / slow
    for _ in range(STEPS):
        (p, along, fast), (q, onto, slow) = course.spot(u), course.spot(v)
        cross = (along.conjugate() * onto).imag
        miss = q - p
        if cross == 0 or abs(miss) < 1e-12:
            break
        u += (miss.conjugate() * onto).imag / cross / fast
        v += (miss.conjugate() * along).imag / cross / slow
    return (u, v, []) if k - 1 < u <= k <= v < k + 1 else (k, k, [])


def _through(
    course: _Course, low: float, high: float, tolerance: float, halvings: int
) -> list[Cubic] | None:
    """Cubics within tolerance of a course between two places on one of its cubics."""
    inside = 1e-9 * (high - low)  # so that both ends are on the one cubic
    (a, goes, fast), (b, comes, arrives) = course.spot(low + inside), course.spot(high - inside)
    middle, _, slow = course.spot((low + high) / 2)
    source = abs(course.cubics[0].derivative(0.5))
    if min(fast, arrives, slow) <= SLOW * source:
        return None
    third = (high - low) / 3
    one = Cubic(a, a + third * fast * goes, b - third * arrives * comes, b)
    quarters = ((0.25, course.spot(low + (high - low) / 4)[0]), (0.5, middle))
    if all(abs(one.point(t) - p) <= tolerance for t, p in quarters):
        return [one]
    if halvings == 0:
        return None
    half = (low + high) / 2
    head = _through(course, low, half, tolerance, halvings - 1)
    tail = head and _through(course, half, high, tolerance, halvings - 1)
    return head + tail if head and tail else None


def _ended(
    run: Sequence[Cubic], start: complex, end: complex, tolerance: float
) -> list[Cubic] | None:
    """Cubics joined up, the first and last led to these ends; None where they lie aside."""
    made: list[Cubic] = []
    for c in run:
        here = made[-1].end if made else c.start
        if abs(here - c.start) <= WITHIN:
            part: list[Cubic] | None = [replace(c, start=here)]
        else:
            part = _led_from([c], here, tolerance)
        if part is None:
            return None
        made.extend(part)
    led = _led_from(made, start, tolerance) if made else None
    back = led and _led_from([c.reversed() for c in led[::-1]], end, tolerance)
    return [c.reversed() for c in back[::-1]] if back else None


def _led_from(run: list[Cubic], start: complex, tolerance: float) -> list[Cubic] | None:
    """The run with its first LEAD mm led from a place that lies before it, after it or beside."""
    first, rest = run[0], run[1:]
    share = LEAD / max(first.length(), LEAD)
    if share < 0.5:
        first, tail = first.split(share)
        rest = [tail, *rest]
    way = first.tangent(0.0)
    off, along = start - first.start, first.end - start
    if abs((off * way.conjugate()).imag) > tolerance or (along * way.conjugate()).real <= 0:
        return None
    stretched = abs(along) / abs(first.end - first.start)
    leaves = start + (first.control1 - first.start) * stretched
    comes = first.end + (first.control2 - first.end) * stretched
    return [Cubic(start, leaves, comes, first.end), *rest]
