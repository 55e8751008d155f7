"""Bites out of an outline: notches and bend reliefs, placed by arc length and set in all at once.

A bite replaces the run of the cut line between two arc lengths by a polyline (or arcs) that reaches
into the material.  Does not know the job: see `notches.py`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from foamwright.geometry.path import Path, joined
from foamwright.geometry.segments import Arc, Line, Segment

BiteShape: TypeAlias = Literal["v", "castle", "u", "slit", "dart"]


class BitesMeetError(Exception):
    """Two bites overlap, or one is wider than the outline."""


@dataclass(frozen=True, slots=True)
class Bite:
    """middle: arc length on the cut line, mm; width along it; depth into the material, mm.

    A slit takes nothing out of the line: its width is what it keeps to itself.  A dart's legs are
    equal, and relief is the radius of the round hole about its point.  ring: the name of the line,
    empty for the outline.
    """

    name: str
    shape: BiteShape
    middle: float
    width: float
    depth: float
    ring: str = ""
    relief: float = 0.0


def bitten(line: Path, bites: Sequence[Bite]) -> Path:
    """The closed line with every bite set in. Raises BitesMeetError."""
    total = line.length
    order = sorted(bites, key=lambda b: b.middle % total)
    _must_keep_apart(order, total)
    order = [b for b in order if b.shape != "slit"]
    if not order:
        return line
    ends = [_ends(b, total) for b in order]
    runs: list[Path] = []
    for k, bite in enumerate(order):
        start = line.point_at(ends[k][0] % total)
        end = line.point_at(ends[k][1] % total)
        runs.append(_bite_path(bite, start, end, _inward(line, bite.middle % total)))
        following = ends[(k + 1) % len(ends)][0]
        runs.append(_between(line, ends[k][1], following))
    return _meeting(runs)


def _ends(bite: Bite, total: float) -> tuple[float, float]:
    middle = bite.middle % total
    return middle - bite.width / 2, middle + bite.width / 2


def _must_keep_apart(order: Sequence[Bite], total: float) -> None:
    for k, bite in enumerate(order):
        last = k == len(order) - 1
        following = order[0 if last else k + 1]
        if _ends(bite, total)[1] >= _ends(following, total)[0] + (total if last else 0.0):
            raise BitesMeetError(f"{bite.name} and {following.name} overlap on the outline")


def _between(line: Path, start: float, end: float) -> Path:
    total = line.length
    start %= total
    end %= total
    return line.between(start, end if end > start else end + total)


def _inward(line: Path, at: float) -> complex:
    """Unit vector into the material (left of travel)."""
    return 1j * line.tangent_at(at)


def _bite_path(bite: Bite, start: complex, end: complex, inward: complex) -> Path:
    middle = (start + end) / 2
    made: list[Segment]
    if bite.shape == "v":
        made = [Line(start, middle + inward * bite.depth), Line(middle + inward * bite.depth, end)]
    elif bite.shape == "dart":
        made = _dart(start, end, bite.depth, bite.relief)
    elif bite.shape == "castle":
        a, b = start + inward * bite.depth, end + inward * bite.depth
        made = [Line(start, a), Line(a, b), Line(b, end)]
    else:
        straight = max(0.0, bite.depth - bite.width / 2)
        a, b = start + inward * straight, end + inward * straight
        bulge = _bulge_to(a, b, inward, bite.depth - straight)
        made = [s for s in (Line(start, a), Arc(a, b, bulge), Line(b, end)) if s.start != s.end]
    return Path.of(made, closed=False)


def _dart(start: complex, end: complex, depth: float, relief: float) -> list[Segment]:
    """Equal legs to a point before the middle of the mouth, with a round hole about it."""
    inward = 1j * (end - start) / abs(end - start)
    point = (start + end) / 2 + inward * depth
    if relief <= 0:
        return [Line(start, point), Line(point, end)]
    legs = [(p - point) / abs(p - point) for p in (start, end)]
    lean = math.atan2(abs(end - start) / 2, depth)
    bulge = -math.tan((math.pi - lean) / 4)
    top = point + inward * relief
    a, b = (point + leg * relief for leg in legs)
    return [Line(start, a), Arc(a, top, bulge), Arc(top, b, bulge), Line(b, end)]


def _bulge_to(start: complex, end: complex, inward: complex, rise: float) -> float:
    """Bulge of the arc over a chord whose top lies `rise` mm to the side of `inward`."""
    bulge = 2 * rise / abs(end - start)
    side = (inward * (end - start).conjugate()).imag
    return math.copysign(min(bulge, 1.0), -side)


def _meeting(runs: Sequence[Path]) -> Path:
    """Runs joined into a closed path; ends that rounding parted are set on one another."""
    fixed = []
    for k, run in enumerate(runs):
        following = runs[(k + 1) % len(runs)]
        fixed.append(_ending_at(run, following.start))
    return joined(fixed, closed=True)


def _ending_at(run: Path, end: complex) -> Path:
    last = run.segments[-1]
    if last.end == end:
        return run
    moved: Segment
    if isinstance(last, Line):
        moved = Line(last.start, end)
    elif isinstance(last, Arc):
        moved = Arc(last.start, end, last.bulge)
    else:
        moved = type(last)(last.start, last.control1, last.control2, end)
    return Path((*run.segments[:-1], moved), run.closed, run.corners)
