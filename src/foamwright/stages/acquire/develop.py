"""Flat outlines of bodies that are given by measures: exact developments, mm, y up.

Each is closed and counter-clockwise.  A sheet of a thickness bends on its middle surface (sheet
metal practice; foam gives more on the inside, so a test ring settles it), and its rims are cut
square: measures taken outside or inside are brought there first (`to_middle`).
Terms: a frustum is a cone cut off; a gore is one of the equal lens-shaped parts of a sphere.
Does not know of jobs, allowances and cores.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Literal, TypeAlias

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

Surface: TypeAlias = Literal["outside", "middle", "inside"]

#: How near to a curve its cubics lie, mm.
CURVE_TOLERANCE = 1e-5
#: Sharpest sweep of one arc, radians.
WIDEST = 2 * math.pi / 3
#: Radii that differ by less than this share of the slant make a tube, not a frustum.
STRAIGHT = 1e-9


def to_middle(radius: float, lean: float, thickness: float, measured: Surface) -> float:
    """Radius of the middle surface at a square-cut rim, mm.

    lean: angle between wall and axis, radians.  Raises GeometryError where nothing is left.
    """
    step = {"outside": -0.5, "middle": 0.0, "inside": 0.5}[measured]
    made = radius + step * thickness * math.cos(lean)
    if made < 0 or (made == 0 and radius > 0):
        raise GeometryError(f"a radius of {radius:g} mm is too small for {thickness:g} mm of sheet")
    return made


def rectangle(width: float, height: float) -> Path:
    """From (0, 0), corners counter-clockwise."""
    return Path.polygon([0j, complex(width), complex(width, height), complex(0, height)])


def disc(radius: float) -> Path:
    return Path.circle(complex(radius, radius), radius)


def slant_of(bottom: float, top: float, height: float) -> float:
    """Length of a frustum's side, radii and height in mm (handbook development)."""
    return math.hypot(bottom - top, height)


def frustum(bottom: float, top: float, slant: float) -> Path:
    """A cut-off cone's side by its radii: corners bottom start, bottom end, top end, top start.

    The bottom is the wider rim, its arc below.  A tip (top 0) is one corner.  Of equal radii it is
    a rectangle.  Raises GeometryError where the slant is shorter than the radii differ.
    """
    if bottom < top:
        return frustum(top, bottom, slant)
    if not slant > bottom - top:
        raise GeometryError("a side that is too short for radii that differ so much")
    if bottom - top <= STRAIGHT * slant:
        return rectangle(2 * math.pi * bottom, slant)
    far = slant * bottom / (bottom - top)
    sweep = 2 * math.pi * bottom / far
    near, start = far - slant, -math.pi / 2 - sweep / 2
    around = _arcs(far, start, sweep)
    segments: list[Segment] = [*around]
    if top > 0:
        back = _arcs(near, start + sweep, -sweep)
        segments += [Line(around[-1].end, back[0].start), *back]
        segments.append(Line(back[-1].end, around[0].start))
    else:
        segments += [Line(around[-1].end, 0j), Line(0j, around[0].start)]
    return Path.of(segments, True)


def _arcs(radius: float, start: float, sweep: float) -> list[Arc]:
    count = max(1, math.ceil(abs(sweep) / WIDEST - 1e-9))
    spots = [radius * cmath.rect(1.0, start + sweep * k / count) for k in range(count + 1)]
    bulge = math.tan(sweep / count / 4)
    return [Arc(a, b, bulge) for a, b in pairwise(spots)]


def gore(radius: float, count: int, opening: float = 0.0) -> Path:
    """One of `count` gores of a sphere, its tips at (0, +-pi radius / 2).

    The half width at y is (pi radius / count) cos(y / radius).  opening: radius of a round hole
    about the lower tip, where the gore then ends straight.  Raises GeometryError where it is no
    smaller than the sphere.
    """
    if not 0 <= opening < radius:
        raise GeometryError(f"an opening of radius {opening:g} in a sphere of radius {radius:g}")
    high = math.pi / 2 * radius
    low = -radius * math.acos(opening / radius) if opening else -high
    width = math.pi * radius / count
    steps = _steps(width, radius, high - low)
    ys = [low + (high - low) * k / steps for k in range(steps + 1)]
    right = [_half_cosine(width, radius, a, b) for a, b in pairwise(ys)]
    if not opening:
        right[0] = Cubic(complex(0, low), *_handles(right[0]), right[0].end)
    right[-1] = Cubic(right[-1].start, *_handles(right[-1]), complex(0, high))
    left = [_across(c) for c in reversed(right)]
    base: list[Segment] = [Line(left[-1].end, right[0].start)] if opening else []
    return Path.of([*right, *left, *base], True)


def _handles(c: Cubic) -> tuple[complex, complex]:
    return c.control1, c.control2


def _across(c: Cubic) -> Cubic:
    """The mirror image in x = 0, travelled the other way."""
    a, b, d, e = (-p.conjugate() for p in (c.start, c.control1, c.control2, c.end))
    return Cubic(e, d, b, a)


def _half_cosine(width: float, radius: float, a: float, b: float) -> Cubic:
    """x = width cos(y / radius) from y = a to b, in value and slope right at both ends."""
    step = (b - a) / 3
    xa, xb = width * math.cos(a / radius), width * math.cos(b / radius)
    da, db = (-width / radius * math.sin(y / radius) for y in (a, b))
    return Cubic(
        complex(xa, a),
        complex(xa + da * step, a + step),
        complex(xb - db * step, b - step),
        complex(xb, b),
    )


def _steps(width: float, radius: float, length: float) -> int:
    """So many cubics that none is more than CURVE_TOLERANCE off: h^4 max|f''''| / 384 (Hermite)."""
    step = math.sqrt(math.sqrt(384 * CURVE_TOLERANCE * radius**4 / width))
    return 2 * max(1, math.ceil(length / step / 2))


def smooth_through(points: Sequence[complex], corners: Sequence[int]) -> Path:
    """A closed line through the points, smooth but for the corners, by number.

    Between corners it is the natural cubic spline over the chords' lengths (curvature nought where
    it ends at a corner); without any it runs smoothly round.  Raises GeometryError for fewer than
    three points or two alike in a row.
    """
    n = len(points)
    if n < 3:
        raise GeometryError("an outline needs three points")
    if any(points[k] == points[k - 1] for k in range(n)):
        raise GeometryError("two points in a row are one")
    if not corners:
        return Path.of(_spline([*points, points[0]], loop=True), True)
    first = sorted(corners)
    ends = [*first[1:], first[0] + n]
    made: list[Segment] = []
    for a, b in zip(first, ends, strict=True):
        run = [points[k % n] for k in range(a, b + 1)]
        made += [Line(run[0], run[1])] if len(run) == 2 else _spline(run, loop=False)
    return Path.of(made, True)


def _spline(points: Sequence[complex], loop: bool) -> list[Cubic]:
    """Cubics through the points, second derivatives agreeing (any text on numerical analysis)."""
    import numpy as np

    p = np.array(points)
    h = np.abs(np.diff(p))
    slopes = np.diff(p) / h
    n = len(p)
    a = np.zeros((n, n))
    right = np.zeros(n, dtype=complex)
    for k in range(1, n - 1):
        a[k, k - 1 : k + 2] = h[k], 2 * (h[k - 1] + h[k]), h[k - 1]
        right[k] = 3 * (h[k] * slopes[k - 1] + h[k - 1] * slopes[k])
    if loop:
        a[0, 0], a[0, n - 1] = 1.0, -1.0
        a[n - 1, n - 2], a[n - 1, n - 1], a[n - 1, 1] = h[0], 2 * (h[-1] + h[0]), h[-1]
        right[n - 1] = 3 * (h[0] * slopes[-1] + h[-1] * slopes[0])
    else:
        a[0, :2] = 2.0, 1.0
        a[n - 1, n - 2 :] = 1.0, 2.0
        right[0], right[n - 1] = 3 * slopes[0], 3 * slopes[-1]
    d = np.linalg.solve(a, right)
    return [
        Cubic(
            complex(p[k]),
            complex(p[k] + d[k] * h[k] / 3),
            complex(p[k + 1] - d[k + 1] * h[k] / 3),
            complex(p[k + 1]),
        )
        for k in range(n - 1)
    ]
