"""How long a program takes, by trapezoidal speed profiles.

Each move speeds up at the machine's acceleration, holds its speed and slows down.  Along a path
the speed through a joint falls with the turn, v cos(turn), to a standstill at a right angle (common
practice, no source); on an arc of radius R it is held to sqrt(a R).  A straight move of length L
takes L/v + v/a, or 2 sqrt(L/a) where it is too short to reach v (uniform acceleration).
Does not know of plunging, lifting or feeding.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc
from foamwright.model import Cut, Tool


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


def path_time(path: Path, speed: float, acceleration: float) -> float:
    """Seconds for one run along a path, from rest to rest."""
    lengths = [s.length() for s in path.segments]
    limits = [
        min(speed, math.sqrt(acceleration * s.radius)) if isinstance(s, Arc) else speed
        for s in path.segments
    ]
    through = [0.0, *(_joint_speed(path, i, limits) for i in range(1, len(limits))), 0.0]
    for i, length in enumerate(lengths):
        through[i + 1] = min(through[i + 1], math.sqrt(through[i] ** 2 + 2 * acceleration * length))
    for i in reversed(range(len(lengths))):
        reach = math.sqrt(through[i + 1] ** 2 + 2 * acceleration * lengths[i])
        through[i] = min(through[i], reach)
    return math.fsum(
        ramp_time(length, through[i], through[i + 1], limits[i], acceleration)
        for i, length in enumerate(lengths)
    )


def _joint_speed(path: Path, i: int, limits: Sequence[float]) -> float:
    turn = turn_degrees(path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0))
    return min(limits[i - 1], limits[i]) * max(0.0, math.cos(math.radians(turn)))


def cut_time(cut: Cut, tool: Tool) -> float:
    """Seconds for all passes of one cut; an open one is gone back over with the tool up."""
    once = path_time(cut.path, tool.cut_speed, tool.acceleration)
    back = 0.0
    if not cut.path.closed:
        gap = abs(cut.path.end - cut.path.start)
        back = move_time(gap, tool.travel_speed, tool.acceleration)
    return tool.passes * once + (tool.passes - 1) * back


def program_time(cuts: Sequence[Cut], tool: Tool, here: complex) -> float:
    """Seconds for all cuts and the travel between them, from where the head stands."""
    total = 0.0
    for cut in cuts:
        total += move_time(abs(cut.path.start - here), tool.travel_speed, tool.acceleration)
        total += cut_time(cut, tool)
        here = cut.path.start if cut.path.closed else cut.path.end
    return total
