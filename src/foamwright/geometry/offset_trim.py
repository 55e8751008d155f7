"""Rings of runs made into exact paths: every run is its element, trimmed where it meets the next.

Two elements that follow each other by nature meet at their shared end.  Two that don't cross, and
the crossing of the exact lines and circles nearest the polygon's vertex is the corner.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from foamwright.geometry.offset_fill import Ring, Run
from foamwright.geometry.offset_raw import SLIVER, TINY, Element
from foamwright.geometry.path import CORNER_ANGLE, Path, turn_degrees
from foamwright.geometry.segments import Arc, Line, line_or_arc


@dataclass(frozen=True, slots=True)
class _Piece:
    """A run with its exact curve; whole: the element untrimmed.

    sharp: a corner at its start, if it turns enough there; known: it does, however little.
    """

    run: Run
    curve: Line | Arc | None
    whole: bool
    sharp: bool
    known: bool


@dataclass(frozen=True, slots=True)
class Trimmed:
    """An exact path; elements: for each of its segments the element it was cut from."""

    path: Path
    elements: tuple[int, ...]


def exact_path(
    ring: Ring, elements: Sequence[Element], tolerance: float, sliver: float = SLIVER
) -> Trimmed | None:
    """The ring as lines and arcs with its corners marked; None where too little is left of it.

    Begins with the earliest element.  A piece shorter than `sliver` mm is left out where its
    neighbours, run on, meet within half of the tolerance of it; round joins stay.
    """
    runs = _merged([r for r in ring.runs if _counts(r, elements)])
    while len(runs) >= 2:
        pieces = _trimmed(runs, elements)
        k = _superfluous(pieces, elements, tolerance, sliver)
        if k is None:
            return Trimmed(_path(pieces), tuple(p.run.element for p in pieces))
        runs = _merged(runs[:k] + runs[k + 1 :])
    return None


def _counts(run: Run, elements: Sequence[Element]) -> bool:
    if elements[run.element].role == "inner":
        return False
    return abs(run.ends - run.begins) > TINY or (run.own_start and run.own_end)


def _merged(runs: Sequence[Run]) -> list[Run]:
    """Neighbouring runs of one element, parted by what was left out, are one run."""
    made: list[Run] = []
    for r in runs:
        if made and made[-1].element == r.element:
            made[-1] = replace(made[-1], ends=r.ends, own_end=r.own_end)
        else:
            made.append(r)
    if len(made) > 2 and made[0].element == made[-1].element:
        tail = made.pop()
        made[0] = replace(made[0], begins=tail.begins, own_start=tail.own_start)
    first = min(range(len(made)), key=lambda i: made[i].element, default=0)
    return made[first:] + made[:first]


def _follows(a: Run, b: Run, count: int) -> bool:
    """Whether b comes after a by nature."""
    return a.own_end and b.own_start and b.element == (a.element + 1) % count


def _trimmed(runs: Sequence[Run], elements: Sequence[Element]) -> list[_Piece]:
    count = len(elements)
    spots, natural = [], []
    for i, b in enumerate(runs):
        a = runs[i - 1]
        natural.append(_follows(a, b, count))
        if natural[-1]:
            spots.append(elements[b.element].curve.start)
        else:
            near = (a.ends + b.begins) / 2
            spots.append(crossing(elements[a.element].curve, elements[b.element].curve, near))
    made = []
    for i, r in enumerate(runs):
        j = (i + 1) % len(runs)
        curve = elements[r.element].curve
        whole = natural[i] and natural[j]
        cut = curve if whole else _cut(curve, spots[i], spots[j], r)
        sharp = not natural[i] or elements[runs[i - 1].element].sharp
        known = r.own_start or _at_corner(runs[i - 1], r, elements)
        made.append(_Piece(r, cut, whole, sharp, known))
    return made


def _at_corner(a: Run, b: Run, elements: Sequence[Element]) -> bool:
    """Whether two runs cross because the source has an inside corner between them."""
    count = len(elements)
    between = elements[(a.element + 1) % count]
    follows = b.element == (a.element + 2) % count
    return follows and between.role == "inner" and between.sharp


def _cut(curve: Line | Arc, start: complex, end: complex, run: Run) -> Line | Arc | None:
    """The stretch of a curve from one spot to another; None where it would run backwards."""
    if abs(end - start) <= TINY:
        return None
    if isinstance(curve, Line):
        way = ((end - start) * curve.tangent(0.0).conjugate()).real
        return Line(start, end) if way > 0 else None
    centre = curve.centre
    way = math.copysign(1.0, curve.bulge)
    rough = cmath.phase((run.ends - centre) / (run.begins - centre)) * way % (2 * math.pi)
    sweep = cmath.phase((end - centre) / (start - centre)) * way
    sweep += 2 * math.pi * round((rough - sweep) / (2 * math.pi))
    return line_or_arc(start, end, way * math.tan(sweep / 4)) if sweep > 0 else None


def _superfluous(
    pieces: Sequence[_Piece], elements: Sequence[Element], tolerance: float, sliver: float
) -> int | None:
    """A piece that has vanished, or a sliver that its neighbours can do without."""
    n = len(pieces)
    for i, p in enumerate(pieces):
        if p.curve is None:
            return i
        if n < 4 or not _may_go(p, elements) or p.curve.length() >= sliver:
            continue
        a = elements[pieces[i - 1].run.element].curve
        b = elements[pieces[(i + 1) % n].run.element].curve
        ends = p.curve.start, p.curve.point(0.5), p.curve.end
        if any(_beside(x, ends) < tolerance / 2 for x in _crossings(a, b)):
            return i
    return None


def _may_go(p: _Piece, elements: Sequence[Element]) -> bool:
    """Not a round join, nor the whole of what the source itself has, unless the reach shrank it."""
    is_arc = isinstance(p.curve, Arc)
    if elements[p.run.element].role == "join" and is_arc:
        return False
    return not p.whole or (isinstance(p.curve, Arc) and p.curve.bulge < 0)


def _beside(p: complex, ends: Sequence[complex]) -> float:
    """How far a place lies from the lines through these points, mm."""
    return min(abs(p - a - _share(p, a, b) * (b - a)) for a, b in pairwise(ends))


def _share(p: complex, a: complex, b: complex) -> float:
    """Where on the line from a to b its nearest place to p lies, 0..1."""
    way = b - a
    along = ((p - a) * way.conjugate()).real
    return min(1.0, max(0.0, along / abs(way) ** 2)) if way else 0.0


def _path(pieces: Sequence[_Piece]) -> Path:
    curves = [p.curve for p in pieces if p.curve is not None]
    corners = set()
    for i, p in enumerate(pieces):
        if p.sharp:
            turn = turn_degrees(curves[i - 1].tangent(1.0), curves[i].tangent(0.0))
            if p.known or abs(turn) > CORNER_ANGLE:
                corners.add(i)
    return Path(tuple(curves), True, frozenset(corners))


# Crossings of lines and circles


def crossing(a: Line | Arc, b: Line | Arc, near: complex) -> complex:
    """The crossing of two curves' lines or circles nearest to a place.

    Where they don't meet, the place half-way between their nearest points to it.
    """
    found = list(_crossings(a, b))
    if found:
        return min(found, key=lambda p: abs(p - near))
    return (_foot(a, near) + _foot(b, near)) / 2


def _crossings(a: Line | Arc, b: Line | Arc) -> Iterator[complex]:
    if isinstance(a, Line) and isinstance(b, Line):
        yield from _line_line(a, b)
    elif isinstance(a, Line) and isinstance(b, Arc):
        yield from _line_circle(a, b)
    elif isinstance(a, Arc) and isinstance(b, Line):
        yield from _line_circle(b, a)
    elif isinstance(a, Arc) and isinstance(b, Arc):
        yield from _circle_circle(a, b)


def _line_line(a: Line, b: Line) -> Iterator[complex]:
    u, v = a.tangent(0.0), b.tangent(0.0)
    cross = (u.conjugate() * v).imag
    if abs(cross) > 1e-9:
        yield a.start + u * ((b.start - a.start).conjugate() * v).imag / cross


def _line_circle(a: Line, b: Arc) -> Iterator[complex]:
    u, centre, r = a.tangent(0.0), b.centre, b.radius
    foot = a.start + u * ((centre - a.start) * u.conjugate()).real
    off = abs(centre - foot)
    if off <= r:
        half = math.sqrt((r - off) * (r + off))
        yield foot + u * half
        yield foot - u * half


def _circle_circle(a: Arc, b: Arc) -> Iterator[complex]:
    p, r, q, s = a.centre, a.radius, b.centre, b.radius
    gap = abs(q - p)
    if gap <= TINY:
        return
    along = (gap + (r - s) * (r + s) / gap) / 2
    square = (r - along) * (r + along)
    if square >= 0:
        u = (q - p) / gap
        half = 1j * u * math.sqrt(square)
        yield p + u * along + half
        yield p + u * along - half


def _foot(curve: Line | Arc, p: complex) -> complex:
    """The nearest place to p on the line or circle."""
    if isinstance(curve, Line):
        u = curve.tangent(0.0)
        return curve.start + u * ((p - curve.start) * u.conjugate()).real
    spoke = p - curve.centre
    return curve.centre + spoke * (curve.radius / abs(spoke)) if spoke else curve.start
