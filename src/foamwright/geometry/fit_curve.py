"""A smooth run of cubics as one curve: sampled once, evaluated anywhere.

The parameter u runs 0..span over the whole run and grows with length and with turning, so even
steps in u see every feature.  Cubics are cut at their cusps first (`cut_at_cusps`).
Does not fit: see `fit_biarcs.py` and `fit_solve.py`.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from foamwright.geometry.segments import Cubic, Points

Floats = npt.NDArray[np.float64]

#: The least steps that a cubic is sampled at.
COARSE_STEPS = 16
#: A step that turns by more (radians) and is longer than this share of the tolerance is halved.
SHARP_TURN, SHARP_REACH, HALVINGS = math.radians(7.0), 0.05, 14
#: Samples for each arc that a cubic is likely to take: where curvature grows evenly at k per mm, an
#: arc of length h through two points is k h^3 / (72 sqrt 3) off.
STEPS_PER_ARC = 12
#: Directions that differ by more than this across a stretch as long as the tolerance: a cusp.
CUSP_TURN = math.radians(45.0)
#: A speed below this share of the control polygon is none: the cubic stands still and turns back.
STANDSTILL = 1e-7
#: Two samples closer than this fraction of the run are one (rounding of doubles).
SAME_POINT = 1e-12


@dataclass(frozen=True, slots=True)
class Curve:
    """A smooth run: `coefficients` (k, 4) of its cubics in powers of t, and a table of samples.

    For each sample: `u`, its cubic's number + t, the point, the unit direction of travel.
    A loop's u may run past its ends.
    """

    coefficients: Points
    u: Floats
    place: Floats  # cubic's number + t
    points: Points
    tangents: Points
    loop: bool = False

    @property
    def span(self) -> float:
        return float(self.u[-1])

    def _cubic_and_t(self, u: Floats) -> tuple[npt.NDArray[np.intp], Floats]:
        place = np.interp(u % self.span if self.loop else u, self.u, self.place)
        cubic = np.minimum(place.astype(np.intp), len(self.coefficients) - 1)
        return cubic, place - cubic

    def at(self, u: Floats) -> Points:
        """Points of the curve, exact to rounding."""
        cubic, t = self._cubic_and_t(u)
        a = self.coefficients[cubic]
        made: Points = a[..., 0] + t * (a[..., 1] + t * (a[..., 2] + t * a[..., 3]))
        return made

    def tangent(self, u: Floats) -> Points:
        """Unit directions of travel; from the table where the speed is nought."""
        cubic, t = self._cubic_and_t(u)
        a = self.coefficients[cubic]
        speed = a[..., 1] + t * (2 * a[..., 2] + t * 3 * a[..., 3])
        size = np.abs(speed)
        near = (
            np.interp(u % self.span if self.loop else u, self.u, np.arange(len(self.u)))
            .round()
            .astype(np.intp)
        )
        slow = size <= 1e-9 * (np.abs(a[..., 1]) + np.abs(a[..., 2]) + np.abs(a[..., 3]))
        made: Points = np.where(slow, self.tangents[near], speed / np.where(slow, 1.0, size))
        return made

    def part(self, first: float, last: float) -> Curve:
        """The open stretch from u = first to last."""
        inner = (self.u > first) & (self.u < last)
        ends = np.array([first, last])
        place, points, tangents = (
            np.interp(ends, self.u, self.place),
            self.at(ends),
            self.tangent(ends),
        )

        def between(edge: npt.NDArray[Any], all_of: npt.NDArray[Any]) -> npt.NDArray[Any]:
            return np.concatenate([edge[:1], all_of[inner], edge[1:]])

        return Curve(
            self.coefficients,
            between(ends, self.u) - first,
            between(place, self.place),
            between(points, self.points),
            between(tangents, self.tangents),
        )


def coefficients(cubics: Sequence[Cubic]) -> Points:
    """Powers of t, lowest first: (k, 4)."""
    p = np.array([(c.start, c.control1, c.control2, c.end) for c in cubics])
    p0, p1, p2, p3 = p.T
    rows = (p0, 3 * (p1 - p0), 3 * (p0 - 2 * p1 + p2), p3 - p0 + 3 * (p1 - p2))
    return np.column_stack(rows)


def sample(cubics: Sequence[Cubic], tolerance: float, loop: bool = False) -> Curve:
    """The run's table: every cubic at even steps of t, halved where a step turns sharply."""
    a = coefficients(cubics)
    steps = _steps(a, tolerance)
    first = np.repeat(np.cumsum(steps) - steps, steps)
    t = (np.arange(steps.sum()) - first) / np.repeat(steps, steps)
    place = np.append(np.repeat(np.arange(len(cubics)), steps) + t, float(len(cubics)))
    begins = np.array([one.tangent(0.0) for one in cubics] + [cubics[-1].tangent(1.0)])
    for _ in range(HALVINGS):
        points, tangents = _at_places(a, place, begins)
        turns = np.abs(np.angle(tangents[1:] * tangents[:-1].conj()))
        sharp = (turns > SHARP_TURN) & (np.abs(np.diff(points)) > SHARP_REACH * tolerance)
        if not sharp.any():
            break
        at = np.flatnonzero(sharp)
        place = np.insert(place, at + 1, (place[at] + place[at + 1]) / 2)
    points, tangents = _at_places(a, place, begins)
    points[-1] = cubics[-1].end
    return _table(a, place, points, tangents, loop)


def _at_places(a: Points, place: Floats, begins: Points) -> tuple[Points, Points]:
    """Points and unit directions; `begins` are those where a cubic begins, and at the run's end."""
    cubic = np.minimum(place.astype(np.intp), len(a) - 1)
    t, c = place - cubic, a[cubic]
    points = c[:, 0] + t * (c[:, 1] + t * (c[:, 2] + t * c[:, 3]))
    velocity = c[:, 1] + t * (2 * c[:, 2] + 3 * t * c[:, 3])
    speed = np.abs(velocity)
    tangents = velocity / np.where(speed == 0, 1.0, speed)
    whole = place == np.floor(place)
    tangents[whole] = begins[place[whole].astype(np.intp)]
    return points, tangents


def _steps(a: Points, tolerance: float) -> npt.NDArray[np.intp]:
    """Steps of t for each cubic, by the arcs it takes going by its third derivative."""
    arcs = np.cbrt(6 * (np.abs(a[:, 2]) + np.abs(a[:, 3])) / (124.7 * tolerance))
    made: npt.NDArray[np.intp] = np.ceil(np.maximum(COARSE_STEPS, STEPS_PER_ARC * arcs)).astype(
        np.intp
    )
    return made


def _table(a: Points, place: Floats, points: Points, tangents: Points, loop: bool) -> Curve:
    chords = np.abs(np.diff(points))
    whole = float(chords.sum())
    turns = np.abs(np.angle(tangents[1:] * tangents[:-1].conj()))
    steps = chords / whole + turns / math.tau
    keep = np.append(True, chords > SAME_POINT * whole)
    u = np.append(0.0, np.cumsum(steps))
    keep[-1] = True
    return Curve(a, u[keep], place[keep], points[keep], tangents[keep], loop)


def cut_at_cusps(cubic: Cubic, tolerance: float) -> list[Cubic]:
    """The cubic in pieces that begin and end where it turns back or as good as does.

    A place counts where directions differ by CUSP_TURN across a stretch no longer than tolerance.
    """
    parts, done, rest = [], 0.0, cubic
    for t in _slow_places(cubic):
        if not _is_cusp(cubic, t, tolerance):
            continue
        head, rest = rest.split((t - done) / (1 - done))
        parts.append(head)
        done = t
    return [*parts, rest]


def _slow_places(cubic: Cubic) -> list[float]:
    """Parameters within (0, 1) where the speed is least: roots of B' . B''."""
    a = coefficients([cubic])[0]
    v = np.array([a[1], 2 * a[2], 3 * a[3]])
    w = np.array([2 * a[2], 6 * a[3]])
    if abs(a[2]) + abs(a[3]) <= 1e-9 * abs(a[1]):
        return []
    product = np.convolve(v.real, w.real) + np.convolve(v.imag, w.imag)
    size = float(np.abs(product).max())
    while len(product) > 1 and abs(product[-1]) <= 1e-14 * size:
        product = product[:-1]
    roots = np.roots(product[::-1])
    real = roots.real[np.abs(roots.imag) < 1e-6]
    return sorted(float(t) for t in real if 1e-6 < t < 1 - 1e-6)


def _is_cusp(cubic: Cubic, t: float, tolerance: float) -> bool:
    """Whether directions half a tolerance before and after t differ by more than CUSP_TURN."""
    polygon = abs(cubic.control1 - cubic.start) + abs(cubic.control2 - cubic.control1)
    polygon += abs(cubic.end - cubic.control2)
    if abs(cubic.derivative(t)) <= STANDSTILL * polygon:
        return True
    before = cubic.tangent(t - _step_within(cubic, t, -1.0, tolerance / 2))
    after = cubic.tangent(t + _step_within(cubic, t, 1.0, tolerance / 2))
    return abs(cmath.phase(after / before)) > CUSP_TURN


def _step_within(cubic: Cubic, t: float, way: float, reach: float) -> float:
    """The step of the parameter that stays within reach of the point at t, to a third."""
    here, most = cubic.point(t), (1 - t if way > 0 else t)
    step = 1e-9
    while step < most and abs(cubic.point(t + way * step) - here) <= reach:
        step *= 1.5
    return min(step / 1.5, most)
