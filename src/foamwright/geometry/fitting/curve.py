"""A smooth run of cubics as one curve: sampled once, evaluated anywhere.

A *place* u grows along the run with its length and its turning, so even steps see every feature.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from foamwright.geometry.chains import Floats
from foamwright.geometry.compiled import within
from foamwright.geometry.fitting.plane import direction, dot, magnitude, times, turn_between
from foamwright.geometry.segments import Points

#: The least steps that a cubic is sampled at, and those for each arc that it is likely to take:
#: where curvature grows by k per mm, an arc of length h through two points is 0.00802 k h^3 off.
COARSE_STEPS, STEPS_PER_ARC = 8, 10
#: A step that turns by more (7 degrees) and is longer than this share of the tolerance is halved.
SHARP_COSINE, SHARP_REACH, HALVINGS = math.cos(math.radians(7.0)), 0.05, 14
#: Two samples closer than this fraction of the run are one (rounding of doubles).
SAME_POINT = 1e-12


class Curve(NamedTuple):
    """A run: coefficients (k, 4) of its cubics in powers of t, and a table of samples.

    For each sample: u, its cubic's number + t, the point, the unit direction of travel.  A loop's u
    may run past its ends.
    """

    cubics: Points
    u: Floats
    place: Floats
    points: Points
    ways: Points
    loop: bool


class Ends(NamedTuple):
    """Directions that a run's ends must agree with, and within how many radians.

    With `smooth` first the narrower limits: where the joint can be without a kink.
    """

    first: complex
    first_kink: float
    first_smooth: float
    last: complex
    last_kink: float
    last_smooth: float


@within
def velocity(c: Points, k: int, t: float) -> complex:
    return c[k, 1] + times(times(c[k, 2], 2.0) + times(c[k, 3], 3 * t), t)


@within
def position(c: Points, k: int, t: float) -> complex:
    return c[k, 0] + times(c[k, 1] + times(c[k, 2] + times(c[k, 3], t), t), t)


@within
def steps_of(c: Points, k: int, tolerance: float) -> int:
    arcs = (6 * (magnitude(c[k, 2]) + magnitude(c[k, 3])) / (124.7 * tolerance)) ** (1 / 3)
    return math.ceil(max(COARSE_STEPS, min(STEPS_PER_ARC * arcs, 1e5)))


@within
def sampled(cubics: Points, begins: Points, end: complex, tolerance: float, loop: bool) -> Curve:
    """The run's table: every cubic at even steps of t, halved where a step turns sharply.

    begins (k + 1): the directions where the cubics begin, and the one at the run's end.
    """
    room = 64
    place, points, ways = (
        np.empty(room),
        np.empty(room, np.complex128),
        np.empty(room, np.complex128),
    )
    n, stack = 0, np.empty(HALVINGS + 2)
    for k in range(len(cubics)):
        steps = steps_of(cubics, k, tolerance)
        p, way = cubics[k, 0], begins[k]
        for i in range(steps):
            t, stack[0], top = i / steps, (i + 1) / steps, 1
            while top > 0:
                to = stack[top - 1]
                q = position(cubics, k, to)
                after = begins[k + 1] if to == 1.0 else direction(velocity(cubics, k, to))
                sharp = dot(way, after) < SHARP_COSINE
                if sharp and top <= HALVINGS and magnitude(q - p) > SHARP_REACH * tolerance:
                    stack[top] = (t + to) / 2
                    top += 1
                    continue
                if n + 2 > room:
                    room *= 2
                    place = np.append(place, np.empty(room - len(place)))
                    points = np.append(points, np.empty(room - len(points), np.complex128))
                    ways = np.append(ways, np.empty(room - len(ways), np.complex128))
                place[n], points[n], ways[n] = k + t, p, way
                n += 1
                t, p, way, top = to, q, after, top - 1
    place[n], points[n], ways[n] = len(cubics), end, begins[len(cubics)]
    return tabled(cubics, place[: n + 1], points[: n + 1], ways[: n + 1], loop)


@within
def tabled(cubics: Points, place: Floats, points: Points, ways: Points, loop: bool) -> Curve:
    n = len(place)
    whole = 0.0
    for i in range(n - 1):
        whole += magnitude(points[i + 1] - points[i])
    u = np.empty(n)
    u[0], kept, along = 0.0, 1, 0.0
    for i in range(1, n):
        chord = magnitude(points[i] - points[i - 1])
        along += chord / whole + abs(turn_between(ways[i - 1], ways[i])) / math.tau
        if chord <= SAME_POINT * whole and i < n - 1:
            place[kept - 1] = place[i]  # the next step is the later cubic's, if one began here
            continue
        if chord <= SAME_POINT * whole and kept > 1:
            kept -= 1
        u[kept], place[kept], points[kept], ways[kept] = along, place[i], points[i], ways[i]
        kept += 1
    return Curve(cubics, u[:kept], place[:kept], points[:kept], ways[:kept], loop)


@within
def index_at(curve: Curve, u: float) -> int:
    """The sample at or before u, so that there is one after it."""
    at = curve.u
    low, high = 0, len(at) - 1
    while high - low > 1:
        middle = (low + high) // 2
        if at[middle] <= u:
            low = middle
        else:
            high = middle
    return low


@within
def on_lap(curve: Curve, u: float) -> float:
    span = curve.u[-1]
    if not curve.loop:
        return min(max(u, 0.0), span)
    return u - span * math.floor(u / span)


@within
def cubic_at(at: Floats, places: Floats, count: int, i: int, u: float) -> tuple[int, float]:
    """Which of `count` cubics is at place u, between samples i and i + 1, and its t there."""
    share = (u - at[i]) / (at[i + 1] - at[i])
    share = min(max(share, 0.0), 1.0)
    k = min(int(places[i]), count - 1)
    # a cubic too short for a sample of its own is passed over: the one before it ends there
    upto = min(places[i + 1], k + 1.0)
    return k, places[i] + share * (upto - places[i]) - k


@within
def point_at(curve: Curve, u: float) -> complex:
    u = on_lap(curve, u)
    k, t = cubic_at(curve.u, curve.place, len(curve.cubics), index_at(curve, u), u)
    return position(curve.cubics, k, t)


@within
def way_at(curve: Curve, u: float) -> tuple[complex, float]:
    """The unit direction of travel at u, and mm of length for each step of u."""
    _, way, rate = spot_at(curve, u)
    return way, rate


@within
def spot_at(curve: Curve, u: float) -> tuple[complex, complex, float]:
    """The point at u, the unit direction of travel there, and mm of length for each step of u."""
    u = on_lap(curve, u)
    i = index_at(curve, u)
    k, t = cubic_at(curve.u, curve.place, len(curve.cubics), i, u)
    p, v = position(curve.cubics, k, t), velocity(curve.cubics, k, t)
    speed = magnitude(v)
    step = curve.u[i + 1] - curve.u[i]
    rate = max(magnitude(curve.points[i + 1] - curve.points[i]) / step, 1e-9)
    if speed <= 1e-9 * (magnitude(curve.cubics[k, 1]) + magnitude(curve.cubics[k, 2])):
        near = i if u - curve.u[i] < step / 2 else i + 1
        return p, curve.ways[near], rate
    return p, times(v, 1 / speed), rate


@within
def aim(curve: Curve, low: float, high: float, count: int, made: Points) -> None:
    """`count` points of the curve at even steps within low..high, in the middle of each."""
    step = (high - low) / count
    u = on_lap(curve, low + step / 2)
    at, places, cubics = curve.u, curve.place, curve.cubics
    i, span, last = index_at(curve, u), at[-1], len(at) - 2
    for k in range(count):
        u = low + (k + 0.5) * step
        if curve.loop:
            lapped = u - span * math.floor(u / span)
            if lapped < at[i]:
                i = 0
            u = lapped
        else:
            u = min(max(u, 0.0), span)
        while i < last and at[i + 1] < u:
            i += 1
        j, t = cubic_at(at, places, len(cubics), i, u)
        made[k] = position(cubics, j, t)


@within
def powers_of(controls: Points) -> Points:
    """Of cubics (k, 4) in powers of t, lowest first: (k, 4)."""
    made = np.empty_like(controls)
    for k in range(len(controls)):
        a, b, c, d = controls[k, 0], controls[k, 1], controls[k, 2], controls[k, 3]
        made[k, 0], made[k, 1] = a, 3 * (b - a)
        made[k, 2], made[k, 3] = 3 * (a - 2 * b + c), d - a + 3 * (b - c)
    return made


@within
def turning_of(curve: Curve) -> float:
    total = 0.0
    for i in range(len(curve.ways) - 1):
        total += turn_between(curve.ways[i], curve.ways[i + 1])
    return total


@within
def fine_points(curve: Curve) -> Points:
    """The samples and as many points more between each two."""
    n = len(curve.u)
    made = np.empty(2 * n - 1, np.complex128)
    for i in range(n):
        made[2 * i] = curve.points[i]
        if i < n - 1:
            made[2 * i + 1] = point_at(curve, (curve.u[i] + curve.u[i + 1]) / 2)
    return made
