"""Which cubics want a closer look before they are fitted: those that may turn back, and lines."""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import math

import numpy as np

from foamwright.geometry.chains import Flags
from foamwright.geometry.compiled import compiled, within
from foamwright.geometry.fitting.curve import powers_of, velocity
from foamwright.geometry.fitting.plane import cross, dot, magnitude
from foamwright.geometry.segments import Points

#: A cubic whose slowest sample is above this share of its fastest has no cusp.
SLOW = 0.15
#: In how many steps of t that is looked at.
STEPS = 16
#: A cubic this near to its chord (mm), and never doubling back, is a line.
STRAIGHT = 1e-6
#: Doubling back by this share of the chord is rounding.
ROUNDING = 1e-12


@compiled
def looked_at(controls: Points) -> tuple[Flags, Flags]:
    """Of cubics (k, 4): whether each gets so slow that it may have a cusp; whether it is a line."""
    turns, lines = np.empty(len(controls), np.bool_), np.empty(len(controls), np.bool_)
    powers = powers_of(controls)
    for k in range(len(controls)):
        slowest, fastest = math.inf, 0.0
        for i in range(STEPS + 1):
            speed = magnitude(velocity(powers, k, i / STEPS))
            slowest, fastest = min(slowest, speed), max(fastest, speed)
        turns[k] = slowest <= SLOW * fastest
        lines[k] = is_straight(controls[k])
    return turns, lines


@within
def is_straight(c: Points) -> bool:
    chord = c[3] - c[0]
    size = magnitude(chord)
    if not size > 0:
        return False
    for k in range(1, 3):
        along, across = dot(chord, c[k] - c[0]) / size, cross(chord, c[k] - c[0]) / size
        beyond = max(-along, along - size)
        if abs(across) > STRAIGHT or beyond > ROUNDING * size:
            return False
    return True
