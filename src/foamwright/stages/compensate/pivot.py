"""Where the pivot of a swivel blade must run for its tip to run along a path.

Pivot = tip + e x unit tangent, e the blade offset.  A line shifts along itself; an arc of radius R
becomes the concentric arc of radius sqrt(R^2 + e^2); a cubic becomes cubics within CURVE_EPS.
At a corner the pivot swings about the resting tip on radius e through the turn.  At a kink too
small to be a corner it cuts across, from d before to d after, which moves the tip by less than
d x turn / 3: a sidestep of a few microns, square to the travel, would make the machine stutter.
Does not lay run-ins and does not fit.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

#: mm that cutting across a kink may move the tip.
BRIDGED = 0.001
#: mm by which the line across a kink may pass the kink beside half its sidestep: 1.5 x BRIDGED
#: where the pivot's way is straight, the rest for a bend.
STRAIGHT = 2 * BRIDGED
#: mm between two pivot places that count as one.
SAME_PLACE = 2e-4
#: mm that the cubics may lie off the pivot's true curve.
CURVE_EPS = 1e-4
#: Halvings of a cubic at most.
DEEPEST = 24
#: mm of a curve that is a corner to the blade where it turns fast: the tip rests, the pivot swings.
POINT = 5e-4
#: How far (parameter) from a stop of a cubic its speed and bend are taken instead.
NUDGE = 1e-5


def pivot_segments(tip: Path, offset: float, swivel_angle: float) -> tuple[Segment, ...]:
    """The pivot's way while the tip runs along an open path.

    swivel_angle: degrees; a kink that turns more is swung through even where it is no corner.
    """
    made: list[Segment] = []
    for i, s in enumerate(tip.segments):
        ahead = list(_ahead(s, offset))
        if i > 0:
            before, after = tip.segments[i - 1].tangent(1.0), s.tangent(0.0)
            turn = abs(turn_degrees(before, after))
            if i in tip.corners or turn > swivel_angle:
                made.extend(swing(s.start, before, after, offset))
            elif offset * math.radians(turn) > SAME_PLACE:
                reach = min(offset, 3 * BRIDGED / math.radians(turn))
                _cut_across(made, ahead, reach)
        made.extend(ahead)
    return tuple(end_to_end(made))


def swing(tip: complex, before: complex, after: complex, offset: float) -> tuple[Segment, ...]:
    """The pivot's arc about a resting tip from one heading to another, the shorter way round."""
    turn = math.radians(turn_degrees(before, after))
    if offset * abs(turn) <= SAME_PLACE:
        return ()
    return (Arc(tip + offset * before, tip + offset * after, math.tan(turn / 4)),)


def end_to_end(segments: list[Segment]) -> list[Segment]:
    """The segments with each start brought onto the end before it."""
    made: list[Segment] = []
    for s in segments:
        made.append(_from(made[-1].end, s) if made else s)
    return made


def _from(start: complex, s: Segment) -> Segment:
    if isinstance(s, Arc):
        return Arc(start, s.end, s.bulge)
    if isinstance(s, Cubic):
        return Cubic(start, s.control1, s.control2, s.end)
    return Line(start, s.end)


def _cut_across(made: list[Segment], ahead: list[Segment], reach: float) -> None:
    """Ends `made` and begins `ahead` up to reach mm from a kink, with a line between them.

    Where the pivot's way bends there, the line is shortened until it cuts that bend by little.
    """
    last, first = made[-1], ahead[0]
    gap = abs(first.start - last.end)
    while reach > gap:
        back = last.split(last.at_length(last.length() - min(reach, last.length() / 3)))[0]
        on = first.split(first.at_length(min(reach, first.length() / 3)))[1]
        bow = max(_beside(p, back.end, on.start) for p in (last.end, first.start))
        if bow <= gap / 2 + STRAIGHT:
            made[-1], ahead[0] = back, on
            break
        reach /= 2
    made.append(Line(made[-1].end, ahead[0].start))


def _beside(p: complex, start: complex, end: complex) -> float:
    """Distance of p from the straight line through two points, mm."""
    along = (end - start) / abs(end - start)
    return abs(((p - start) * along.conjugate()).imag)


def _ahead(s: Segment, offset: float) -> Iterator[Segment]:
    """The pivot's way along one segment of the tip's."""
    if isinstance(s, Cubic):
        yield from _ahead_of_cubic(s, offset, 0.0, 1.0, 0)
        return
    start = s.start + offset * s.tangent(0.0)
    end = s.end + offset * s.tangent(1.0)
    yield Arc(start, end, s.bulge) if isinstance(s, Arc) else Line(start, end)


def _ahead_of_cubic(s: Cubic, offset: float, a: float, b: float, depth: int) -> Iterator[Segment]:
    """Hermite cubics on the curve B + e t, halved until they lie on it; a swing at a sharp turn."""
    start, end = (s.point(u) + offset * s.tangent(u) for u in (a, b))
    third = (b - a) / 3
    guess = Cubic(
        start,
        start + third * _velocity(s, offset, a),
        end - third * _velocity(s, offset, b),
        end,
    )
    misses = []
    for part in (0.25, 0.5, 0.75):
        u = a + (b - a) * part
        misses.append(abs(guess.point(part) - s.point(u) - offset * s.tangent(u)))
    middle = (a + b) / 2
    if depth >= DEEPEST or (depth > 0 and max(misses) <= CURVE_EPS):
        yield guess
        return
    tips = [s.point(u) for u in (a, middle, b)]
    if abs(tips[1] - tips[0]) + abs(tips[2] - tips[1]) <= POINT:
        turn = turn_degrees(s.tangent(a), s.tangent(b))
        yield Arc(start, end, math.tan(math.radians(turn) / 4))
        return
    yield from _ahead_of_cubic(s, offset, a, middle, depth + 1)
    yield from _ahead_of_cubic(s, offset, middle, b, depth + 1)


def _velocity(s: Cubic, offset: float, u: float) -> complex:
    """Derivative of B + e t: B' + e (B' x B'') / |B'|^2 times the left normal."""
    d = s.derivative(u)
    if abs(d) < NUDGE * (abs(s.control2 - s.start) + abs(s.end - s.control1)):
        u = min(max(u, NUDGE), 1 - NUDGE)
        d = s.derivative(u)
    if d == 0:
        return 0j
    dd = s.second_derivative(u)
    turning = (d.real * dd.imag - d.imag * dd.real) / abs(d) ** 2
    return d + offset * turning * 1j * d / abs(d)
