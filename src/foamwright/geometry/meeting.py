"""Where two runs meet that end short of, or beyond, one another.

A run goes on beyond its end as it bends there: a line straight, an arc along its circle, a cubic
along the circle of curvature at its end; or straight, where they don't meet so.  Found by Newton's
method on how far each goes on.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace

from foamwright.geometry.segments import Arc, Cubic, Line, Segment, line_or_arc

#: Sine of the least angle at which two runs meet.
LEAST_ANGLE = 0.01
#: Newton's steps, and the gap in mm at which two places are one.
STEPS, MET = 40, 1e-10
#: How much of a run may be left out where the two cross before their ends, as a part of it.
MOST_LEFT_OUT = 0.95
#: Curvatures below this, 1/mm, are straight.
STRAIGHT = 1e-12

Runs = tuple[tuple[Segment, ...], tuple[Segment, ...]]


@dataclass(frozen=True, slots=True)
class _Run:
    """A segment that goes on beyond its end with a curvature, 1/mm, positive to the left."""

    segment: Segment
    bend: float

    def at(self, beyond: float) -> tuple[complex, complex]:
        """The place and direction so many mm beyond its end, or before it."""
        s = self.segment
        if beyond <= 0:
            t = s.at_length(max(0.0, s.length() + beyond))
            return s.point(t), s.tangent(t)
        along = s.tangent(1.0)
        if abs(self.bend) < STRAIGHT:
            return s.end + along * beyond, along
        turned = cmath.rect(1.0, self.bend * beyond)
        return s.end + along * (turned - 1) / (1j * self.bend), along * turned

    def up_to(self, beyond: float, corner: complex) -> tuple[Segment, ...]:
        """The run as far as there."""
        s = self.segment
        if isinstance(s, Line):
            return (Line(s.start, corner),)
        if isinstance(s, Arc) and (beyond <= 0 or self.bend):
            sweep = s.sweep * (1 + beyond / s.length())
            return (line_or_arc(s.start, corner, math.tan(sweep / 4)),)
        if beyond > 0:
            return (s, line_or_arc(s.end, corner, math.tan(beyond * self.bend / 4)))
        assert isinstance(s, Cubic)
        head = s.split(s.at_length(s.length() + beyond))[0] if beyond < 0 else s
        return (replace(head, end=corner),)


def meeting(before: Segment, after: Segment, reach: float) -> Runs | None:
    """The first up to where both meet, and the second from there; None where they don't.

    reach: how far each may go on, mm.
    """
    ends = before, after.reversed()
    for bends in (tuple(map(_curvature, ends)), (0.0, 0.0)):
        one, other = (_Run(s, bend) for s, bend in zip(ends, bends, strict=True))
        found = _solved(one, other, reach)
        if found is not None:
            corner = (one.at(found[0])[0] + other.at(found[1])[0]) / 2
            head = one.up_to(found[0], corner)
            tail = tuple(s.reversed() for s in reversed(other.up_to(found[1], corner)))
            return head, tail
    return None


def _solved(one: _Run, other: _Run, reach: float) -> tuple[float, float] | None:
    """How far beyond their ends the two meet, nearest first tried; before them: less than 0."""
    least = [-MOST_LEFT_OUT * run.segment.length() for run in (one, other)]
    best: tuple[float, float] | None = None
    for start in _guesses(one, other):
        a, b = start
        for _ in range(STEPS):
            a, b = (min(max(v, low), reach) for v, low in zip((a, b), least, strict=True))
            (p, u), (q, v) = one.at(a), other.at(b)
            sine = (u.conjugate() * v).imag
            if abs(sine) < LEAST_ANGLE:
                break
            gap = q - p
            da, db = (gap.conjugate() * v).imag / sine, (gap.conjugate() * u).imag / sine
            a, b = a + da, b + db
            if abs(da) + abs(db) < MET:
                inside = all(low <= w <= reach for w, low in zip((a, b), least, strict=True))
                if inside and (best is None or abs(a) + abs(b) < abs(best[0]) + abs(best[1])):
                    best = (a, b)
                break
    return best


def _guesses(one: _Run, other: _Run) -> list[tuple[float, float]]:
    size = abs(one.segment.end - other.segment.end)
    return [(a * size, b * size) for a in (0, 1, -1) for b in (0, 1, -1)]


def _curvature(s: Segment) -> float:
    """At its end, 1/mm, positive to the left."""
    if isinstance(s, Line):
        return 0.0
    if isinstance(s, Arc):
        return math.copysign(1 / s.radius, s.bulge)
    first, second = s.derivative(1.0), s.second_derivative(1.0)
    speed = abs(first)
    return 0.0 if speed == 0 else (first.conjugate() * second).imag / speed**3
