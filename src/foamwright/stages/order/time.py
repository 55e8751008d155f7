"""How long a program takes, by trapezoidal speed profiles with look-ahead.

Each move speeds up at the machine's acceleration a, holds its speed and slows down.  A straight
move of length L takes L/v + v/a, or 2 sqrt(L/a) where it is too short to reach v (uniform
acceleration).  Along a path three limits hold:

- on an arc of radius R the speed is at most sqrt(a R) (uniform circular motion);
- through a *joint* where the path turns by phi, the speed is that of an arc which touches both
  sides and passes the corner at a stated *deviation* d: R = d cos(phi/2) / (1 - cos(phi/2)).  That
  arc may take half of the shorter side: R <= (L/2) / tan(phi/2), so that a circle drawn in chords
  is run as fast as a circle.  A deviation of 0 stops at every corner;
- no joint is passed faster than can be reached from the joint before it or braked from before the
  next (one pass forward, one back).

Passes repeat what cuts through, contour by contour; where a beam's focus is lowered between them,
everything that cuts through, sheet by sheet.  Marks are made once.

Each run starts and ends at rest; a knife goes down before it and up after it.  Acceleration along
an arc and towards its centre are limited one by one, not together; axes are taken to be alike.
Does not know of feeding a roll, of a controller's planning depth, or of loading.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc
from foamwright.model import OPERATIONS, Cut, Method, Operation, Tool

#: mm: how far a controller is taken to pass beside a corner (common practice, no source).
DEVIATION = 0.01
#: Operations that do not cut through.
MARKING = frozenset({"PEN", "SCORE"})
#: Seconds for a tool to go down before a run, and up after it; an oscillating knife also turns
#: into its stroke meanwhile; a beam only switches (common practice, no source).
DOWN_S: Mapping[Method, float] = MappingProxyType(
    {"laser": 0.0, "drag-knife": 0.1, "oscillating-knife": 0.4}
)
UP_S: Mapping[Method, float] = MappingProxyType(
    {"laser": 0.0, "drag-knife": 0.1, "oscillating-knife": 0.3}
)


def move_time(length: float, speed: float, acceleration: float) -> float:
    """Seconds for a straight move of length mm from rest to rest."""
    return ramp_time(length, 0.0, 0.0, speed, acceleration)


def ramp_time(
    length: float, enter: float, leave: float, speed: float, acceleration: float
) -> float:
    """Seconds over length mm entered and left at given speeds, never faster than speed.

    The ends must be within reach of each other at this acceleration.
    """
    peak = math.sqrt((2 * acceleration * length + enter**2 + leave**2) / 2)
    if peak <= speed:
        return (2 * peak - enter - leave) / acceleration
    ramps = (2 * speed**2 - enter**2 - leave**2) / (2 * acceleration)
    return (2 * speed - enter - leave) / acceleration + (length - ramps) / speed


def path_time(path: Path, speed: float, acceleration: float, deviation: float) -> float:
    """Seconds for one run along a path, from rest to rest. deviation: at its corners, mm."""
    lengths = [s.length() for s in path.segments]
    limits = [
        min(speed, math.sqrt(acceleration * s.radius)) if isinstance(s, Arc) else speed
        for s in path.segments
    ]
    through = [0.0]
    for i in range(1, len(lengths)):
        turn = turn_degrees(path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0))
        radius = joint_radius(turn, min(lengths[i - 1 : i + 1]), deviation)
        held = min(limits[i - 1], limits[i], math.sqrt(acceleration * radius))
        through.append(_reached(through[-1], lengths[i - 1], acceleration, held))
    through.append(0.0)
    for i in reversed(range(len(lengths))):
        through[i] = _reached(through[i + 1], lengths[i], acceleration, through[i])
    return math.fsum(
        ramp_time(length, through[i], through[i + 1], limits[i], acceleration)
        for i, length in enumerate(lengths)
    )


def joint_radius(turn: float, side: float, deviation: float) -> float:
    """mm: the radius that a corner is passed on; endless where the path goes straight on.

    turn: degrees, either sign.  side: the shorter of the two lengths that meet.
    """
    half = math.radians(abs(turn)) / 2
    bend = 1 - math.cos(half)
    if bend == 0:
        return math.inf
    return min(deviation * math.cos(half) / bend, side / (2 * math.tan(half)))


def _reached(speed: float, length: float, acceleration: float, most: float) -> float:
    return min(most, math.sqrt(speed**2 + 2 * acceleration * length))


def cut_time(cut: Cut, tool: Tool) -> float:
    """Seconds for all passes of one cut, each with tool down and up.

    An open cut is gone back over with the tool up before its next pass.
    """
    once = path_time(cut.path, tool.cut_speed, tool.acceleration, DEVIATION)
    once += DOWN_S[tool.method] + UP_S[tool.method]
    gap = 0.0 if cut.path.closed else abs(cut.path.end - cut.path.start)
    back = move_time(gap, tool.travel_speed, tool.acceleration)
    passes = 1 if cut.operation in MARKING else tool.passes
    return passes * once + (passes - 1) * back


def operation_times(
    cuts: Sequence[Cut], tool: Tool, here: complex
) -> tuple[tuple[Operation, float], ...]:
    """Seconds of each operation that occurs, in the order of `OPERATIONS`.

    Travel, from where the head stands, counts to the cut that it leads to.
    """
    spent: dict[Operation, float] = {}
    run = list(cuts)
    if tool.focus_step and tool.passes > 1:
        run += (tool.passes - 1) * [c for c in cuts if c.operation not in MARKING]
        tool = replace(tool, passes=1)
    for cut in run:
        travel = move_time(abs(cut.path.start - here), tool.travel_speed, tool.acceleration)
        took = spent.get(cut.operation, 0.0)
        spent[cut.operation] = took + travel + cut_time(cut, tool)
        here = cut.path.start if cut.path.closed else cut.path.end
    return tuple((o, spent[o]) for o in OPERATIONS if o in spent)
