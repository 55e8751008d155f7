"""A chain of arcs as arrays, and how far points lie from its arcs.

Joints are n + 1 points, sweeps n angles in radians (positive counter-clockwise, 0: a line).
Everything broadcasts, so many chains or many trial arcs can be measured at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from foamwright.geometry.segments import Arc, Line, Points, line_or_arc

Floats = npt.NDArray[np.float64]

#: A fitted arc turns by at most this: the writer's rule.
WIDEST_SWEEP = math.radians(120.0)
#: A sweep whose sagitta is below this many mm is written as a line.
FLAT = 1e-7


@dataclass(frozen=True, slots=True)
class Chain:
    """joints (n + 1) and sweeps (n)."""

    joints: Points
    sweeps: Floats

    def __len__(self) -> int:
        return len(self.sweeps)

    def segments(self) -> list[Line | Arc]:
        ends = [complex(p) for p in self.joints]
        made = []
        for a, b, sweep in zip(ends, ends[1:], self.sweeps.tolist(), strict=False):
            flat = abs(b - a) * abs(sweep) / 8 <= FLAT
            made.append(line_or_arc(a, b, 0.0 if flat else math.tan(sweep / 4)))
        return made

    def kinks(self) -> Floats:
        """Signed turns in radians at the n - 1 inner joints."""
        chords = np.diff(self.joints)
        turn = np.angle(chords[1:] * chords[:-1].conj())
        kinks: Floats = np.angle(np.exp(1j * (turn - (self.sweeps[1:] + self.sweeps[:-1]) / 2)))
        return kinks


@dataclass(frozen=True, slots=True)
class Solution:
    """A chain, and where along its curve the joints lie."""

    chain: Chain
    u: Floats


def off_circle(points: Points, a: Points, b: Points, sweeps: Floats) -> Floats:
    """Signed distance of points to the left of the circle through a and b that turns by sweep.

    Keeps its digits for flat arcs: the circle's equation in the frame of its chord, times bulge.
    """
    half = (b - a) / 2
    reach = np.abs(half)
    z = (points - (a + b) / 2) * (half.conj() / reach**2)
    x, y = z.real, z.imag
    bulge = np.tan(sweeps / 4)
    rise = 1 - bulge * bulge
    top = 2 * y * rise - 2 * bulge * (x * x + y * y - 1)
    bottom = (1 + bulge * bulge) + np.hypot(2 * bulge * x, 2 * bulge * y - rise)
    made: Floats = reach * top / bottom
    return made


def distance_to_arc(points: Points, a: Points, b: Points, sweeps: Floats) -> Floats:
    """Distance of points to the arc itself (to its ends, where they lie beyond)."""
    chord = b - a
    turn = np.exp(0.5j * sweeps)
    past_a = ((points - a) * (chord / turn).conj()).real >= 0
    before_b = ((points - b) * (chord * turn).conj()).real <= 0
    to_ends = np.minimum(np.abs(points - a), np.abs(points - b))
    inside = past_a & before_b
    made: Floats = np.where(inside, np.abs(off_circle(points, a, b, sweeps)), to_ends)
    return made
