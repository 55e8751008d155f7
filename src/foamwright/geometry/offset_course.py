"""The true parallel of cubics that follow each other, and cubics along it.

Terms.  A *course* is the true parallel of a run of cubics without a corner; a place on it is the
number of its cubic plus the parameter there.  Where two of its cubics meet with a slight kink it
goes round their joint, or crosses itself.  A *loop* is what lies between two places where it
crosses itself: inside a bend that is tighter than the distance, or at a kink towards it.  A loop is
left out, and the course turns where it was (Farouki and Neff, Analytic properties of plane offset
curves, 1990).
Knows nothing of the arcs that follow a course.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from foamwright.geometry.chains import Flags, Floats, Indices
from foamwright.geometry.offset_raw import SLIVER
from foamwright.geometry.path import CORNER_ANGLE
from foamwright.geometry.segments import Cubic, Points

#: The share of the tolerance for cubics through a course.
THROUGH = 0.02
#: What is smaller than so many of these is a speck.
SPECK = 5.0
#: Places nearer than this are one, mm; a course that steps back by less goes on.
WITHIN = 1e-6
#: A crossing with the gap at a joint is as good as one where the sides come so near, mm.
NEARLY = 1e-3
#: Two cubics' parallels that lie less apart than this at their joint are led together, mm.
SHORT_GAP = SLIVER
#: How much of a stretch is bent to lead to its end, mm.
LEAD = 0.4
#: Steps of each cubic between which a course is looked at for loops.
FINELY = 32
#: So many of them on either side are looked at for a crossing, then so many.
ABOUT = (64, 512, 2048)
#: How far from a joint, in parameters, a side of it is looked at.
BESIDE_JOINT = 1e-9
#: Newton's steps to a foot and to a crossing, and halvings of a cubic's parameters that are tried.
STEPS, HALVINGS = 16, 10
#: Halvings of the parameters about a cusp until it is found.
HALVED = 40
#: A parallel no slower than this share of its source has no cusp near.
SLOW = 1e-3
#: Where a cubic is held against the course that it runs along, as parameters.
HELD = (0.25, 0.5, 0.75)


@dataclass(frozen=True, slots=True)
class Course:
    """The parallel `distance` mm to the right of cubics that follow each other."""

    cubics: tuple[Cubic, ...]
    distance: float
    loop: bool

    def _at(self, u: float) -> tuple[Cubic, float]:
        n = len(self.cubics)
        k = math.floor(u) if self.loop else min(max(math.floor(u), 0), n - 1)
        return self.cubics[k % n], u - k

    def cubic_at(self, u: float) -> Cubic:
        return self._at(u)[0]

    def spot(self, u: float) -> tuple[complex, complex, float]:
        """The point, its direction, and how fast it moves against u, mm; below 0: backwards."""
        c, t = self._at(u)
        first, second = c.derivative(t), c.second_derivative(t)
        way = c.tangent(t)
        speed = abs(first)
        bend = (first.conjugate() * second).imag / speed**3 if speed > 0 else math.inf
        return c.point(t) - 1j * self.distance * way, way, speed * (1 + self.distance * bend)

    def foot(self, p: complex, u: float) -> float:
        """The place near u beside which a point lies; a joint where neither side has one."""
        n = len(self.cubics)
        k = math.floor(u) if self.loop else min(max(math.floor(u), 0), n - 1)
        t = u - k
        for _ in range(STEPS):
            step = self._step(p, k, t)
            to = min(max(t + step, 0.0), 1.0)
            if to == t:
                on = k + 1 if step > 0 else k - 1
                begins = 0.0 if step > 0 else 1.0
                at_end = step != 0 and (self.loop or 0 <= on < n)
                if not at_end or self._step(p, on, begins) * step <= 0:
                    break
                k, t = on, begins
                continue
            done = abs(to - t) < 1e-12
            t = to
            if done:
                break
        return k + t

    def _step(self, p: complex, k: int, t: float) -> float:
        """Newton's step to the foot of a point on cubic k; 0 beyond the centre of its bend."""
        c = self.cubics[k % len(self.cubics)]
        first, off = c.derivative(t), p - c.point(t)
        square = abs(first) ** 2 - (off * c.second_derivative(t).conjugate()).real
        return (off * first.conjugate()).real / square if square > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Along:
    """A cubic along a course. corner: the course turns at its start as a corner does."""

    cubic: Cubic
    corner: bool = False


@dataclass(frozen=True, slots=True)
class _Loop:
    """From where to where a course is left out; turn: how it turns there, radians."""

    leaves: float
    returns: float
    turn: float


def along(
    course: Course, low: float, high: float, start: complex, end: complex, tolerance: float
) -> list[Along] | None:
    """Cubics along a course between two places, without its loops, led to these ends.

    Within a small share of the tolerance (mm) of it, but where they are led: there within all of
    it.  None where that can't be had.
    """
    low, high = (float(round(u)) if abs(u - round(u)) < WITHIN else u for u in (low, high))
    loops = _loops(course, low, high)
    if loops is None:
        return None
    made: list[Along] = []
    begin, turn = low, 0.0
    for leaves, returns, after in [
        *((p.leaves, p.returns, p.turn) for p in loops),
        (high, high, 0),
    ]:
        part = _onwards(course, begin, leaves, THROUGH * tolerance)
        if part is None:
            return None
        sharp = abs(turn) > math.radians(CORNER_ANGLE)
        made.extend(Along(c, sharp and i == 0) for i, c in enumerate(part))
        begin, turn = returns, after
    return _ended(made, start, end, tolerance)


# Loops


def _loops(course: Course, low: float, high: float) -> list[_Loop] | None:
    """The loops of a course between two places; None where one's crossing isn't found."""
    u, p, way = _samples(course, low, high)
    onwards = (np.diff(p) * (way[1:] + way[:-1]).conjugate()).real
    back = np.flatnonzero(onwards < -2 * WITHIN)
    made: list[_Loop] = []
    done = 0
    for group in np.split(back, np.flatnonzero(np.diff(back) > 1) + 1) if len(back) else ():
        if group[0] < done:
            continue  # within the loop before
        about = (_meeting(p, done, int(group[0]), int(group[-1]) + 1, n) for n in ABOUT)
        met = next((m for m in about if m), None)
        loop = met and _settled(course, *(float(u[k] + s * (u[k + 1] - u[k])) for k, s in met))
        if loop and met:
            made.append(loop)
            done = met[1][0]
        elif np.abs(np.diff(p)[group]).sum() > SHORT_GAP:
            return None
    return made


def _samples(course: Course, low: float, high: float) -> tuple[Floats, Points, Points]:
    """Places along a course, the points there and the directions; both sides of each joint."""
    n = len(course.cubics)
    u, p, way = [], [], []
    first = math.floor(low)
    for k in range(first, max(math.ceil(high), first + 1)):
        c = course.cubics[k % n]
        t = np.linspace(max(low - k, BESIDE_JOINT), min(high - k, 1 - BESIDE_JOINT), FINELY + 1)
        t = np.sort(np.concatenate([t, *_about_cusps(c, course.distance, t)]))
        u.append(k + t)
        way.append(c.tangents(t))
        p.append(c.points(t) - 1j * course.distance * way[-1])
    return np.concatenate(u), np.concatenate(p), np.concatenate(way)


def _about_cusps(c: Cubic, distance: float, t: Floats) -> Iterator[Floats]:
    """More places between those at which a cubic's parallel goes on and back."""

    edges = np.diff(np.array([c.start, c.control1, c.control2, c.end]))

    def onwards(t: Floats) -> Flags:
        u = 1 - t
        first = 3 * (u * u * edges[0] + 2 * u * t * edges[1] + t * t * edges[2])
        second = 6 * (u * (edges[1] - edges[0]) + t * (edges[2] - edges[1]))
        size = np.abs(first)
        on: Flags = size**3 + distance * (first.conjugate() * second).imag > 0
        return on

    on = onwards(t)
    for i in np.flatnonzero(on[1:] != on[:-1]):
        low, high = t[i : i + 2]
        for _ in range(HALVED):
            half = (low + high) / 2
            low, high = (half, high) if onwards(half) == on[i] else (low, half)
        yield np.linspace(t[i], low, FINELY + 1)[1:]
        yield np.linspace(low, t[i + 1], FINELY + 1)[1:-1]


def _meeting(
    p: Points, least: int, last: int, first: int, about: int
) -> tuple[tuple[int, float], tuple[int, float]] | None:
    """Where the chords up to `last` and those from `first` on meet, the least loop.

    least: the first of them all; about: how many on either side are looked at.
    Each chord as its number and the share of it before the meeting.
    """
    a: Indices = np.arange(max(least, last - about), last)
    b: Indices = np.arange(first, min(first + about, len(p) - 1))
    if not len(a) or not len(b):
        return None
    ways, others = np.diff(p)[a][:, None], np.diff(p)[b][None, :]
    across = p[b][None, :] - p[a][:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = (ways.conjugate() * others).imag
        s = (across.conjugate() * others).imag / cross
        t = (across.conjugate() * ways).imag / cross
    i, j = np.nonzero((s >= 0) & (s <= 1) & (t >= 0) & (t <= 1))
    if not len(i):
        return None
    k = int((b[j] - a[i]).argmin())
    one, other = i[k], j[k]
    return (int(a[one]), float(s[one, other])), (int(b[other]), float(t[one, other]))


def _settled(course: Course, u: float, v: float) -> _Loop | None:
    """The loop whose crossing lies near these places."""
    low, high = math.floor(u), math.floor(v)
    for _ in range(STEPS):
        (p, along_u, fast), (q, along_v, slow) = course.spot(u), course.spot(v)
        miss = q - p
        cross = (along_u.conjugate() * along_v).imag
        if abs(miss) < WITHIN**2 or cross == 0:
            break
        u += (miss.conjugate() * along_v).imag / cross / fast
        v += (miss.conjugate() * along_u).imag / cross / slow
        u, v = min(max(u, low), low + 1 - BESIDE_JOINT), min(max(v, high), high + 1 - BESIDE_JOINT)
    (p, came, fast), (q, goes, slow) = course.spot(u), course.spot(v)
    if abs(q - p) > NEARLY or min(fast, slow) <= 0 or not u < v:
        return None
    return _Loop(u, v, cmath.phase(goes / came))


# Cubics along a course


def _onwards(course: Course, low: float, high: float, tolerance: float) -> list[Cubic] | None:
    """Cubics along a course from one place on to another, with arcs round its joints."""
    made: list[Cubic] = []
    joints = range(math.floor(low + WITHIN) + 1, math.ceil(high - WITHIN))
    for a, b in zip([low, *joints], [*joints, high], strict=True):
        if b - a > WITHIN:
            part = _through(course, a, b, tolerance, HALVINGS)
            if part is None:
                return None
            made.extend(part)
        if b in joints:
            made.extend(_round_joint(course, int(b)))
    return made


def _round_joint(course: Course, k: int) -> Iterator[Cubic]:
    """An arc round a joint at which the course turns away from its source, if it is long enough."""
    (a, came, _), (b, goes, _) = course.spot(k - BESIDE_JOINT), course.spot(k + BESIDE_JOINT)
    gap = course.distance * cmath.phase(goes / came)
    if gap >= SHORT_GAP:
        handle = gap / 3
        yield Cubic(a, a + handle * came, b - handle * goes, b)


def _through(
    course: Course, low: float, high: float, tolerance: float, halvings: int
) -> list[Cubic] | None:
    """Cubics within tolerance of a course between two places on one of its cubics.

    Nothing for a speck: a course may turn within that as it likes.
    """
    inside = BESIDE_JOINT * (high - low)  # so that both ends are on the one cubic
    (a, goes, fast), (b, comes, arrives) = course.spot(low + inside), course.spot(high - inside)
    held = [course.spot(low + (high - low) * t) for t in HELD]
    if max(abs(p - a) for p, _, _ in (*held, (b, comes, arrives))) <= SPECK * tolerance:
        return []
    source = abs(course.cubic_at(low + inside).derivative(0.5))
    if min(fast, arrives, *(speed for _, _, speed in held)) > SLOW * source:
        third = (high - low) / 3
        one = Cubic(a, a + third * fast * goes, b - third * arrives * comes, b)
        if all(abs(one.point(t) - p) <= tolerance for t, (p, _, _) in zip(HELD, held, strict=True)):
            return [one]
    if halvings == 0:
        return None
    half = (low + high) / 2
    head = _through(course, low, half, tolerance, halvings - 1)
    tail = None if head is None else _through(course, half, high, tolerance, halvings - 1)
    return None if head is None or tail is None else head + tail


# Ends


def _ended(
    run: Sequence[Along], start: complex, end: complex, tolerance: float
) -> list[Along] | None:
    """Cubics joined up, the first and last led to these ends; None where they lie aside."""
    made: list[Along] = []
    for one in run:
        here = made[-1].cubic.end if made else one.cubic.start
        if abs(here - one.cubic.start) <= WITHIN:
            part: list[Cubic] | None = [replace(one.cubic, start=here)]
        else:
            part = _led_from(one.cubic, here, tolerance)
        if part is None:
            return None
        made.extend(Along(c, one.corner and i == 0) for i, c in enumerate(part))
    led = _led(made, start, tolerance)
    back = led and _led(_reversed(led), end, tolerance)
    return _reversed(back) if back else None


def _led(run: Sequence[Along], start: complex, tolerance: float) -> list[Along] | None:
    """The run led from a place; what of it lies before the place is left out."""
    for i, one in enumerate(run):
        led = _led_from(one.cubic, start, tolerance)
        if led is not None:
            return [*map(Along, led), *run[i + 1 :]]
        beyond = ((one.cubic.end - start) * one.cubic.tangent(1.0).conjugate()).real <= 0
        if not beyond or (i + 1 < len(run) and run[i + 1].corner):
            break
    return None


def _reversed(run: Sequence[Along]) -> list[Along]:
    """Travelled the other way round: a corner at a start is one at an end."""
    ends = [*(one.corner for one in run[1:]), False]
    return [
        Along(one.cubic.reversed(), corner)
        for one, corner in zip(run[::-1], [False, *ends[:-1][::-1]], strict=True)
    ]


def _led_from(first: Cubic, start: complex, tolerance: float) -> list[Cubic] | None:
    """The cubic with its first LEAD mm led from a place before it, after it or beside."""
    rest: list[Cubic] = []
    share = LEAD / max(first.length(), LEAD)
    if share < 0.5:
        first, tail = first.split(share)
        rest = [tail]
    way = first.tangent(0.0)
    off, reach = start - first.start, first.end - start
    if abs((off * way.conjugate()).imag) > tolerance or (reach * way.conjugate()).real <= 0:
        return None
    stretched = abs(reach) / abs(first.end - first.start)
    leaves = start + (first.control1 - first.start) * stretched
    comes = first.end + (first.control2 - first.end) * stretched
    return [Cubic(start, leaves, comes, first.end), *rest]
