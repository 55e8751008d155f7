"""The three kinds of curve a path is made of: line, circular arc, cubic.

Values are immutable. Points are complex numbers (x + iy, mm, y up); parameters run 0..1.
An arc is in bulge form: bulge = tan(sweep / 4), positive counter-clockwise, |sweep| < 360 degrees.
Does not know of paths, corners, offsets or fitting.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine

Points: TypeAlias = npt.NDArray[np.complex128]
Box: TypeAlias = tuple[float, float, float, float]  # x_min, y_min, x_max, y_max in mm

#: Relative accuracy of a cubic's length (a fraction of its control polygon).
LENGTH_EPS = 1e-10
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(8)


def _cross(a: complex, b: complex) -> float:
    return a.real * b.imag - a.imag * b.real


def _unit(v: complex) -> complex:
    size = abs(v)
    if size == 0.0:
        raise GeometryError("a direction of zero length")
    return v / size


def box_of(points: Points) -> Box:
    """Bounding box of an array of points."""
    x, y = points.real, points.imag
    return float(x.min()), float(y.min()), float(x.max()), float(y.max())


@dataclass(frozen=True, slots=True)
class Line:
    """A straight segment."""

    start: complex
    end: complex

    def point(self, t: float) -> complex:
        return self.start + (self.end - self.start) * t

    def tangent(self, t: float) -> complex:
        """Unit direction of travel. Raises GeometryError on a segment of no length."""
        return _unit(self.end - self.start)

    def length(self) -> float:
        return abs(self.end - self.start)

    def area(self) -> float:
        """Signed area between the segment and the origin (Green's theorem)."""
        return 0.5 * _cross(self.start, self.end)

    def bounds(self) -> Box:
        return box_of(np.array([self.start, self.end]))

    def split(self, t: float) -> tuple[Line, Line]:
        middle = self.point(t)
        return Line(self.start, middle), Line(middle, self.end)

    def at_length(self, s: float) -> float:
        """The parameter at arc length s from the start."""
        return s / self.length()

    def reversed(self) -> Line:
        return Line(self.end, self.start)

    def transformed(self, m: Affine) -> tuple[Line, ...]:
        return (Line(m(self.start), m(self.end)),)

    def flatten(self, tolerance: float) -> Points:
        """Points along the segment, both ends included."""
        return np.array([self.start, self.end])


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular arc from start to end; bulge = tan(sweep / 4), positive counter-clockwise."""

    start: complex
    end: complex
    bulge: float

    @property
    def sweep(self) -> float:
        """Signed angle turned, in radians."""
        return 4.0 * math.atan(self.bulge)

    @property
    def centre(self) -> complex:
        chord = self.end - self.start
        b = self.bulge
        return (self.start + self.end) / 2 + chord * 1j * (1 - b * b) / (4 * b)

    @property
    def radius(self) -> float:
        b = abs(self.bulge)
        return abs(self.end - self.start) * (1 + b * b) / (4 * b)

    def point(self, t: float) -> complex:
        # chord from the start along the tangent half-way: flat arcs keep their digits
        if t <= 0.0:
            return self.start
        if t >= 1.0:
            return self.end
        half = self.sweep * t / 2
        return self.start + 2 * self.radius * abs(math.sin(half)) * self.tangent(t / 2)

    def tangent(self, t: float) -> complex:
        chord = _unit(self.end - self.start)
        return chord * cmath.rect(1.0, self.sweep * (t - 0.5))

    def length(self) -> float:
        return self.radius * abs(self.sweep)

    def area(self) -> float:
        sweep, r = self.sweep, self.radius
        return 0.5 * _cross(self.start, self.end) + 0.5 * r * r * (sweep - math.sin(sweep))

    def bounds(self) -> Box:
        points = [self.start, self.end]
        centre, sweep = self.centre, self.sweep
        first = cmath.phase(self.start - centre)
        for k in range(4):
            ahead = (k * math.pi / 2 - first) % (2 * math.pi)
            if sweep < 0:
                ahead = ahead - 2 * math.pi if ahead > 0 else 0.0
            if 0 < abs(ahead) < abs(sweep):
                points.append(centre + self.radius * (1j**k))
        return box_of(np.array(points))

    def split(self, t: float) -> tuple[Arc, Arc]:
        middle = self.point(t)
        quarter = self.sweep / 4
        return (
            Arc(self.start, middle, math.tan(quarter * t)),
            Arc(middle, self.end, math.tan(quarter * (1 - t))),
        )

    def at_length(self, s: float) -> float:
        return s / self.length()

    def reversed(self) -> Arc:
        return Arc(self.end, self.start, -self.bulge)

    def cubics(self) -> tuple[Cubic, ...]:
        """The arc as cubics of at most 22.5 degrees, within 7e-8 of the radius."""
        count = max(1, math.ceil(abs(self.sweep) / (math.pi / 8) - 1e-9))
        step = self.sweep / count
        reach = 4 / 3 * math.tan(step / 4)
        spokes = [self.start - self.centre]
        for k in range(1, count + 1):
            spokes.append(spokes[0] * cmath.rect(1.0, step * k))
        made = []
        for k, (a, b) in enumerate(pairwise(spokes)):
            start = self.start if k == 0 else self.centre + a
            end = self.end if k == count - 1 else self.centre + b
            made.append(Cubic(start, start + 1j * a * reach, end - 1j * b * reach, end))
        return tuple(made)

    def transformed(self, m: Affine) -> tuple[Segment, ...]:
        """One arc under a similarity, else cubics."""
        if m.is_similarity:
            return (Arc(m(self.start), m(self.end), -self.bulge if m.is_mirror else self.bulge),)
        return tuple(piece for c in self.cubics() for piece in c.transformed(m))

    def flatten(self, tolerance: float) -> Points:
        """Points on the arc, both ends included; the sagitta of each chord is within tolerance."""
        r = self.radius
        step = 2 * math.acos(max(-1.0, 1 - tolerance / r)) if r > tolerance else math.pi / 2
        count = max(1, math.ceil(abs(self.sweep) / max(step, 1e-6)))
        turns = np.exp(1j * self.sweep * np.arange(count + 1) / count)
        points: Points = self.centre + (self.start - self.centre) * turns
        points[0], points[-1] = self.start, self.end
        return points


@dataclass(frozen=True, slots=True)
class Cubic:
    """A cubic Bezier curve."""

    start: complex
    control1: complex
    control2: complex
    end: complex

    def point(self, t: float) -> complex:
        u = 1 - t
        return (
            u * u * u * self.start
            + 3 * u * u * t * self.control1
            + 3 * u * t * t * self.control2
            + t * t * t * self.end
        )

    def points(self, t: npt.NDArray[np.float64]) -> Points:
        """Points at many parameters at once."""
        u = 1 - t
        made: Points = (
            u**3 * self.start
            + 3 * u * u * t * self.control1
            + 3 * u * t * t * self.control2
            + t**3 * self.end
        )
        return made

    def derivative(self, t: float) -> complex:
        u = 1 - t
        d0 = self.control1 - self.start
        d1 = self.control2 - self.control1
        d2 = self.end - self.control2
        return 3 * (u * u * d0 + 2 * u * t * d1 + t * t * d2)

    def second_derivative(self, t: float) -> complex:
        a = self.control2 - 2 * self.control1 + self.start
        b = self.end - 2 * self.control2 + self.control1
        return 6 * ((1 - t) * a + t * b)

    def tangent(self, t: float) -> complex:
        """Unit direction of travel; at a folded-in control point, the direction it tends to."""
        scale = abs(self.control1 - self.start) + abs(self.control2 - self.start)
        scale += abs(self.end - self.start)
        d = self.derivative(t)
        if abs(d) > 1e-9 * scale:
            return _unit(d)
        ends = (self.start, self.control1, self.control2, self.end)
        if t < 0.5:
            tries = [p - self.point(t) for p in ends[1:]]
        else:
            tries = [self.point(t) - p for p in reversed(ends[:-1])]
        for v in tries:
            if abs(v) > 1e-9 * scale:
                return _unit(v)
        raise GeometryError("a cubic of no length has no direction")

    def tangents(self, t: npt.NDArray[np.float64]) -> Points:
        """Unit directions at many parameters at once."""
        way = self._derivatives(t)
        size = np.abs(way)
        if size.min() <= 1e-9 * size.max():
            return np.array([self.tangent(u) for u in t.tolist()])
        made: Points = way / size
        return made

    def _derivatives(self, t: npt.NDArray[np.float64]) -> Points:
        u = 1 - t
        d0 = self.control1 - self.start
        d1 = self.control2 - self.control1
        d2 = self.end - self.control2
        made: Points = 3 * (u * u * d0 + 2 * u * t * d1 + t * t * d2)
        return made

    def _speeds(self, a: float, b: float) -> float:
        half = (b - a) / 2
        speed = np.abs(self._derivatives(a + half * (1 + _GAUSS_X)))
        return float(half * (speed @ _GAUSS_W))

    def length(self) -> float:
        """Arc length by adaptive Gauss-Legendre, to LENGTH_EPS of the control polygon."""
        return self.length_between(0.0, 1.0)

    def length_between(self, a: float, b: float) -> float:
        polygon = (
            abs(self.control1 - self.start)
            + abs(self.control2 - self.control1)
            + abs(self.end - self.control2)
        )
        return self._refine(a, b, self._speeds(a, b), LENGTH_EPS * polygon, 0)

    def _refine(self, a: float, b: float, whole: float, eps: float, depth: int) -> float:
        m = (a + b) / 2
        left, right = self._speeds(a, m), self._speeds(m, b)
        if depth >= 24 or abs(left + right - whole) <= eps:
            return left + right
        return self._refine(a, m, left, eps / 2, depth + 1) + self._refine(
            m, b, right, eps / 2, depth + 1
        )

    def area(self) -> float:
        p0, p1, p2, p3 = self.start, self.control1, self.control2, self.end
        return (
            6 * _cross(p0, p1)
            + 3 * _cross(p0, p2)
            + _cross(p0, p3)
            + 3 * _cross(p1, p2)
            + 3 * _cross(p1, p3)
            + 6 * _cross(p2, p3)
        ) / 20

    def bounds(self) -> Box:
        t = [0.0, 1.0]
        d = (self.control1 - self.start, self.control2 - self.control1, self.end - self.control2)
        for part in ([v.real for v in d], [v.imag for v in d]):
            roots = _quadratic_roots(part[0] - 2 * part[1] + part[2], part[1] - part[0], part[0])
            t.extend(r for r in roots if 0 < r < 1)
        return box_of(np.array([self.point(v) for v in t]))

    def split(self, t: float) -> tuple[Cubic, Cubic]:
        def mix(a: complex, b: complex) -> complex:
            return a + (b - a) * t

        ab, bc, cd = (
            mix(self.start, self.control1),
            mix(self.control1, self.control2),
            mix(self.control2, self.end),
        )
        abc, bcd = mix(ab, bc), mix(bc, cd)
        middle = mix(abc, bcd)
        return Cubic(self.start, ab, abc, middle), Cubic(middle, bcd, cd, self.end)

    def at_length(self, s: float) -> float:
        """The parameter at arc length s, by bisection-safe Newton to 1e-9 mm."""
        low, high, t = 0.0, 1.0, min(1.0, max(0.0, s / max(self.length(), 1e-300)))
        for _ in range(60):
            miss = self.length_between(0.0, t) - s
            if abs(miss) < 1e-10:
                break
            low, high = (t, high) if miss < 0 else (low, t)
            speed = abs(self.derivative(t))
            guess = t - miss / speed if speed > 0 else low
            t = guess if low < guess < high else (low + high) / 2
        return t

    def reversed(self) -> Cubic:
        return Cubic(self.end, self.control2, self.control1, self.start)

    def transformed(self, m: Affine) -> tuple[Cubic, ...]:
        return (Cubic(m(self.start), m(self.control1), m(self.control2), m(self.end)),)

    def flatten(self, tolerance: float) -> Points:
        """Points on the curve, both ends included; uniform steps from the bound on |B''| / 8."""
        bend = 6 * max(
            abs(self.control2 - 2 * self.control1 + self.start),
            abs(self.end - 2 * self.control2 + self.control1),
        )
        count = max(1, math.ceil(math.sqrt(bend / (8 * tolerance))))
        return self.points(np.linspace(0.0, 1.0, count + 1))


Segment: TypeAlias = Line | Arc | Cubic


def _quadratic_roots(a: float, b_half: float, c: float) -> Iterator[float]:
    """Roots of a t^2 + 2 b_half t + c."""
    disc = b_half * b_half - a * c
    if disc < 0:
        return
    q = -(b_half + math.copysign(math.sqrt(disc), b_half))
    if q != 0:
        yield c / q
    if a != 0:
        yield q / a


def line_or_arc(start: complex, end: complex, bulge: float) -> Line | Arc:
    """A bulge of nought is a line."""
    return Line(start, end) if bulge == 0 else Arc(start, end, bulge)
