"""What a beam leaves of a contour: where it can't reach, and what it can't enter.

At an inside corner the beam stands still, touching the target in two places; the target between
them, beyond the beam, is *unreached*: r (1/sin(phi/2) - 1) deep at a wedge of angle phi for a beam
of radius r.  A slot, neck or notch that the beam can't enter is *swallowed*.  An oval beam is
looked at where the stretch makes it a disc (`geometry/oval.py`), and depths are told as they are.
Looks at the compensated path's own corners, so it tells nothing of a path that vanished.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Points

Stations: TypeAlias = npt.NDArray[np.float64]

#: Degrees of right turn of a cut below which nothing is asked: rounding.
STRAIGHT = 0.01
#: mm: shallower spots lie within the chain's limit.
WORTH_TELLING = 0.01
#: Walls do not close in where the gap fills more than this share of its mouth times its depth: a
#: wedge fills a half, a cusp between two bows less, a slot all.
PARALLEL = 0.75
#: Degrees that an outside corner turns at least to be a gap's lip, and mm that count as at it.
LIP, AT_LIP = 20.0, 0.02
#: mm that a touching place is asked for before and after the corner, so that the two lips of a
#: hairline slot aren't mistaken for each other.
ASIDE = 0.01
#: mm that flattening a target for these questions may move it.
FLATTENING = 0.002
#: mm along a target: two touching places this near, in the wrong order, are one.
SAME_PLACE = 0.05


@dataclass(frozen=True, slots=True)
class Unreached:
    """A spot that the beam can't reach. depth: mm from the target's far end to the freed edge."""

    place: complex
    depth: float
    swallowed: bool


def unreached(target: Path, cut: Path, beam: Oval) -> Iterator[Unreached]:
    """Spots of a closed target that a beam whose centre runs along the closed cut can't reach.

    Swallowed: deeper than the radius, and either the beam rests on two outside corners or the walls
    beyond it do not close in.
    """
    stretch, back, radius = beam.stretch, beam.stretch.inverse(), beam.radius
    target, cut = target.transformed(stretch), cut.transformed(stretch)
    ring = target.flatten(FLATTENING)
    stations = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(ring)))])
    lips = np.array(outside_corners(target), dtype=np.complex128)
    for i, here in enumerate(cut.segments):
        before, after = cut.segments[i - 1].tangent(1.0), here.tangent(0.0)
        turn = -turn_degrees(before, after)
        if turn < STRAIGHT:
            continue
        centre = here.start
        first = _station(ring, stations, centre + (1j * radius - ASIDE) * before)
        second = _station(ring, stations, centre + (1j * radius + ASIDE) * after)
        between = _between(ring, stations, first, second)
        if not len(between):
            continue
        away = np.abs(between - centre)
        deepest = int(np.argmax(away))
        place = back(complex(between[deepest]))
        depth = beam.beyond(place - back(centre))
        if depth <= WORTH_TELLING:
            continue
        touched = [centre + 1j * u * radius for u in (before, after)]
        rests = all(_is_at(lips, p) for p in touched)
        gap = np.array([touched[0], *between, touched[1]])
        shut = away[deepest] > 2 * radius and (rests or _keeps_open(gap))
        yield Unreached(place, depth, bool(shut))


def _keeps_open(gap: Points) -> bool:
    """Whether a gap, given from one side of its mouth to the other, has walls like a slot's."""
    mouth = gap[-1] - gap[0]
    inward = (gap - gap[0]) / (mouth / abs(mouth))
    depth = float(np.abs(inward.imag).max())
    area = 0.5 * abs(float((gap * np.roll(gap, -1).conj()).imag.sum()))
    return bool(area > PARALLEL * abs(mouth) * depth)


def outside_corners(target: Path) -> list[complex]:
    """Places where a closed path turns left by more than LIP degrees."""
    return [
        s.start
        for i, s in enumerate(target.segments)
        if turn_degrees(target.segments[i - 1].tangent(1.0), s.tangent(0.0)) > LIP
    ]


def _is_at(lips: Points, p: complex) -> bool:
    return len(lips) > 0 and float(np.abs(lips - p).min()) < AT_LIP


def _station(ring: Points, stations: Stations, p: complex) -> float:
    """Length along a ring of points to its place nearest to p."""
    start, step = ring[:-1], np.diff(ring)
    size = np.maximum(np.abs(step) ** 2, 1e-300)
    t = np.clip(((p - start) * step.conj()).real / size, 0.0, 1.0)
    chord = int(np.argmin(np.abs(start + t * step - p)))
    return float(stations[chord] + t[chord] * abs(step[chord]))


def _between(ring: Points, stations: Stations, start: float, end: float) -> Points:
    """Vertices of a ring passed on the way from one station to another."""
    if (start - end) % stations[-1] < SAME_PLACE:
        return ring[:0]
    if start <= end:
        return ring[(stations >= start) & (stations <= end)]
    return np.concatenate([ring[stations >= start], ring[stations <= end]])
