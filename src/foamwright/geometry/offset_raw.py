"""The raw parallel of a closed path: every element's own parallel and every joint's join.

Terms.  The path here is of lines and arcs and is followed with the material on its left; its raw
parallel lies `reach` mm (above 0) to its right.  An *element* is one line or arc of the raw
parallel: the `parallel` of a source segment, a `join` round or across an outside corner, or
`inner`, a stretch that bridges what can't be part of the result (at an inside corner, and the
parallel of an arc whose radius is less than the reach).
Where the raw parallel runs through itself is no matter here: `offset_fill.py` sees to it.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

from foamwright.geometry.path import CORNER_ANGLE, Path
from foamwright.geometry.segments import Arc, Line, Segment, line_or_arc

Join: TypeAlias = Literal["round", "mitre", "bevel"]
Role: TypeAlias = Literal["parallel", "join", "inner"]

#: A segment shorter than this makes a cutter stutter, mm; only a round join may be.
SLIVER = 0.05
#: Two parallels may meet away from their own ends by at most this share of either's length.
SHIFT_SHARE = 0.25
#: At an inside corner sharper than this the raw parallel goes round the corner's disc, which is
#: part of the result in any case; a source that runs over itself by a hair there does no harm then.
CUSP_TURN = math.radians(150)
#: No joint sharper than this is ever healed by moving ends, radians.
HEAL_TURN = math.radians(60)
#: Lengths below this are rounding of doubles for sizes up to some metres, mm.
TINY = 1e-10


@dataclass(frozen=True, slots=True)
class Element:
    """A line or arc of the raw parallel.

    source: index of the segment it is parallel to, or of the joint that it joins.
    sharp: it ends at a corner of the result where the next element follows on naturally; an
    inner one: it stands for an inside corner of the source.
    """

    curve: Line | Arc
    role: Role
    source: int
    sharp: bool = False


@dataclass(slots=True)
class _Parallel:
    """A source segment's parallel while its ends are still being settled."""

    segment: Line | Arc
    start: complex
    end: complex
    radius: float  # of the parallel, below 0: turned inside out; infinite for a line
    sweep: float  # of the segment, radians
    goes: complex  # direction of travel at the start
    came: complex  # and at the end
    length: float
    gain_start: float = 0.0  # how far the ends move out along the curve, mm
    gain_end: float = 0.0

    @property
    def inside_out(self) -> bool:
        return self.radius <= TINY

    @property
    def leaves_corner(self) -> bool:
        """An arc that shrank to a point, so that its neighbours meet at a corner."""
        return (
            isinstance(self.segment, Arc)
            and abs(self.end - self.start) <= TINY
            and abs(self.sweep) > math.radians(CORNER_ANGLE)
        )

    def curve(self) -> Line | Arc | None:
        """The parallel with its ends moved; None where nothing is left of it."""
        if abs(self.end - self.start) <= TINY:
            return None
        if isinstance(self.segment, Line):
            return Line(self.start, self.end)
        gain = 0.0
        if self.gain_start or self.gain_end:
            gain = math.atan(self.gain_start / self.radius) + math.atan(self.gain_end / self.radius)
        sweep = math.copysign(abs(self.sweep) + gain, self.segment.bulge)
        return line_or_arc(self.start, self.end, math.tan(sweep / 4))


def _parallel(segment: Segment, reach: float) -> _Parallel:
    if not isinstance(segment, Line | Arc):
        raise TypeError("a raw parallel is of lines and arcs only")
    if isinstance(segment, Line):
        size = segment.length()
        way = (segment.end - segment.start) / size
        aside = -1j * reach * way
        ends = segment.start + aside, segment.end + aside
        return _Parallel(segment, *ends, math.inf, 0.0, way, way, size)
    sweep = segment.sweep
    chord = segment.end - segment.start
    chord /= abs(chord)
    goes, came = chord * cmath.rect(1.0, -sweep / 2), chord * cmath.rect(1.0, sweep / 2)
    ends = segment.start - 1j * reach * goes, segment.end - 1j * reach * came
    radius = segment.radius + math.copysign(reach, segment.bulge)
    return _Parallel(segment, *ends, radius, sweep, goes, came, abs(sweep * radius))


@dataclass(frozen=True, slots=True)
class Joining:
    """How joints are joined: the reach and tolerance in mm, the style at outside corners."""

    reach: float
    tolerance: float
    join: Join
    mitre_limit: float


def raw_parallel(path: Path, how: Joining) -> tuple[Element, ...]:
    """The elements of the raw parallel in the order of travel, each starting where one ends."""
    parallels = [_parallel(s, how.reach) for s in path.segments]
    joins: list[list[Element]] = []
    sharp: list[bool] = []
    for j in range(len(parallels)):
        made, meets_sharp = _joint(parallels[j - 1], parallels[j], j, j in path.corners, how)
        joins.append(made)
        sharp.append(meets_sharp)
    return tuple(_in_order(parallels, joins, sharp))


def _in_order(
    parallels: list[_Parallel], joins: list[list[Element]], sharp: list[bool]
) -> Iterator[Element]:
    n = len(parallels)
    for k, p in enumerate(parallels):
        yield from joins[k]
        curve = p.curve()
        if curve is not None:
            role: Role = "inner" if p.inside_out else "parallel"
            following = (k + 1) % n
            yield Element(curve, role, k, sharp[following] or parallels[following].leaves_corner)


def _joint(
    before: _Parallel, after: _Parallel, joint: int, corner: bool, how: Joining
) -> tuple[list[Element], bool]:
    """What lies between two neighbours' parallels, and whether they meet there at a corner.

    May move the end of one and the start of the other to where they meet.
    """
    came, goes = before.came, after.goes
    turn = cmath.phase(goes / came)
    if turn < -CUSP_TURN:
        turn += 2 * math.pi
    if _heals(before, after, turn, corner, how):
        _meet(before, after, _apex(after, came, goes, how.reach), how.reach, turn)
        return [], corner
    here, there = before.end, after.start
    if abs(here - there) <= TINY:
        return [], False
    if turn < 0:
        return [Element(Line(here, there), "inner", joint, corner)], False
    if how.join == "round" or turn > math.pi:
        return [Element(Arc(here, there, math.tan(turn / 4)), "join", joint)], False
    if how.join == "mitre" and math.cos(turn / 2) * how.mitre_limit >= 1:
        apex = _apex(after, came, goes, how.reach)
        return _mitre(before, after, joint, (apex, apex))
    if how.join == "mitre" and how.mitre_limit > 1:
        on = how.reach * (how.mitre_limit - math.cos(turn / 2)) / math.sin(turn / 2)
        return _mitre(before, after, joint, (here + came * on, there - goes * on))
    return [Element(Line(here, there), "join", joint, True)], True


def _apex(after: _Parallel, came: complex, goes: complex, reach: float) -> complex:
    """Where the tangents to two neighbours' parallels at their shared joint cross."""
    dot = (came * goes.conjugate()).real
    return after.segment.start - 1j * reach * (came + goes) / (1 + dot)


def _heals(before: _Parallel, after: _Parallel, turn: float, corner: bool, how: Joining) -> bool:
    """Whether the parallels' ends may move to one place within a quarter of the tolerance."""
    shift = how.reach * math.tan(abs(turn) / 2) if abs(turn) < HEAL_TURN else math.inf
    if shift <= TINY:
        return True
    if before.inside_out or after.inside_out:
        return False
    if shift > SHIFT_SHARE * min(before.length, after.length):
        return False
    if corner and (turn < 0 or how.reach * turn >= SLIVER):
        return False
    return how.reach * (1 / math.cos(turn / 2) - 1) <= how.tolerance / 4


def _meet(before: _Parallel, after: _Parallel, spot: complex, reach: float, turn: float) -> None:
    gain = reach * math.tan(turn / 2) if abs(turn) * reach > TINY else 0.0
    before.end, before.gain_end = spot, gain
    after.start, after.gain_start = spot, gain


def _mitre(
    before: _Parallel, after: _Parallel, joint: int, ends: tuple[complex, complex]
) -> tuple[list[Element], bool]:
    """Lines run on to the apex (or to where it is cut square); an arc runs on along its tangent."""
    made = []
    first, second = ends
    if isinstance(before.segment, Line):
        before.end = first
    else:
        made.append(Element(Line(before.end, first), "join", joint, True))
    if first != second:
        made.append(Element(Line(first, second), "join", joint, True))
    if isinstance(after.segment, Line):
        after.start = second
    else:
        made.append(Element(Line(second, after.start), "join", joint))
    return made, isinstance(before.segment, Line)
