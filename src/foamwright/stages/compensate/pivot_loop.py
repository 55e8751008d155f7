"""A closed contour's pivot loop, and the places where it may be entered.

The loop is fitted once for all copies of a shape.  A *spot* is a place on it with what the blade
does there: where the tip meets the contour and how it stands, and the same where the overlap ends.
An entry by a spot is a run-in (or a swing, where the blade is set down on its line), the loop from
the spot once round and past it by the overlap, and a swing to the heading in which the blade is
parked.  Does not know which entry is best: `order` does.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.model import Entry, Tool
from foamwright.stages.compensate.contours import KEPT, Contour, fitted, share, written
from foamwright.stages.compensate.ground import Ground
from foamwright.stages.compensate.pivot import end_to_end, pivot_segments, swing
from foamwright.stages.compensate.places import places
from foamwright.stages.compensate.run_in import PARKED, SHARP_CORNER, clear_stroke

#: Degrees of turn above which a joint of the pivot path is kept as a corner by the fit.
PIVOT_CORNER = 1.0
#: mm from the pivot's true place beyond which a place on the loop is another one.
NEAR = 0.02
#: mm to a joint of the loop that count as being on it.
AT_JOINT = 5e-4
#: Degrees between the blade and the loop's way on beyond which a place belongs to another stretch:
#: on a curve of the offset's radius the two differ by 45.
ASTRAY = 100.0
#: How much longer the pivot's way is than the tip's overlap, in blade offsets, at most: two swings.
TURNS = 4 * math.pi


@dataclass(frozen=True, slots=True)
class Spot:
    """tip, heading: where the contour is met, and how the blade stands then.  segment, t: the
    pivot's place on the loop.  beyond: mm of the loop that the overlap takes.  end: where it ends
    on the loop, mm from its start, with the tip at end_tip and the blade as end_heading.  is_sharp:
    the contour has a corner there that a run-in meets too loosely.
    """

    tip: complex
    heading: complex
    segment: int
    t: float
    beyond: float
    end: float
    end_tip: complex
    end_heading: complex
    is_sharp: bool


@dataclass(frozen=True, slots=True)
class Loop:
    """The pivot's closed way round a drawn contour, and its spots, the corners first."""

    path: Path
    spots: tuple[Spot, ...]


#: What brings the pivot to a contour where its tip and heading are given; None: nothing does.
Arrival: TypeAlias = Callable[[complex, complex], tuple[Segment, ...] | None]


def run_in_entries(
    contour: Contour, tool: Tool, tolerance: float, ground: Ground
) -> tuple[Entry, ...]:
    """The ways onto a closed contour by run-ins that are clear of every piece, if there are any;
    those at sharp corners only where there are no others."""

    def arrival(tip: complex, heading: complex) -> tuple[Segment, ...] | None:
        stroke = clear_stroke(tip, heading, tool.blade_offset, ground)
        if stroke is None:
            return None
        return (stroke, *swing(tip, stroke.tangent(0.0), heading, tool.blade_offset))

    spots = _loop(contour.drawn, tool, tolerance).spots
    for some in ([s for s in spots if not s.is_sharp], [s for s in spots if s.is_sharp]):
        entries = tuple(_entries(contour, tool, tolerance, arrival, some))
        if entries:
            return entries
    return ()


def set_down_entries(contour: Contour, tool: Tool, tolerance: float) -> tuple[Entry, ...]:
    """The ways to run a closed contour with the blade set down on its line as it was parked."""

    def arrival(tip: complex, heading: complex) -> tuple[Segment, ...]:
        return swing(tip, PARKED, heading, tool.blade_offset)

    spots = _loop(contour.drawn, tool, tolerance).spots
    return tuple(_entries(contour, tool, tolerance, arrival, spots))


def _entries(
    contour: Contour, tool: Tool, tolerance: float, arrival: Arrival, spots: Sequence[Spot]
) -> Iterator[Entry]:
    loop = _loop(contour.drawn, tool, tolerance)
    m = contour.map
    placed = loop.path.transformed(m)
    for spot in spots:
        before = arrival(m(spot.tip), m.vector(spot.heading))
        if before is None:
            continue
        after = swing(m(spot.end_tip), m.vector(spot.end_heading), PARKED, tool.blade_offset)
        first = placed.segments[spot.segment].point(spot.t)
        yield Entry(
            placed,
            spot.segment,
            spot.t,
            before=_written(_between(before, end=first), tool, tolerance),
            after=_written(_between(after, start=placed.point_at(spot.end)), tool, tolerance),
            beyond=spot.beyond,
        )


def _between(
    segments: tuple[Segment, ...], start: complex | None = None, end: complex | None = None
) -> tuple[Segment, ...]:
    """The run with its first or last segment brought onto the loop, from which a fit parts it."""
    if not segments:
        return ()
    made = list(segments)
    if start is not None:
        made[0] = _drawn_to(made[0], start, made[0].end)
    if end is not None:
        made[-1] = _drawn_to(made[-1], made[-1].start, end)
    return tuple(end_to_end(made))


def _drawn_to(s: Segment, start: complex, end: complex) -> Segment:
    if isinstance(s, Cubic):
        return Cubic(start, s.control1, s.control2, end)
    return Arc(start, end, s.bulge) if isinstance(s, Arc) else Line(start, end)


def _written(segments: tuple[Segment, ...], tool: Tool, tolerance: float) -> tuple[Segment, ...]:
    return written(Path(segments, False), tool, tolerance).segments if segments else ()


@lru_cache(maxsize=KEPT)
def _loop(drawn: Path, tool: Tool, tolerance: float) -> Loop:
    """The loop begins within the longest segment, where nothing turns."""
    longest = max(range(len(drawn.segments)), key=lambda i: drawn.segments[i].length())
    tip = drawn.starting_in(longest, _steady(drawn.segments[longest]))
    chain = end_to_end(list(pivot_segments(tip.opened(), tool.blade_offset, tool.swivel_angle)))
    closed = _between(tuple(chain), end=chain[0].start)
    pivot = fitted(Path.of(closed, True, PIVOT_CORNER), share(tool, tolerance))
    loop = written(pivot, tool, tolerance)
    found = (_spot(tip.starting_in(*p), loop, tool) for p in places(tip))
    return Loop(loop, tuple(s for s in found if s is not None))


def _steady(s: Segment) -> float:
    """A parameter in the middle, or where a cubic, which may have a cusp there, runs fastest."""
    if not isinstance(s, Cubic):
        return 0.5
    return max((0.3, 0.4, 0.5, 0.6, 0.7), key=lambda t: abs(s.derivative(t)))


def _spot(tip: Path, loop: Path, tool: Tool) -> Spot | None:
    """The spot at the start of the tip's way; None where its place on the loop is in doubt."""
    offset, overlap = tool.blade_offset, min(tool.overlap, tip.length)
    i, t = tip.locate(overlap)
    heading, end_heading = tip.segments[0].tangent(0.0), tip.segments[i].tangent(t)
    end_tip = tip.segments[i].point(t)
    first = _place_on(loop, tip.start + offset * heading, heading)
    last = _place_on(loop, end_tip + offset * end_heading, end_heading)
    if first is None or last is None:
        return None
    beyond = (last - first) % loop.length if overlap > 0 else 0.0
    if beyond > overlap + TURNS * offset:
        return None
    joints = loop.joint_lengths()
    segment = bisect_right(joints, first) - 1
    t = loop.segments[segment].at_length(first - joints[segment])
    is_sharp = abs(turn_degrees(tip.segments[-1].tangent(1.0), heading)) > SHARP_CORNER
    return Spot(tip.start, heading, segment, t, beyond, last, end_tip, end_heading, is_sharp)


def _place_on(loop: Path, pivot: complex, heading: complex) -> float | None:
    """How far along the loop the pivot's place is, mm; None where the loop isn't there."""
    at, off = nearest_length(loop, pivot)
    joints = np.array([*loop.joint_lengths(), loop.length])
    k = int(np.argmin(np.abs(joints - at)))
    if abs(joints[k] - at) < AT_JOINT:
        at = float(joints[k % (len(joints) - 1)])
    i = bisect_right(joints, at) - 1
    along = loop.segments[i].tangent(loop.segments[i].at_length(at - joints[i]))
    if off > NEAR or abs(turn_degrees(heading, along)) > ASTRAY:
        return None
    return at
