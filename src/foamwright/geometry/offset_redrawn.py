"""Smooth runs of a parallel, drawn anew through the true parallel of the drawn cubics.

A parallel that was cut from the parallels of arcs turns more at its joints than these did where it
lies inside a bend, and its arcs there may be short.  Where that is too much, its arcs are laid
anew, through the true parallel itself.

Terms.  A *course* and its places are those of `offset_course.py`.  A *stretch* is a run of the
parallel's segments that follow one course without a corner between.
Does not trim: a stretch's ends stay where they are, but for one beside a line, which is moved along
the line to where the drawing has it.
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
from foamwright.geometry.offset_better import better
from foamwright.geometry.offset_course import LEAD, WITHIN, Along, Course, along
from foamwright.geometry.offset_faults import faults, own_faults
from foamwright.geometry.path import CORNER_ANGLE, Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

#: The shares of the tolerance for arcs through the true parallel, tried one after the other, and
#: whether stretches are widened: arcs beside a corner that lies aside have less to spare.
TRIES = ((0.9, False), (0.9, True), (0.45, False), (0.45, True))
#: How far a point beside a course may lie off the normal: half of what isn't a corner, radians.
BESIDE = math.radians(CORNER_ANGLE / 2 + 0.2)
#: A segment may stray by so many tolerances and still follow a course, which may have a corner that
#: it goes round; its direction differs by no more than this cosine.
STRAYS, ONWARDS = 2.0, 0.5
#: Samples of each cubic, among which the nearest to a point is looked for.
SAMPLES = 24
#: A segment that begins within so much of a cubic's parameters of where one ends is the next.
NEXT = 0.1
#: So many segments that follow nothing may lie between two of one stretch.
BRIDGED = 2
#: Where a segment is held against a course, as parameters.
HELD = (0.03, 0.5, 0.97)


@dataclass(frozen=True, slots=True)
class _Followed:
    """Which course a segment follows, and from which place to which."""

    course: int
    begins: float
    ends: float


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Segments from `first` up to `last` of a run; followed: none, or as one."""

    first: int
    last: int
    followed: _Followed | None


@dataclass(frozen=True, slots=True)
class _Nearest:
    """Samples of courses: where near a point one lies."""

    tree: shapely.STRtree
    course: Indices
    place: Floats

    @staticmethod
    def of(courses: Sequence[Course]) -> _Nearest:
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


def redrawn(made: Path, source: Path, distance: float, tolerance: float) -> Path:
    """A parallel with its uneven stretches as arcs through the true parallel.

    made: lines and arcs, `distance` mm to the right of its source, both closed.  Within tolerance
    (mm) of the true parallel there; its corners, its other segments and the ends of its stretches
    stay.  A stretch that can't be followed stays too.
    """
    return _redrawn(made, source, distance, tolerance, False)


def laid_anew(made: Path, source: Path, distance: float, tolerance: float) -> Path:
    """As `redrawn`, with all stretches as arcs within tolerance.

    made: cut from arcs so fine that there are many more of them than the tolerance wants.
    """
    return _redrawn(made, source, distance, tolerance, True)


def _redrawn(made: Path, source: Path, distance: float, tolerance: float, all_of_it: bool) -> Path:
    courses = list(_courses(source, distance))
    if not courses:
        return made
    near = _Nearest.of(courses)
    best = made
    for share, wide in TRIES:
        best = _begun_at_a_break(best)
        found = _all_anew(best, courses, near, tolerance, share, wide, all_of_it)
        won = better(best, found, source, distance, tolerance, all_of_it)
        if won:
            best = made = won
            all_of_it = False
            if not own_faults(best, source, distance, tolerance):
                break
    return made


def _all_anew(
    path: Path,
    courses: Sequence[Course],
    near: _Nearest,
    tolerance: float,
    share: float,
    wide: bool,
    all_of_it: bool,
) -> Path:
    """A parallel with the stretches of its spans at fault (or all) laid anew, for better or worse.

    share: of the tolerance, for arcs through cubics.
    """
    wrong = faults(Chains.of([path]), abs(courses[0].distance))
    segments: list[Segment] = []
    corners: list[int] = []
    for first, last in _spans(path):
        here = [(k + i) % len(path.segments) for i in (0, 1) for k in range(first, last)]
        run = path.segments[first:last]
        anew = [(s, False) for s in run]
        if all_of_it or wrong.kinks[here].any() or wrong.slivers[here].any():
            closed = len(run) == len(path.segments) and not path.corners
            anew = _span_anew(run, closed, courses, near, tolerance, wide)
        corners.extend(len(segments) + i for i, (_, corner) in enumerate(anew) if corner)
        if first in path.corners:
            corners.append(len(segments))
        segments.extend(s for s, _ in anew)
    return fit_arcs(Path(tuple(segments), True, frozenset(corners)), share * tolerance)


def _spans(path: Path) -> Iterator[tuple[int, int]]:
    """From corner up to corner."""
    breaks = sorted({0, *path.corners, len(path.segments)})
    yield from pairwise(breaks)


def _span_anew(
    run: Sequence[Segment],
    closed: bool,
    courses: Sequence[Course],
    near: _Nearest,
    tolerance: float,
    wide: bool,
) -> list[tuple[Segment, bool]]:
    """A run with its stretches as cubics where they can be followed, and which begin at a corner.

    closed: the run's end joins its start smoothly; wide: arcs at its ends are taken with the
    stretch beside them though they stray.  The corner at its own start is not told.
    """
    followed = [_follows(s, courses, near, tolerance) for s in run]
    stretches = list(_stretches(followed, courses))
    if wide:
        stretches = _widened(stretches, run, courses)
    made: list[tuple[Segment, bool]] = []
    for stretch in stretches:
        own = run[stretch.first : stretch.last]
        before = run[stretch.first - 1] if stretch.first else None
        after = run[stretch.last % len(run)] if stretch.last < len(run) or closed else None
        drawn = stretch.followed and _drawn(
            own, stretch.followed, courses[stretch.followed.course], before, after, tolerance
        )
        if not drawn:
            begun = made[-1][0].end if made else own[0].start
            made.append((_begun_at(own[0], begun), False))
            made.extend((s, False) for s in own[1:])
            continue
        if made and made[-1][0].end != drawn[0].cubic.start:
            made[-1] = _moved(made[-1][0], made[-1][0].start, drawn[0].cubic.start), made[-1][1]
        made.extend((one.cubic, one.corner) for one in drawn)
    if closed:
        made[0] = _begun_at(made[0][0], made[-1][0].end), made[0][1]
    return made


def _begun_at(s: Segment, start: complex) -> Segment:
    return s if s.start == start else _moved(s, start, s.end)


def _moved(s: Segment, start: complex, end: complex) -> Segment:
    """A line between other ends, or an arc about the same centre."""
    if not isinstance(s, Arc):
        return replace(s, start=start, end=end)
    gains = cmath.phase((s.start - s.centre) / (start - s.centre))
    gains += cmath.phase((end - s.centre) / (s.end - s.centre))
    return Arc(start, end, math.tan((s.sweep + gains) / 4))


def _courses(source: Path, distance: float) -> Iterator[Course]:
    n = len(source.segments)
    breaks = [i for i in range(n) if not _goes_on(source, i)]
    if not breaks:
        yield Course(tuple(s for s in source.segments if isinstance(s, Cubic)), distance, True)
        return
    for a, b in zip(breaks, [*breaks[1:], breaks[0] + n], strict=True):
        run = tuple(source.segments[k % n] for k in range(a, b))
        cubics = tuple(s for s in run if isinstance(s, Cubic))
        if len(cubics) == len(run):
            yield Course(cubics, distance, False)


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
    s: Segment, courses: Sequence[Course], near: _Nearest, tolerance: float
) -> _Followed | None:
    """The course that a segment follows, onwards."""
    held = [s.point(t) for t in HELD]
    which, places = near.to(held)
    if len(set(which)) > 1:
        return None
    course = courses[which[0]]
    at = [course.foot(p, u) for p, u in zip(held, places, strict=True)]
    for p, u, t in zip(held, at, HELD, strict=True):
        spot, way, speed = course.spot(u)
        spoke = (p - spot) * way.conjugate() - 1j * course.distance  # from the foot to the point
        off = abs(abs(spoke) - abs(course.distance))
        aside = abs(cmath.phase(spoke / (-1j * course.distance)))
        onwards = (s.tangent(t) * way.conjugate()).real > ONWARDS
        if off > STRAYS * tolerance or aside > BESIDE or speed <= 0 or not onwards:
            return None
    at = [course.foot(s.start, at[0]), *at, course.foot(s.end, at[-1])]
    steps = [_gap(course, a, b) for a, b in pairwise(at)]
    if min(steps) < 0 or sum(steps) <= 0:
        return None
    return _Followed(which[0], at[0], at[0] + sum(steps))


def _gap(course: Course, a: float, b: float) -> float:
    """From one place on to another, the shorter way where the course is a loop."""
    n = len(course.cubics)
    return (b - a + n / 2) % n - n / 2 if course.loop else b - a


def _stretches(
    followed: Sequence[_Followed | None], courses: Sequence[Course]
) -> Iterator[_Stretch]:
    """The run's stretches, and the segments that follow nothing one by one."""
    i, n = 0, len(followed)
    while i < n:
        first, one = i, followed[i]
        i += 1
        while one and i < n:
            course = courses[one.course]
            for j in range(i, min(i + BRIDGED + 1, n)):
                other = followed[j]
                if other and other.course == one.course:
                    gap, low = _gap(course, one.ends, other.begins), 0.0 if j > i else -NEXT
                    fits = low <= gap < (math.inf if j > i else NEXT)
                    break
            else:
                break
            if not fits:
                break
            one = _Followed(one.course, one.begins, one.ends + gap + other.ends - other.begins)
            i = j + 1
        yield _Stretch(first, i, one)


def _widened(
    stretches: Sequence[_Stretch], run: Sequence[Segment], courses: Sequence[Course]
) -> list[_Stretch]:
    """With what follows nothing at either end of the run taken into the stretch beside it."""

    def strays(s: _Stretch, beside: _Stretch) -> bool:
        arc = run[s.first]
        if s.followed or not beside.followed or not isinstance(arc, Arc):
            return False
        return abs(arc.radius - abs(courses[0].distance)) > WITHIN  # no round join

    made = list(stretches)
    if len(made) > 1 and strays(made[0], made[1]) and (f := made[1].followed):
        begins = min(f.begins, courses[f.course].foot(run[0].start, f.begins))
        made[:2] = [_Stretch(0, made[1].last, replace(f, begins=begins))]
    if len(made) > 1 and strays(made[-1], made[-2]) and (f := made[-2].followed):
        ends = max(f.ends, courses[f.course].foot(run[-1].end, f.ends))
        made[-2:] = [_Stretch(made[-2].first, made[-1].last, replace(f, ends=ends))]
    return made


def _drawn(
    own: Sequence[Segment],
    followed: _Followed,
    course: Course,
    before: Segment | None,
    after: Segment | None,
    tolerance: float,
) -> list[Along] | None:
    """Cubics through the true parallel in the place of a stretch, between these neighbours."""
    low, high = followed.begins, followed.ends
    start, end = own[0].start, own[-1].end
    n = float(len(course.cubics))
    if not course.loop:
        reach = abs(course.distance)
        if _may_move(before, course.spot(0.0)[0], start, reach):
            low, start = 0.0, course.spot(0.0)[0]
        if _may_move(after and after.reversed(), course.spot(n)[0], end, reach):
            high, end = n, course.spot(n)[0]
    return along(course, low, high, start, end, tolerance)


def _may_move(s: Segment | None, spot: complex, now: complex, reach: float) -> bool:
    """Whether a neighbour's end, which lies here now, may move to a spot that it runs through.

    Of a line or a round join, by LEAD at most and less than half of its length.
    """
    if s is None or isinstance(s, Cubic) or abs(spot - now) > min(LEAD, s.length() / 2):
        return False
    if isinstance(s, Arc):
        about = abs(spot - s.centre) - reach
        return abs(s.radius - reach) < WITHIN and abs(about) < WITHIN
    return abs(((spot - s.start) * s.tangent(0.0).conjugate()).imag) < WITHIN
