"""Where the tip of a trailing blade runs when its pivot follows lines and arcs: exact, by segment.

The tip hangs e mm behind the pivot and moves only along the blade (a tractrix).  With theta the
angle from the direction of travel to the blade's heading (tip to pivot), s the way of the pivot and
kappa the path's curvature,

    d theta / d s = -sin(theta) / e - kappa.

In u = tan(theta / 2) that is a Riccati equation with constant coefficients, so u after s mm is a
fractional linear map of u before: the closed form for lines (tan(theta / 2) falls by exp(-s / e))
and for arcs alike, a swivel about the tip (radius e) among them.
Where a machine's controller does the offset, the file holds the tip's way and the controller runs
the pivot ahead of it (`driven_by_controller`).  Does not decide what path a blade should follow.
"""

from __future__ import annotations

import cmath
import math
from typing import TypeAlias, cast

import numpy as np
import numpy.typing as npt

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line, Points, Segment

Floats: TypeAlias = npt.NDArray[np.float64]

#: Offset of the tip (mm) from where it settles that no longer counts.
SETTLED = 1e-6


def tip_trace(
    path: Path, offset: float, heading: complex, tolerance: float
) -> tuple[Points, complex]:
    """The tip's way while the pivot follows the path, and the blade's heading at the end.

    offset: pivot to tip, mm, above nought.  heading: unit vector from tip to pivot at the start.
    Points lie on the true trace; chords between them are within about the tolerance (mm).
    """
    traces: list[Points] = []
    for segment in path.segments:
        tips, heading = _along(segment, offset, heading, tolerance)
        traces.append(tips if not traces else tips[1:])
    return np.concatenate(traces), heading


def driven_by_controller(path: Path, offset: float) -> Path:
    """The pivot's way where the controller keeps it `offset` mm ahead of a written path's tip: a
    line shifts along itself, an arc becomes the concentric one, at each turn it swings about the
    tip.  The controller is taken to turn the blade into the first direction before it goes down.
    """
    made: list[Segment] = []
    before = path.segments[0].tangent(0.0)
    for s in path.segments:
        start, end = (s.point(t) + offset * s.tangent(t) for t in (0.0, 1.0))
        if made and abs(start - made[-1].end) > SETTLED:
            turn = cmath.phase(s.tangent(0.0) * before.conjugate())
            made.append(Arc(made[-1].end, start, math.tan(turn / 4)))
        start = made[-1].end if made else start
        made.append(Arc(start, end, s.bulge) if isinstance(s, Arc) else Line(start, end))
        before = s.tangent(1.0)
    return Path(tuple(made), False)


def _along(
    segment: Segment, offset: float, heading: complex, tolerance: float
) -> tuple[Points, complex]:
    curvature = segment.sweep / segment.length() if isinstance(segment, Arc) else 0.0
    start = segment.tangent(0.0)
    theta = cmath.phase(heading / start)
    s = _stations(segment.length(), curvature, offset, theta, tolerance)
    headings = start * np.exp(1j * (curvature * s + _lag(s, curvature, offset, theta)))
    pivots = _pivots(segment, start, curvature, s)
    end = complex(headings[-1])
    return cast(Points, pivots - offset * headings), end / abs(end)


def _pivots(segment: Segment, start: complex, curvature: float, s: Floats) -> Points:
    if isinstance(segment, Line):
        return cast(Points, segment.start + start * s)
    half = curvature * s / 2
    # the chord to each station: np.sinc keeps its digits on flat arcs
    chords = s * np.sinc(half / np.pi) * np.exp(1j * half)
    points = cast(Points, segment.start + start * chords)
    points[-1] = segment.end
    return points


def _lag(s: Floats, curvature: float, offset: float, theta: float) -> Floats:
    """theta after each way s, from theta at nought: exp(s A) on (sin, cos) of theta / 2.

    A = ((-1/2e, -k/2), (k/2, 1/2e)), so A A = lambda^2 and exp(s A) = cosh + A sinh / lambda; both
    are divided by exp(lambda s), which the quotient doesn't see.
    """
    square = (1 / offset**2 - curvature**2) / 4
    root = math.sqrt(abs(square))
    if root * float(s[-1]) < 1e-4:
        even, odd = 1 + square * s**2 / 2, s * (1 + square * s**2 / 6)
    elif square > 0:
        fall = np.exp(-2 * root * s)
        even, odd = (1 + fall) / 2, (1 - fall) / (2 * root)
    else:
        even, odd = np.cos(root * s), np.sin(root * s) / root
    p, q = math.sin(theta / 2), math.cos(theta / 2)
    a, k = 1 / (2 * offset), curvature / 2
    top = (even - a * odd) * p - k * odd * q
    bottom = k * odd * p + (even + a * odd) * q
    return cast(Floats, 2 * np.arctan2(top, bottom))


def _stations(
    length: float, curvature: float, offset: float, theta: float, tolerance: float
) -> Floats:
    """Ways along a segment at which to look: dense while the blade still swings, then as flat as
    the path itself allows."""
    coarse = _even(0.0, length, math.sqrt(8 * tolerance / abs(curvature)) if curvature else length)
    bend = abs(curvature) * offset
    if bend >= 1:
        return _even(0.0, length, _swing_step(offset, curvature, 1.0, tolerance))
    off = abs(cmath.phase(cmath.exp(1j * (theta + math.asin(curvature * offset)))))
    if off * offset < SETTLED:
        return coarse
    # near 180 degrees off the blade leaves its balance slowly: count that way in
    folds = math.log(max(1.0, math.tan(min(off, math.pi - 1e-6) / 2) * offset / SETTLED)) + 2
    swing = min(length, folds * offset / math.sqrt(1 - bend**2))
    fine = _even(0.0, swing, _swing_step(offset, curvature, min(1.0, off), tolerance))
    return np.concatenate([fine, coarse[coarse > swing]]) if swing < length else fine


def _swing_step(offset: float, curvature: float, off: float, tolerance: float) -> float:
    """A chord's way while the blade swings back from being off its balance by so many radians.

    The tip's second derivative by the pivot's way is at most about 2 off / e and the curvature.
    """
    return math.sqrt(8 * tolerance / (2 * off / offset + abs(curvature)))


def _even(start: float, end: float, step: float) -> Floats:
    return np.linspace(start, end, max(1, math.ceil((end - start) / step)) + 1)
